"""Keys that are told of by two ways, each done once."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf

from trainer.apart.passage import Row
from trainer.sound.requests import KeyOff, KeyOn, Request


def as_request(row: Row) -> KeyOn | KeyOff:
    """A row of the passage: when a key was struck (1) or let go (0), which, how hard."""
    at, down, key, velocity = row
    return KeyOn(key, velocity, at) if down else KeyOff(key, at)


class Once:
    """What is new of what is asked for. A key is done as the latest time of it says: the same told
    again is left out, and so is what is told when something later has been done."""

    def __init__(self) -> None:
        self._last: dict[int, tuple[float, set[type]]] = {}

    def of(self, requests: Iterable[Request]) -> list[Request]:
        """Those that are to be done."""
        return [request for request in requests if self.new(request)]

    def new(self, request: Request) -> bool:
        """Whether it is to be done; it counts as done then."""
        if not isinstance(request, KeyOn | KeyOff):
            return True
        last, done = self._last.get(request.key, (-inf, set()))
        if request.at < last or (request.at == last and type(request) in done):
            return False
        same = done if request.at == last else set()
        self._last[request.key] = request.at, {*same, type(request)}
        return True
