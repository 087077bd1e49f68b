"""Around one session: what comes in is fed to it, what it asks for is done.

The terminal view, the window and `--view none` all drive the same shell: call `step` at every
frame, draw `shell.session`, and show what `step` returns. A view sends the player's own wishes
with `send` (`Begin`, `Hold`, `Stop`, `Onward`).

    shell = Shell(setup, source, output, writer)
    while shell.session.stage != "ended":
        for effect in shell.step():
            ...
        shell.clock.sleep(0.005)
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from math import inf
from typing import TYPE_CHECKING, Protocol

from trainer.conducting.setup import Setup
from trainer.conducting.sources import Source
from trainer.judging.passes import mended
from trainer.judging.task import on_the_page
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyEvent
from trainer.listening.manuals import Manual
from trainer.listening.tones import Tones
from trainer.practice.effects import (
    Accompany,
    Begin,
    BegunAgain,
    Effect,
    Hush,
    Jumped,
    KeyOff,
    KeyOn,
    MomentJudged,
    PassBegan,
    PassEnded,
    Played,
    Resumed,
    Say,
    SessionEvent,
    Stop,
    Tick,
)
from trainer.practice.rest import REST, rest_due
from trainer.practice.session import Session, feed, start
from trainer.sound.output import Output
from trainer.sound.track import Click, ToneNote, Track

if TYPE_CHECKING:
    from trainer.journal.writer import Writer

AT_ONCE = 0.008  # seconds of a step that go to events; the rest of a flood waits for the next
CATCHING_UP = 0.5  # the same at most, and the part of the time since the step before, where frames
# are slow: else what is played would wait longer and longer on a busy machine
WALL_EVERY = 0.5  # seconds between two comparisons of the clock with the one on the wall
LAST_KEYS = 0.1  # seconds at the end that keys still on their way here are waited for
FED_WITHIN = 0.05  # seconds at the end that keys are heard; of a flood the rest is only kept
JUDGED_WITHIN = 0.2  # seconds that judging the pass may take at the end


class Clock(Protocol):
    """Seconds on one monotonic clock."""

    @property
    def frame(self) -> float:
        """Seconds from step to step where no view says when."""

    def now(self) -> float: ...

    def wall(self) -> float:
        """Seconds of the clock on the wall, which goes on while the computer sleeps."""

    def sleep(self, seconds: float) -> None: ...


class Plan(Protocol):
    """What leads from one pass to the next and is more than the same again."""

    @property
    def more(self) -> bool:
        """Whether anything is left of it."""

    def onward(self) -> tuple[Setup, Source]:
        """Make ready what comes next; the keys for it."""

    def ended(self, ended: PassEnded, setup: Setup) -> None:
        """A pass has ended."""

    def heading(self) -> str:
        """Why this is played now, in one line."""

    def words_after(self) -> str:
        """What the pass just ended means for it."""


class RealClock:
    """The computer's own."""

    frame = 0.004

    def now(self) -> float:
        return time.monotonic()

    def wall(self) -> float:
        return time.time()

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)


class QuickClock:
    """A clock that goes only while one waits for it: minutes of playing in a moment."""

    frame = 1 / 60  # a window's

    def __init__(self, now: float = 0.0) -> None:
        self._now = now

    def now(self) -> float:
        return self._now

    def wall(self) -> float:
        return self._now

    def sleep(self, seconds: float) -> None:
        self._now += seconds


class Shell:
    """One exercise practised, pass after pass, from a source of keys to sound and log."""

    def __init__(
        self,
        setup: Setup,
        source: Source,
        output: Output,
        writer: Writer | None,
        clock: Clock | None = None,
        latency: Callable[[str], float] | None = None,
        plan: Plan | None = None,
    ) -> None:
        """`latency` tells the constant offset of a port in seconds; without it the setup's own
        counts, whatever port is listened to. `plan` says what comes after each pass."""
        self.setup = setup
        self.source = source
        self.output = output
        self.clock = clock or RealClock()
        self.results: list[tuple[str | None, PassVerdict]] = []  # with the take's id in the log
        self.played: list[tuple[float, float]] = []  # passes, from and to on the clock
        self.plan = plan
        self._writer = writer
        self._latency = latency
        self._take_id: str | None = None
        self._wishes: list[SessionEvent] = []
        self._waiting: deque[SessionEvent] = deque()
        self._kept: deque[KeyEvent] = deque()  # of those waiting, what the log has already
        self._trouble: str | None = None
        self._ways_later = False
        self._tones = Tones(output.key_on, output.key_off, self._tone)
        self._turn = threading.Lock()  # the end may come from another thread
        self._leaving = False
        self._passes = 0  # that have ended
        self._offset = self.clock.wall() - self.clock.now()
        self._looked = self._stepped = self.clock.now()
        self.session = self._ready()

    def seek_ways_later(self) -> None:
        """From now on a pass ends without waiting for the solver: ways out of its faults are
        sought where it is logged, and by the view."""
        self._ways_later = True
        if self.session.stage == "ready":
            self.session = self._ready()

    def send(self, wish: SessionEvent) -> None:
        """The player's wish, from a view; it is fed at the next step."""
        self._wishes.append(wish)

    def sound_now(self, event: KeyEvent) -> None:
        """Start or end a key's tone; may be called from the thread the key arrives in."""
        self._tones.play(event)

    def step(self) -> tuple[Effect, ...]:
        """Feed what has come; do what is asked for; what a view may show of it.

        Of a flood no more is fed at a step than `AT_ONCE` or `CATCHING_UP` allow. The rest waits
        its turn, and time does not go by for the session before it has been heard.
        """
        with self._turn:
            return self._step()

    def _step(self) -> tuple[Effect, ...]:
        now = self.clock.now()
        effects: list[Effect] = []
        if self.session.stage == "ready" and self.source.name != self._port:
            self.session = self._ready()
        sure = self.source.sure(now)  # before what has come is looked at
        until = self._queue_up(now)
        while self._waiting:
            effects += self._feed(self._waiting.popleft(), now)
            if self.clock.now() >= until:
                break
        if not self._waiting:
            effects += self._feed(Tick(sure), now)
        if self._writer is not None and self._writer.trouble != self._trouble:
            self._trouble = self._writer.trouble
            effects.append(Say(self._trouble or "the log is being written again"))
        if self._writer is not None:
            effects += map(Say, self._writer.told())
        return tuple(effects)

    def again(self, setup: Setup | None = None) -> None:
        """Make ready for one more pass: of the setup given, else what comes next in the plan, else
        the same again."""
        if setup is not None:
            self.setup = setup
        elif self.plan is not None and self.plan.more:
            self.setup, self.source = self.plan.onward()
        self.session = self._ready()

    def more_to_come(self) -> bool:
        """Whether the plan, or the setup, asks for another pass."""
        if self.plan is not None:
            return self.plan.more
        return self.setup.passes == 0 or self._passes < self.setup.passes

    def leave(self) -> None:
        """At the end of the program: the pass ends, and no way out is sought any more for what is
        still to be logged. May be called from another thread."""
        self._leaving = True
        self.stop(JUDGED_WITHIN)

    def stop(self, within: float) -> None:
        """End the pass that is played: all that was played until now is handed to the log, and the
        verdict, without its ways out, if it is there within so many seconds.

        Else, and where much of a flood is still to be heard, the pass ends with the marks it has.
        """
        with self._turn:
            if self.session.stage not in ("playing", "paused"):
                return
            self._hear_out()
            now = self.clock.now()
            while self._waiting and self.clock.now() < now + FED_WITHIN:
                self._feed(self._waiting.popleft(), now)
            unheard = tuple(event for event in self._waiting if isinstance(event, KeyEvent))
            self._waiting.clear()
            if unheard or not self._stopped(now, within):
                self._end_unjudged(unheard)

    def _hear_out(self) -> None:
        """Take in what was played until now, also what is still on its way here."""
        began = self.clock.now()
        while self.source.sure(began) < began and self.clock.now() < began + LAST_KEYS:
            self.clock.sleep(0.005)
        self._waiting.extend(self._polled(self.clock.now()))

    def _stopped(self, now: float, within: float) -> bool:
        """End the pass with its verdict, if that is there in time."""
        found: list[tuple[Session, tuple[Effect, ...]]] = []
        session = replace(self.session, ways=False)
        judging = threading.Thread(
            target=lambda: found.append(feed(session, Stop(), now)), daemon=True
        )
        judging.start()
        judging.join(within)
        for self.session, effects in tuple(found):
            for effect in effects:
                self._do(effect)
        return self.session.stage == "ended"

    def _end_unjudged(self, unheard: tuple[KeyEvent, ...]) -> None:
        """Have the pass logged as it stands, with events that nobody has heard yet."""
        if self._writer is not None and self._take_id is not None:
            events = (*self.session.events, *unheard)
            take = replace(self.session.take, events=events, pauses=self.session.pauses)
            self._writer.end(self._take_id, take, None, False)
            self._take_id = None
        self._passes += 1
        self.session = replace(self.session, stage="ended")
        self.output.stop()

    def _tone(self, key: int, manual: Manual) -> int:
        return on_the_page(key, self.setup.conditions, manual)

    def _ready(self) -> Session:
        self._port = self.source.name
        tones = (self._tone(key, manual) for manual in Manual for key in range(128))
        self.source.sound_as(bytes(tones))
        conditions = self.setup.conditions
        if self._latency is not None:
            conditions = replace(conditions, latency=self._latency(self._port))
        return start(
            self.setup.exercise,
            conditions,
            self.clock.now(),
            player=self.setup.player,
            port=self._port,
            ways=not self._ways_later,
        )

    def _queue_up(self, now: float) -> float:
        """Put what has come in line, a wish to stop behind all that was played before it; until
        when there is time to feed it. A stop is waited for."""
        wishes, self._wishes = self._wishes, []
        stops = [wish for wish in wishes if isinstance(wish, Stop)]
        others = [wish for wish in wishes if not isinstance(wish, Stop)]
        self._waiting.extend((*self._clock_jump(now), *others, *self._polled(now), *stops))
        before, self._stepped = self._stepped, now
        if stops:
            return inf
        return now + max(AT_ONCE, min(CATCHING_UP, CATCHING_UP * (now - before)))

    def _polled(self, now: float) -> Sequence[SessionEvent]:
        """What has come. What was played is the log's at once, whatever judging it may take."""
        come = self.source.poll(now)
        if self._writer is not None and self._take_id is not None:
            played = tuple(event for event in come if isinstance(event, KeyEvent))
            if played:
                self._writer.events(self._take_id, played)
                self._kept.extend(played)
        return come

    def _clock_jump(self, now: float) -> list[SessionEvent]:
        if now - self._looked < WALL_EVERY:
            return []
        self._looked = now
        offset = self.clock.wall() - now
        jump, self._offset = offset - self._offset, offset
        return [Jumped(jump)] if abs(jump) > 0.5 else []

    def _feed(self, event: SessionEvent, now: float) -> tuple[Effect, ...]:
        self.session, effects = feed(self.session, event, now)
        for effect in effects:
            self._do(effect)
            self.source.told(effect, self.session)
        if any(isinstance(effect, PassEnded) for effect in effects):
            return (*effects, *self._rest(now))
        return effects

    def _rest(self, now: float) -> tuple[Effect, ...]:
        """A pause suggested, once for every 25 minutes of playing."""
        if self.session.origin is not None:
            self.played.append((min(self.session.origin, now), now))
        if not rest_due(self.played, now):
            return ()
        self.played.clear()
        return (Say(REST),)

    def _do(self, effect: Effect) -> None:
        match effect:
            case Accompany(notes, beats, at):
                tones = tuple(ToneNote(n.start, n.duration, n.key) for n in notes)
                clicks = tuple(Click(beat.start, beat.accent) for beat in beats)
                self.output.play(Track(tones, clicks), at)
            case Hush():
                self.output.stop()
            case KeyOn(key, velocity):
                self.output.key_on(key, velocity)
            case KeyOff(key):
                self.output.key_off(key)
            case PassEnded(_, verdict, _):
                self._passes += 1
                self.results.append((self._take_id, verdict))
        if self._writer is not None:
            self._log(self._writer, effect)
        if self.plan is not None and isinstance(effect, PassEnded):
            self.plan.ended(effect, self.setup)

    def _final(self, verdict: PassVerdict) -> PassVerdict | Callable[[], PassVerdict]:
        if not self._ways_later:
            return verdict
        return partial(mended, self.session.judge, verdict, lambda: self._leaving)

    def _log(self, writer: Writer, effect: Effect) -> None:
        match effect:
            case PassBegan(take, _):
                self._take_id = writer.begin(take)
            case Played(event) if self._kept and self._kept[0] is event:
                self._kept.popleft()
            case Played(event) if self._take_id is not None:
                writer.events(self._take_id, (event,))
            case MomentJudged(verdict, faults) if self._take_id is not None:
                writer.moment(self._take_id, verdict, faults)
            case Resumed() | BegunAgain() if self._take_id is not None:
                writer.went_on(self._take_id, self.session.pauses)
            case PassEnded(take, verdict, finished) if self._take_id is not None:
                writer.end(self._take_id, take, self._final(verdict), finished)
                self._take_id = None
                self._kept.clear()


def play_through(
    shell: Shell, show: Callable[[Effect], None], look: Callable[[], None] = lambda: None
) -> None:
    """Run the passes of a shell without a view, each begun at once; `show` sees every effect, and
    `look` is called where the program may end."""
    while True:
        shell.send(Begin())
        while shell.session.stage != "ended":
            look()
            for effect in shell.step():
                show(effect)
            shell.clock.sleep(shell.clock.frame)
        if not shell.more_to_come():
            return
        shell.again()
