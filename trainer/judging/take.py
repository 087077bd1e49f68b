"""A take: everything needed to hear and judge one pass again. Events are the truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from trainer.listening.events import KeyEvent
from trainer.theory.hands import Hands
from trainer.theory.rules import RULES_VERSION, School

Part = Literal["bass", "melody"]
Pause = tuple[float, float] | tuple[float, float, int]


@dataclass(frozen=True, slots=True)
class Conditions:
    """How a pass is played.

    `tempo` is in tactus beats a minute, None for untimed. `supply` are the given voices the
    program plays itself. `tolerance` is the onset error still called in time, as a part of a
    beat. `shift_left` and `shift_right` are octaves added to the keys of each hand. `first` and
    `last` bound the moments played (None: from the beginning, to the end). `latency` is the
    constant offset in seconds taken off every key's time. `slower` holds stretches (first moment,
    last moment, part of the tempo): there the tactus goes at that part of `tempo`, 0.1 to 1.
    """

    tempo: float | None = None
    hands: Hands = "1+3"
    school: School = "strict"
    supply: tuple[Part, ...] = ()
    tolerance: float = 0.15
    shift_left: int = 0
    shift_right: int = 0
    first: int | None = None
    last: int | None = None
    latency: float = 0.0
    slower: tuple[tuple[int, int, float], ...] = ()


def begun_again(pauses: Sequence[Pause]) -> tuple[int, ...]:
    """The moments from which the player began again unasked."""
    return tuple(pause[2] for pause in pauses if len(pause) == 3)


def played_through(conditions: Conditions, pauses: Sequence[Pause]) -> bool:
    """Whether all moments were asked, none of them slower, and the player never began again."""
    whole = conditions.first is None and conditions.last is None and not conditions.slower
    return whole and not begun_again(pauses)


@dataclass(frozen=True, slots=True)
class Take:
    """One pass as it was played.

    `exercise` is the text of the native file as played (transposed if it was). `origin` is the
    event-clock time, in seconds, of the first moment played (in tempo: of the beat it stands on;
    untimed: of when the program began to wait, or a question was first seen). `started` is
    wall-clock time, with zone. Each pause is event-clock (from, to) in seconds. In tempo a pass
    goes on from the beginning of the stretch it was broken off in, and `to` is the time of that
    stretch's first moment. A third number is the moment from which the player began again unasked,
    while the beat went on: the beat followed, and no time was lost between the two.
    """

    exercise_id: str
    exercise: str
    conditions: Conditions
    events: tuple[KeyEvent, ...]
    origin: float
    started: datetime
    player: str = ""
    port: str = ""
    rules: int = RULES_VERSION  # version of the rule set it was first judged by
    pauses: tuple[Pause, ...] = field(default=())

    @property
    def begun_again(self) -> tuple[int, ...]:
        """`begun_again` of its pauses."""
        return begun_again(self.pauses)
