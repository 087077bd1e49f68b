"""A pass on its way, as a value, and what views read from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trainer.judging.follow import Follower
from trainer.judging.judge import Judge, Progress
from trainer.judging.performance import (
    Stretch,
    Untimed,
    moment_at,
)
from trainer.judging.take import Take
from trainer.judging.task import Task
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.capture import Capture
from trainer.listening.events import (
    KeyEvent,
    StruckChord,
)
from trainer.score.exercise import Exercise
from trainer.theory.fault import Fault
from trainer.theory.moment import Moment

Stage = Literal["ready", "playing", "paused", "ended"]


@dataclass(frozen=True)
class Session:
    """One pass on its way. Views draw `stage`, `current`, `lens`, `moments`, `position(now)`.

    `current` is the moment asked for; `moments` and `faults` are what has been found so far, `lens`
    what the keys that sound now make of the current moment, None where none sounds. `origin` is the
    clock time of the first moment, None until begun; `text` the last thing said to the player.
    """

    task: Task
    judge: Judge
    take: Take
    now: float
    stage: Stage = "ready"
    current: int = 0
    origin: float | None = None
    capture: Capture = Capture()  # noqa: RUF009 (a frozen value)
    part: Stretch | None = None
    follower: Follower | None = None
    desk: Untimed | None = None
    chords: tuple[tuple[int, StruckChord], ...] = ()
    events: tuple[KeyEvent, ...] = ()
    pauses: tuple[tuple[float, float], ...] = ()
    broken: float | None = None
    port_gone: bool = False
    judged: int = 0  # the first moment not judged yet
    progress: Progress = Progress()  # noqa: RUF009 (a frozen value)
    moments: tuple[MomentVerdict, ...] = ()
    faults: tuple[Fault, ...] = ()
    lens: MomentVerdict | None = None
    sounded: int | None = None  # untimed: the moment whose supplied voices sound
    supplied: tuple[int, ...] = ()
    verdict: PassVerdict | None = None
    text: str = ""
    ways: bool = True  # whether ways out of the faults are sought when the pass ends

    @property
    def exercise(self) -> Exercise:
        return self.task.exercise

    @property
    def moment(self) -> Moment:
        """The moment asked for."""
        return self.exercise.moments[self.current]

    def seconds(self, now: float) -> float | None:
        """Seconds since the first moment of the pass, negative in the count-in; in tempo only."""
        return None if self.part is None else now - self.part.origin

    def position(self, now: float) -> float:
        """Place in the score in quarter notes; before the beginning while it is counted in."""
        seconds = self.seconds(now)
        line = self.task.line
        if seconds is None or line is None or self.stage != "playing":
            return float(self.moment.onset)
        index = moment_at(self.task, seconds)
        moment = self.exercise.moments[index]
        quarter = line.beat_length(index) / float(moment.metre.beat_length)
        return float(moment.onset) + (seconds - line.time(index)) / quarter

    def beat(self, now: float) -> float | None:
        """Place in the bar in beats from 1.0, for the hand that beats the tactus: 1.0 to below 2.0
        is the first beat. None where there is no tactus."""
        if self.task.line is None or self.part is None or self.stage != "playing":
            return None
        first = self.exercise.moments[self.part.first]
        position = self.position(now)
        at = moment_at(self.task, now - self.part.origin)
        moment = self.exercise.moments[at] if position >= float(first.onset) else first
        metre = moment.metre
        beats = float(moment.beat) - 1 + (position - float(moment.onset)) / float(metre.beat_length)
        return 1 + beats % float(metre.bar_length / metre.beat_length)
