"""Where keys come from: a MIDI keyboard, typing, or a demo player."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import inf
from queue import Empty, SimpleQueue
from typing import Protocol

from trainer.apart import Passage
from trainer.conducting.setup import Setup
from trainer.judging.task import Task, task
from trainer.listening.assigning import Assignment
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Onward
from trainer.listening.keyboard import FIRST, Keyboard
from trainer.practice.demo import HUMAN, Manner, perform, realization
from trainer.practice.effects import (
    Begin,
    Effect,
    PassBegan,
    PassEnded,
    Paused,
    Resumed,
    SessionEvent,
)
from trainer.practice.human_day import Day
from trainer.practice.session import Session
from trainer.practice.slips import Slip
from trainer.theory.voicing import Voicing

BREATH = 1.0  # seconds after which the demo player goes on when a pass was broken off


class Source(Protocol):
    """Where keys come from."""

    name: str

    def poll(self, now: float) -> Sequence[SessionEvent]:
        """What has come since the last call, in order."""

    def told(self, effect: Effect, session: Session) -> None:
        """What the session asked for: a demo player begins when the pass does."""

    def sound_as(self, meant: bytes) -> None:
        """The tones of the 128 keys, for each manual in turn, where some sound before `at_once` is
        told of them."""

    def sure(self, now: float) -> float:
        """Until when nothing can have been played that `poll` has not given, at the latest `now`.
        Ask before polling. Never waits."""

    def close(self) -> None: ...


class HandsSource:
    """The player's own hands: MIDI keyboards, found while running, and what a view makes of its
    typing keys or mouse (it `put`s them here).

    `at_once` is called where a key event arises, in a thread that listens for a MIDI keyboard,
    before the event waits for `poll`: there a tone starts, if it has not through `passage`.
    `wanted` names keyboards as `trainer.listening.chosen_ports` reads it; `manuals` says what they
    play.
    """

    def __init__(
        self,
        at_once: Callable[[KeyEvent], None],
        wanted: str | None = None,
        passage: Passage | None = None,
        manuals: Sequence[Assignment] = (),
    ) -> None:
        self._queue: SimpleQueue[SessionEvent] = SimpleQueue()
        self._at_once = at_once
        self._keyboard = Keyboard(
            self._queue.put, wanted=wanted, manuals=manuals, at_once=at_once, passage=passage
        )
        self.name = "typing"

    @property
    def port(self) -> str | None:
        """The MIDI ports that are open, with commas between them; None while there is none."""
        return self._keyboard.name

    @property
    def ports(self) -> tuple[str, ...]:
        """The names of all ports there are, listened to or not."""
        return tuple(port.name for port in self._keyboard.ports)

    @property
    def why_none(self) -> str:
        """Why no port is open, in a line; ask once it has settled."""
        return self._keyboard.why_none

    @property
    def complaint(self) -> str:
        """A line where what the keyboards are told to play does not fit those there are; ask once
        it has settled."""
        return self._keyboard.complaint

    def settle(self, within: float = FIRST) -> None:
        """Wait until what is there has been found and opened, so many seconds at most."""
        self._keyboard.settle(within)
        self._name()

    def listen(self, wanted: str | None) -> None:
        """To other keyboards."""
        self._keyboard.listen(wanted)

    def assign(self, manuals: Sequence[Assignment]) -> None:
        """Other things to be played by the keyboards."""
        self._keyboard.assign(manuals)

    def put(self, event: KeyEvent) -> None:
        """A key event from a view."""
        self._at_once(event)
        self._queue.put(event)

    def poll(self, now: float) -> Sequence[SessionEvent]:
        self._name()
        events: list[SessionEvent] = []
        try:
            while True:
                events.append(self._queue.get_nowait())
        except Empty:
            return events

    def told(self, effect: Effect, session: Session) -> None:
        return

    def sound_as(self, meant: bytes) -> None:
        self._keyboard.sound_as(meant)

    def sure(self, now: float) -> float:
        return self._keyboard.sure(now)

    def close(self) -> None:
        self._keyboard.close()

    def _name(self) -> None:
        self.name = self._keyboard.name or self.name


Days = Callable[[Task, Sequence[Voicing], int], Day]


def usual(manner: Manner = HUMAN, slips: Sequence[Slip] = ()) -> Days:
    """Every day the same touch and the same slips."""
    return lambda asked, voicings, number: Day(manner, tuple(slips))


AS_USUAL = usual()


class DemoSource:
    """A demo player; it begins by itself, and again after every pause."""

    name = "demo"

    def __init__(
        self,
        setup: Setup,
        at_once: Callable[[KeyEvent], None],
        *,
        day: Days = AS_USUAL,
        seed: int = 0,
    ) -> None:
        self._setup = setup
        self._at_once = at_once
        self._day = day
        self._think = HUMAN.think
        self._seed = seed
        self._voicings = realization(setup.exercise, setup.conditions)
        self._ahead: list[KeyEvent] = []
        self._passes = 0
        self._waited_for = False
        self._go_on_at = 0.0
        self._down: set[int] = set()
        self._begin_at = inf

    def poll(self, now: float) -> Sequence[SessionEvent]:
        if now >= self._begin_at:
            self._begin_at = inf
            return [Begin()]
        if not self._ahead and self._waited_for and now >= self._go_on_at:
            self._go_on_at = now + self._think  # untimed, and a moment was left out
            return [Onward(now)]
        due = [event for event in self._ahead if event.time <= now]
        self._ahead = self._ahead[len(due) :]
        for event in due:
            self._sound(event)
            self._go_on_at = event.time + 2 * self._think
        return due

    def told(self, effect: Effect, session: Session) -> None:
        if isinstance(effect, PassBegan):
            self._passes += 1
            self._waited_for = effect.take.conditions.tempo is None
            self._play(effect.origin, None)
        elif isinstance(effect, Resumed):
            origin = session.now if session.part is None else session.part.origin
            self._begin_at = inf
            self._play(origin, effect.moment)
        elif isinstance(effect, Paused):
            self._ahead = [KeyUp(session.now, key) for key in sorted(self._down)]
            self._begin_at = session.now + BREATH
        elif isinstance(effect, PassEnded):
            self._ahead = []
            self._waited_for = False
            for key in tuple(self._down):
                self._sound(KeyUp(session.now, key))

    def sound_as(self, meant: bytes) -> None:
        return

    def sure(self, now: float) -> float:
        return now

    def _sound(self, event: KeyEvent) -> None:
        if isinstance(event, KeyDown):
            self._down.add(event.key)
        elif isinstance(event, KeyUp):
            self._down.discard(event.key)
        self._at_once(event)

    def close(self) -> None:
        self._ahead = []

    def _play(self, origin: float, first: int | None) -> None:
        number = self._seed + self._passes - 1
        asked = task(self._setup.exercise, self._setup.conditions)
        today = self._day(asked, self._voicings, number)
        self._think = today.manner.think
        self._ahead = list(
            perform(
                self._setup.exercise,
                self._setup.conditions,
                self._voicings,
                origin,
                manner=today.manner,
                slips=today.slips,
                seed=number,
                first=first,
            )
        )
