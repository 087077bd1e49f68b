"""A pass on its way, as a value, and what views read from it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from trainer.judging.heard import Heard
from trainer.judging.judge import Judge, Progress
from trainer.judging.performance import Performance
from trainer.judging.stretch import Stretch, moment_at
from trainer.judging.take import Pause, Take
from trainer.judging.task import Task
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.capture import Capture
from trainer.listening.events import KeyEvent
from trainer.listening.trail import Trail
from trainer.score.exercise import Exercise
from trainer.theory.dissonance import Pending, pending
from trainer.theory.fault import Fault
from trainer.theory.moment import Moment

Stage = Literal["ready", "playing", "paused", "ended"]


@dataclass(frozen=True)
class Session:
    """One pass on its way. Views draw `stage`, `current`, `lens`, `moments`, `position(now)`.

    `current` is the moment asked for; `performance` what the hands do and what has been heard,
    `moments` and `faults` what has been said of it so far. `origin` is the clock time of the first
    moment, None until begun; `text` the last thing said to the player.
    """

    task: Task
    judge: Judge
    take: Take
    now: float
    performance: Performance
    stage: Stage = "ready"
    current: int = 0
    origin: float | None = None
    events: Trail[KeyEvent] = Trail()  # noqa: RUF009 (a frozen value)
    pauses: tuple[Pause, ...] = ()
    broken: float | None = None
    went_on: float = float("-inf")  # clock time at which it was begun or went on last
    sure: float | None = None  # until when all that was played has been fed; None: all has
    port_lost: bool = False  # broken off because a keyboard is gone
    port_gone: bool = False  # and there is none left
    progress: Progress = Progress()  # noqa: RUF009 (a frozen value)
    threads: tuple[Progress, ...] = ()  # how far the judge had come before each of `moments`
    moments: tuple[MomentVerdict, ...] = ()
    faults: tuple[Fault, ...] = ()
    sounded: int | None = None  # untimed: the moment whose supplied voices sound
    supplied: tuple[int, ...] = ()
    verdict: PassVerdict | None = None
    anew: tuple[int, ...] = ()  # moments that were heard otherwise when the pass was over
    text: str = ""
    ways: bool = True  # whether ways out of the faults are sought when the pass ends

    @property
    def exercise(self) -> Exercise:
        return self.task.exercise

    @property
    def moment(self) -> Moment:
        """The moment asked for."""
        return self.exercise.moments[self.current]

    @property
    def capture(self) -> Capture:
        """What the hands are doing."""
        return self.performance.hands

    @property
    def part(self) -> Stretch | None:
        """The stretch that is being played, in tempo only."""
        clock = self.performance.clock
        return None if clock is None else clock.part

    @cached_property
    def open(self) -> tuple[Heard, ...]:
        """What is heard by now at the moments that are not judged yet. Before a pass begins and
        while it is broken off: the keys that sound, at the moment asked for."""
        clock = self.performance.clock
        if clock is None or self.stage != "playing":
            down, sounding = self.capture.down, self.capture.sounding
            pedalled = tuple(key for key in sounding if key not in down)
            return (Heard(self.current, down, (), pedalled),)
        return clock.so_far(self.capture, self.now - self.task.conditions.latency)

    @property
    def heard(self) -> Heard:
        """The same at the moment asked for."""
        here = (one for one in self.open if one.index == self.current)
        return next(here, Heard(self.current))

    @cached_property
    def lens(self) -> MomentVerdict | None:
        """What is heard at the current moment makes of it, None where nothing sounds."""
        keys = self.heard.sounding
        return self.judge.harmony(self.current, keys) if keys and self.stage == "playing" else None

    @cached_property
    def pending(self) -> tuple[Pending, ...]:
        """What the last chord that was judged leaves to be resolved; only the next one tells
        whether it is. Nothing once the pass is over."""
        if self.stage != "playing" or not self.moments:
            return ()
        last = self.moments[-1]
        later = self.task.moments[last.index - self.task.first + 1 :]
        following = next((moment for moment in later if moment.chord), None)
        if last.voicing is None or following is None or not self.exercise.moments[last.index].chord:
            return ()
        here, goal = (self.judge.sonorities[index] for index in (last.index, following.index))
        return pending(here, goal, last.voicing, self.judge.given)

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
        since = min((seconds - line.time(index)) / quarter, float(moment.duration))
        return float(moment.onset) + since  # who is late at the end is waited for

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
