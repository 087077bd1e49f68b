"""What a session asks the world to do, as plain values; what it is told beside key events."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.judging.take import Take
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.events import KeyEvent, ListeningEvent
from trainer.theory.fault import Fault

# ---- what a session is told -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has gone by; send one at every frame. What was played until `sure` (clock time) has
    been fed; None where that is true of all."""

    sure: float | None = None


@dataclass(frozen=True, slots=True)
class Begin:
    """The player is ready: count in, or begin to wait. After a pause: go on."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Break the pass off for a while."""

    reason: str = "paused"


@dataclass(frozen=True, slots=True)
class Stop:
    """End the pass here."""


@dataclass(frozen=True, slots=True)
class Jumped:
    """The clock on the wall went `seconds` further (or less, negative) than the session's own."""

    seconds: float


SessionEvent = ListeningEvent | Tick | Begin | Hold | Stop | Jumped

# ---- what it asks for -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SuppliedNote:
    """A note the program plays; `start` and `duration` in seconds from the accompaniment's own
    beginning, `key` a MIDI note number."""

    start: float
    duration: float
    key: int


@dataclass(frozen=True, slots=True)
class TactusBeat:
    """A beat of the tactus, `start` as above; `accent` on the first of a bar."""

    start: float
    accent: bool


@dataclass(frozen=True, slots=True)
class Accompany:
    """Play this with its second 0 at clock time `at`: count-in, tactus, supplied voices."""

    notes: tuple[SuppliedNote, ...]
    beats: tuple[TactusBeat, ...]
    at: float


@dataclass(frozen=True, slots=True)
class Hush:
    """End all that the program plays by itself."""


@dataclass(frozen=True, slots=True)
class KeyOn:
    """Sound a supplied voice now."""

    key: int
    velocity: int = 56


@dataclass(frozen=True, slots=True)
class KeyOff:
    """End it."""

    key: int


@dataclass(frozen=True, slots=True)
class PassBegan:
    """The pass has begun; `take` has no events yet. `origin` is clock time of the first moment."""

    take: Take
    origin: float


@dataclass(frozen=True, slots=True)
class Played:
    """A raw event that belongs to the pass."""

    event: KeyEvent


@dataclass(frozen=True, slots=True)
class MomentJudged:
    """A moment is over; the verdict at the end of the pass may still put it right."""

    verdict: MomentVerdict
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class Paused:
    """The pass is broken off; `text` says why and what brings it back."""

    text: str


@dataclass(frozen=True, slots=True)
class Resumed:
    """The pass goes on at `moment`, which stands at clock time `at` (untimed: is waited for from
    then on)."""

    moment: int
    at: float
    text: str


@dataclass(frozen=True, slots=True)
class BegunAgain:
    """The player has begun again at `moment` unasked, at clock time `at`; the beat follows."""

    moment: int
    at: float
    text: str


@dataclass(frozen=True, slots=True)
class TakenBack:
    """What was said from `moment` on is taken back: what comes late was not left out."""

    moment: int
    text: str


@dataclass(frozen=True, slots=True)
class PassEnded:
    """The pass is over; `finished` if it was played to its end."""

    take: Take
    verdict: PassVerdict
    finished: bool


@dataclass(frozen=True, slots=True)
class Say:
    """One line for the player."""

    text: str


Effect = (
    Accompany
    | Hush
    | KeyOn
    | KeyOff
    | PassBegan
    | Played
    | MomentJudged
    | Paused
    | Resumed
    | BegunAgain
    | TakenBack
    | PassEnded
    | Say
)
