"""What the two clocks of a pass have in common.

A pass goes by the tactus, or untimed by the player's patience. Either clock is a value that is
told of chords and of time going by, and tells which moments are over by now.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from trainer.judging.heard import Heard
from trainer.judging.stretch import Stretch
from trainer.listening.capture import Capture
from trainer.listening.events import KeyEvent, StruckChord

Placed = tuple[int, StruckChord]  # a chord and its moment
Complete = Callable[[int, tuple[int, ...]], bool]  # (moment, keys sounding) -> nothing wanting


@dataclass(frozen=True, slots=True)
class Over:
    """A moment that is over. `think_s` is the time to think until it was complete, None in tempo
    and where nothing was struck."""

    heard: Heard
    think_s: float | None = None


class Clock(Protocol):
    """Which moment a chord is for, and when a moment is over. Times are clock seconds."""

    @property
    def waiting(self) -> int:
        """The first moment that is not over."""

    @property
    def part(self) -> Stretch | None:
        """The stretch that is being played; None untimed."""

    def struck(self, chord: StruckChord, hands: Capture) -> tuple[Clock, tuple[Over, ...]]:
        """A chord that has been closed finds its moment."""

    def so_far(self, hands: Capture, now: float) -> tuple[Heard, ...]:
        """What is heard by now at each moment that is not over and has something struck for it or
        is asked for, in order: what can no longer count is left out, what may yet not count too."""

    def moved(self, event: KeyEvent, hands: Capture) -> tuple[Clock, tuple[Over, ...]]:
        """An event that the hands have taken in: a key let go, or the wish to go on."""

    def looked(self, hands: Capture, now: float) -> tuple[Clock, tuple[Over, ...]]:
        """What time alone brings."""

    def current(self, now: float) -> int:
        """The moment asked for."""

    def ended(self, now: float) -> bool:
        """Whether the pass has come to its end by itself."""

    def goes_on_from(self, broken: float) -> int:
        """The moment from which a pass goes on that was broken off at a time."""

    def gone_on(self, first: int, time: float, broken: float) -> Clock:
        """The clock after a break that began at `broken`: moment `first` stands (untimed: is waited
        for) at `time`."""

    def given_up(self, hands: Capture) -> tuple[Over, ...]:
        """What had been struck for a moment that the end of the pass leaves open."""
