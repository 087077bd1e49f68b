"""Keys that are told of by two ways, each done once."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf

from trainer.apart.passage import PEDAL, Row
from trainer.sound.requests import KeyOff, KeyOn, PedalMoved, Request


def as_request(row: Row) -> KeyOn | KeyOff | PedalMoved:
    """A row of the passage: when a key, or the pedal, went down (odd) or up (even), and by twice
    what number that is told; which key, how hard."""
    at, told, key, velocity = row
    ear, down = divmod(told, 2)
    if key == PEDAL:
        return PedalMoved(bool(down), ear)
    return KeyOn(key, velocity, at, ear) if down else KeyOff(key, at, ear)


class Once:
    """What is new of what is asked for. A key is done as the latest time of it says: the same told
    again is left out, and so is what is told when something later has been done.

    A process that listens knows the keyboards of its own interface only: what it says of the end of
    a key does not hold while another has said of the same, or of its pedal, that it is down. The
    program's word does: whatever has been lost on the way, or fell with its process, it puts right.
    """

    def __init__(self) -> None:
        self._last: dict[int, tuple[float, set[type]]] = {}
        self._down: dict[int, set[int]] = {}  # the ears that have a key down
        self._pedals: set[int] = set()  # those that have their pedal down

    def of(self, requests: Iterable[Request]) -> list[Request]:
        """Those that are to be done."""
        return [request for request in requests if self.new(request)]

    def new(self, request: Request) -> bool:
        """Whether it is to be done; it counts as done then."""
        if isinstance(request, PedalMoved):
            (self._pedals.add if request.down else self._pedals.discard)(request.ear)
            return False
        if not isinstance(request, KeyOn | KeyOff):
            return True
        if self._held_elsewhere(request):
            return False
        last, done = self._last.get(request.key, (-inf, set()))
        if request.at < last or (request.at == last and type(request) in done):
            return False
        same = done if request.at == last else set()
        self._last[request.key] = request.at, {*same, type(request)}
        return True

    def _held_elsewhere(self, request: KeyOn | KeyOff) -> bool:
        """Whether a key that one ear says is up is down, or kept by the pedal, for another."""
        ears = self._down.setdefault(request.key, set())
        if request.ear is None:
            last, _ = self._last.get(request.key, (-inf, set()))
            if isinstance(request, KeyOff) and request.at >= last:
                ears.clear()
        elif isinstance(request, KeyOn):
            ears.add(request.ear)
        else:
            ears.discard(request.ear)
        kept = bool(ears or self._pedals - {request.ear})
        return isinstance(request, KeyOff) and request.ear is not None and kept
