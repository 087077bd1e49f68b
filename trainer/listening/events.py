"""What comes in from a keyboard, as small values.

Times are seconds on one monotonic clock (`time.monotonic`), stamped where the event arises: by the
process that listens to the port, not at a frame.
"""

from __future__ import annotations

from dataclasses import dataclass

from trainer.listening.manuals import Manual


@dataclass(frozen=True, slots=True)
class KeyDown:
    """A key pressed: `key` is the MIDI note number, `velocity` 1 to 127, `manual` what the manual
    it lies on is told to play."""

    time: float
    key: int
    velocity: int = 64
    manual: Manual = Manual.EVERYTHING


@dataclass(frozen=True, slots=True)
class KeyUp:
    """A key released (note-off, or note-on with velocity 0) on a manual told to play `manual`."""

    time: float
    key: int
    manual: Manual = Manual.EVERYTHING


@dataclass(frozen=True, slots=True)
class Pedal:
    """The sustain pedal (controller 64), down from value 64 up."""

    time: float
    down: bool


@dataclass(frozen=True, slots=True)
class Onward:
    """The player asks to go on: a key of the program, not of the instrument.

    Untimed practice waits for a key to be struck at every moment. Where all that is wanted is
    already held, or the player gives a moment up, this is how they say so.
    """

    time: float


@dataclass(frozen=True, slots=True)
class PortLost:
    """A port that was being listened to has gone, at the latest at `time`.

    Until `since` everything played was certainly heard; None where that is not known. `others` says
    whether other keyboards are still listened to.
    """

    time: float
    name: str
    since: float | None = None
    others: bool = False


@dataclass(frozen=True, slots=True)
class PortFound:
    """A port is being listened to (again)."""

    time: float
    name: str


KeyEvent = KeyDown | KeyUp | Pedal | Onward
ListeningEvent = KeyDown | KeyUp | Pedal | Onward | PortLost | PortFound


@dataclass(frozen=True, slots=True)
class StruckChord:
    """Keys struck together, with what was still held.

    `struck` are the keys newly down in the cluster, `held` those already down before it and still
    down, `pedalled` those kept only by the pedal; all as places (`trainer.listening.manuals`),
    ascending: from the bass up. `first` and `last` are the times of the earliest and latest of the
    struck keys, in seconds; a corrected wrong key is in none.
    """

    struck: tuple[int, ...]
    held: tuple[int, ...]
    pedalled: tuple[int, ...]
    first: float
    last: float

    @property
    def keys(self) -> tuple[int, ...]:
        """The places of all keys that are down, ascending."""
        return tuple(sorted({*self.struck, *self.held}))

    @property
    def spread(self) -> float:
        """Seconds from the first struck key to the last."""
        return self.last - self.first
