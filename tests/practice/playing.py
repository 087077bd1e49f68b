"""Drives a session with a performance, tick by tick, as the shell does."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime

from trainer.judging.take import Conditions
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.events import KeyDown, KeyEvent, KeyUp
from trainer.practice.effects import Begin, Effect, SessionEvent, Stop, Tick
from trainer.practice.session import Session, feed, start
from trainer.score.exercise import Exercise
from trainer.theory.voicing import Voicing

STARTED = datetime(2026, 11, 25, 19, 30, tzinfo=UTC)
BEGUN = 1000.0  # clock seconds at which every pass is begun


class Pass:
    """A session on its way and all it asked for."""

    def __init__(self, exercise: Exercise, conditions: Conditions) -> None:
        self.now = BEGUN
        self.session: Session = start(exercise, conditions, self.now, started=STARTED)
        self.effects: list[Effect] = []
        self.before_its_end: tuple[MomentVerdict, ...] = ()

    def feed(self, event: SessionEvent) -> tuple[Effect, ...]:
        self.before_its_end = self.session.moments
        self.session, effects = feed(self.session, event, self.now)
        self.effects += effects
        return effects

    def begin(self) -> float:
        """The clock time of the first moment."""
        self.feed(Begin())
        assert self.session.origin is not None
        return self.session.origin

    def until(self, time: float, events: Sequence[KeyEvent] = (), every: float = 0.02) -> None:
        """Let time go by with these events in it; those after `time` are not played."""
        ahead = [event for event in events if event.time <= time]
        while self.now < time and self.session.stage != "ended":
            self.now = min(time, self.now + every)
            while ahead and ahead[0].time <= self.now:
                self.feed(ahead.pop(0))
            self.feed(Tick())

    def hands_up(self) -> None:
        """Let every key go."""
        for key in self.session.capture.down:
            self.feed(KeyUp(self.now, key))

    def of(self, kind: type) -> list[Effect]:
        return [effect for effect in self.effects if isinstance(effect, kind)]


def play(
    exercise: Exercise,
    conditions: Conditions,
    events: Callable[[float], Sequence[KeyEvent]],
    every: float = 0.02,
) -> Pass:
    """A whole pass; `events` are made for the clock time of its first moment. Untimed it is ended
    two seconds after the last event, if it has not ended by then."""
    made = Pass(exercise, conditions)
    performed = events(made.begin())
    line = made.session.task.line
    end = max([event.time for event in performed], default=made.now) + 2.0
    if line is not None:
        end = made.now + line.end + 60.0
    made.until(end, performed, every)
    if made.session.stage != "ended":
        made.feed(Stop())
    return made


def verdict(made: Pass) -> PassVerdict:
    assert made.session.verdict is not None
    return made.session.verdict


def chord(text: str) -> list[int]:
    """Keys of a chord written bass first; `-` is no key."""
    return [pitch.midi for pitch in Voicing.parse(text) if pitch is not None]


def keys(time: float, text: str, length: float = 0.5) -> list[KeyEvent]:
    """A chord struck together and let go after `length` seconds; any number of notes."""
    from trainer.theory.pitch import Pitch

    pressed = [Pitch.parse(word).midi for word in text.split()]
    return [KeyDown(time, key) for key in pressed] + [KeyUp(time + length, key) for key in pressed]


def in_order(*parts: Sequence[KeyEvent]) -> list[KeyEvent]:
    return sorted((event for part in parts for event in part), key=lambda event: event.time)
