"""One pass, from the sign to begin to its verdict: a value; events go in, a new value and what is
to be done come out. No clock, no screen, no disk, no sound.

    session = start(exercise, conditions, now)
    session, effects = feed(session, Begin(), now)
    session, effects = feed(session, KeyDown(time, 60, 64), now)     # and Tick() at every frame

`now` and the times of events are seconds on one monotonic clock. A pass is `ready` until it is
begun. In tempo it counts in and plays to its end; untimed it waits at each moment. It is `paused`
when the port is lost (and goes on when it is found), when the clock jumps or nothing is fed for
`STILL` seconds, or when the player wishes (and goes on at `Begin`, or at a key struck). In tempo it
goes on with a new count-in from where `trainer.judging.performance.resumption` says.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import inf
from typing import Literal

from trainer.judging import wait
from trainer.judging.follow import Follower, follow, follower
from trainer.judging.heard import Heard
from trainer.judging.judge import Judge, Progress
from trainer.judging.passes import in_time, judge_pass, judged
from trainer.judging.performance import (
    Desk,
    Stretch,
    at_desk,
    at_moment,
    desk_looked,
    meant,
    moment_at,
    resumption,
    stretch,
    went_on,
)
from trainer.judging.take import Conditions, Take
from trainer.judging.task import Task, task
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.capture import Capture, hear, settle
from trainer.listening.events import (
    KeyDown,
    KeyEvent,
    KeyUp,
    Onward,
    Pedal,
    PortFound,
    PortLost,
    StruckChord,
)
from trainer.practice.accompany import accompany, lead, supplied
from trainer.practice.effects import (
    Begin,
    Effect,
    Hold,
    Hush,
    Jumped,
    KeyOff,
    KeyOn,
    MomentJudged,
    PassBegan,
    PassEnded,
    Paused,
    Played,
    Resumed,
    Say,
    SessionEvent,
    Stop,
    Tick,
)
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.theory.fault import Fault
from trainer.theory.moment import Moment

STILL = 2.0  # seconds without a tick after which a pass in tempo cannot be trusted to go on
JUMP = 2.0  # seconds by which the wall clock may run off before the computer must have slept
AFTER = 0.25  # beats after a moment's end at which it is judged, for fingers that come late

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
    desk: Desk | None = None
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


def start(
    exercise: Exercise,
    conditions: Conditions,
    now: float,
    *,
    player: str = "",
    port: str = "",
    started: datetime | None = None,
    rules: int = 1,
    ways: bool = True,
) -> Session:
    """A pass that is ready to begin; `ways` as in `Session`.

    Raises InputError for bounds or a tempo that cannot be.
    """
    asked = task(exercise, conditions)
    take = Take(
        exercise.id,
        write_exercise(exercise),
        conditions,
        (),
        now,
        started or datetime.now(UTC),
        player,
        port,
        rules,
    )
    first = asked.wanted_from(asked.first) if asked.line is None else asked.first
    judging = Judge(exercise, conditions)
    current = min(first, asked.last)
    return Session(asked, judging, take, now, current=current, judged=asked.first, ways=ways)


def feed(session: Session, event: SessionEvent, now: float) -> tuple[Session, tuple[Effect, ...]]:
    """Take in one event at clock time `now`."""
    if session.stage == "ended":
        return session, ()
    session, effects = _watch_clock(session, now)
    match event:
        case Tick():
            more: tuple[Effect, ...] = ()
        case Begin():
            session, more = _begin(session, now)
        case Hold(reason):
            session, more = _pause(session, now, f"{reason}; a key or the space bar goes on")
        case Stop():
            session, more = _end(session, now, finished=False)
        case Jumped(by):
            session, more = _jumped(session, now, by)
        case PortLost(_, name):
            session = replace(session, port_gone=True)
            session, more = _pause(session, now, f"{name} is gone; plug it in again to go on")
        case PortFound(_, name):
            session, more = _found(session, now, name)
        case KeyDown() | KeyUp() | Pedal() | Onward():
            session, more = _key(session, event, now)
    effects += more
    session, more = _time_goes_by(session, now)
    return session, effects + more


def _watch_clock(session: Session, now: float) -> tuple[Session, tuple[Effect, ...]]:
    still = now - session.now
    effects: tuple[Effect, ...] = ()
    if session.stage == "playing" and session.task.line and not -JUMP < still < STILL:
        what = "stood still" if still > 0 else "went back"
        text = f"the clock {what} for {abs(still):.1f} s; a key or the space bar goes on"
        session, effects = _pause(session, session.now if still > 0 else now, text)
    return replace(session, now=now), effects


def _jumped(session: Session, now: float, by: float) -> tuple[Session, tuple[Effect, ...]]:
    if abs(by) < JUMP or session.stage != "playing" or session.task.line is None:
        return session, ()
    text = f"the clock jumped by {by:.0f} s (was the computer asleep?)"
    return _pause(session, now, f"{text}; a key or the space bar goes on")


# ---- beginning, breaking off, going on --------------------------------------------------------


def _begin(session: Session, now: float) -> tuple[Session, tuple[Effect, ...]]:
    if session.stage == "paused":
        return _go_on(session, now)
    if session.stage != "ready":
        return session, ()
    asked = session.task
    first = asked.first
    if asked.line is None:
        session = replace(
            session, stage="playing", origin=now, desk=Desk(wait.begin(asked, now), Capture())
        )
        take = replace(session.take, origin=now)
        return replace(session, take=take), (PassBegan(take, now),)
    origin = now + lead(asked, first)
    take = replace(session.take, origin=origin)
    session = replace(
        session,
        stage="playing",
        origin=origin,
        take=take,
        part=stretch(asked, first, origin),
        follower=follower(asked, first),
    )
    return session, (PassBegan(take, origin), accompany(asked, first, origin))


def _pause(session: Session, now: float, text: str) -> tuple[Session, tuple[Effect, ...]]:
    session = replace(session, text=text)
    if session.stage == "ready":
        return session, (Say(text),)
    if session.stage != "playing":
        return session, (Paused(text),)
    session = replace(session, stage="paused", broken=now, lens=None, supplied=(), sounded=None)
    return session, (Hush(), Paused(text))


def _found(session: Session, now: float, name: str) -> tuple[Session, tuple[Effect, ...]]:
    gone = session.port_gone
    ready = session.stage == "ready"
    take = replace(session.take, port=name if ready else session.take.port or name)
    session = replace(session, port_gone=False, take=take)
    if session.stage == "paused" and gone:
        return _go_on(session, now)
    text = f"listening to {name}"
    return replace(session, text=text), (Say(text),)


def _go_on(session: Session, now: float) -> tuple[Session, tuple[Effect, ...]]:
    asked, broken, part = session.task, session.broken, session.part
    if session.port_gone or broken is None:
        return session, ()
    if asked.line is None:
        assert session.desk is not None
        session = replace(
            session,
            stage="playing",
            pauses=(*session.pauses, (broken, now)),
            broken=None,
            desk=went_on(session.desk, now),
            text="",
        )
        return session, (Resumed(session.current, now, _from_here(session)),)
    assert part is not None
    at = max(part.first, moment_at(asked, broken - part.origin))
    first = max(part.first, resumption(asked, at))
    time = now + lead(asked, first)
    session = replace(
        session,
        stage="playing",
        pauses=(*session.pauses, (broken, time)),
        broken=None,
        part=stretch(asked, first, time),
        follower=follower(asked, first),
        chords=tuple(c for c in session.chords if c[0] < first),
        judged=first,
        moments=tuple(m for m in session.moments if m.index < first),
        faults=tuple(f for f in session.faults if f.moments[-1] < first),
        progress=Progress(),
        current=first,
        text="",
    )
    return session, (Resumed(first, time, _from_here(session)), accompany(asked, first, time))


def _from_here(session: Session) -> str:
    moment = session.moment
    return f"going on from bar {moment.bar}, beat {float(moment.beat):g}"


def _end(session: Session, now: float, *, finished: bool) -> tuple[Session, tuple[Effect, ...]]:
    if session.origin is None:
        return replace(session, stage="ended"), (Hush(),)
    pauses = session.pauses
    if session.broken is not None and session.task.line is None:
        pauses = (*pauses, (session.broken, now))
    take = replace(session.take, events=session.events, pauses=pauses)
    judging = judge_pass if session.ways else judged
    verdict = judging(session.task, session.judge, take.events, take.origin, pauses)
    # at the end of a piece the last chord is the player's to let go
    quiet = tuple(KeyOff(key) for key in session.supplied) if finished else (Hush(),)
    session = replace(
        session,
        stage="ended",
        take=take,
        verdict=verdict,
        moments=verdict.moments,
        faults=verdict.faults,
        lens=None,
        supplied=(),
    )
    return session, (*quiet, PassEnded(take, verdict, finished))


# ---- keys -------------------------------------------------------------------------------------


def _key(session: Session, event: KeyEvent, now: float) -> tuple[Session, tuple[Effect, ...]]:
    if session.stage == "ready":
        capture, _ = hear(session.capture, meant(event, session.task.conditions))
        return replace(session, capture=capture), ()
    effects: tuple[Effect, ...] = (Played(event),)
    session = replace(session, events=(*session.events, event))
    if session.stage == "paused":
        capture, _ = hear(session.capture, meant(event, session.task.conditions))
        session = replace(session, capture=capture)
        if isinstance(event, KeyDown | Onward) and not session.port_gone:
            session, more = _go_on(session, now)
            effects += more
        return session, effects
    as_meant = meant(event, session.task.conditions)
    if session.task.line is None:
        session, more = _key_untimed(session, as_meant)
    else:
        capture, closed = hear(session.capture, as_meant)
        session, more = replace(session, capture=capture), ()
        for chord in closed:
            session = _placed(session, chord)
    return _with_lens(session), effects + more


def _key_untimed(session: Session, event: KeyEvent) -> tuple[Session, tuple[Effect, ...]]:
    assert session.desk is not None
    desk, accepted = at_desk(session.task, session.desk, event, session.judge.complete)
    session, effects = _accepted(replace(session, desk=desk, capture=desk.capture), accepted)
    if isinstance(event, KeyDown):
        session, more = _sound_supplied(session)
        effects += more
    return session, effects


def _sound_supplied(session: Session) -> tuple[Session, tuple[Effect, ...]]:
    """The given voices come in with the player's first key of a moment."""
    if not session.task.conditions.supply or session.sounded == session.current:
        return session, ()
    keys = supplied(session.task, session.current)
    moment = session.moment
    given = {
        "bass": (moment.bass, moment.bass_struck),
        "melody": (moment.melody, moment.melody_struck),
    }
    anew = {
        pitch.midi
        for pitch, struck in (given[part] for part in session.task.conditions.supply)
        if pitch is not None and struck
    }
    off = [KeyOff(key) for key in session.supplied if key not in keys or key in anew]
    on = [KeyOn(key) for key in keys if key not in session.supplied or key in anew]
    return replace(session, sounded=session.current, supplied=keys), (*off, *on)


def _accepted(
    session: Session, accepted: tuple[wait.Accepted, ...]
) -> tuple[Session, tuple[Effect, ...]]:
    effects: list[Effect] = []
    for one in accepted:
        session, effect = _judged(session, one.heard, None, one.think_s)
        effects.append(effect)
    assert session.desk is not None
    index = session.desk.waiting.index
    return replace(session, current=min(index, session.task.last), judged=index), tuple(effects)


def _placed(session: Session, chord: StruckChord) -> Session:
    """A chord in tempo finds its moment."""
    assert session.part is not None and session.follower is not None
    if not session.part.opens <= chord.first:
        return session
    after = follow(session.follower, chord, session.part.origin)
    placed = session.chords if after.moment is None else (*session.chords, (after.moment, chord))
    return replace(session, follower=after, chords=placed)


def _with_lens(session: Session) -> Session:
    keys = session.capture.sounding
    lens = session.judge.harmony(session.current, keys) if keys else None
    return replace(session, lens=lens)


# ---- time -------------------------------------------------------------------------------------


def _time_goes_by(session: Session, now: float) -> tuple[Session, tuple[Effect, ...]]:
    if session.stage != "playing":
        return session, ()
    heard_until = now - session.task.conditions.latency
    if session.task.line is None:
        assert session.desk is not None
        desk, accepted = desk_looked(
            session.task, session.desk, heard_until, session.judge.complete
        )
        session, effects = _accepted(replace(session, desk=desk, capture=desk.capture), accepted)
        if accepted:
            session = _with_lens(session)
        if desk.waiting.index > session.task.last:
            session, more = _end(session, now, finished=True)
            effects += more
        return session, effects
    capture, closed = settle(session.capture, heard_until)
    if closed:
        session = replace(session, capture=capture)
        for chord in closed:
            session = _placed(session, chord)
    session, effects = _judge_what_is_over(session, heard_until)
    line, part = session.task.line, session.part
    assert line is not None and part is not None
    current = max(part.first, moment_at(session.task, heard_until - part.origin))
    if current != session.current:
        session = _with_lens(replace(session, current=current))
    if heard_until >= part.origin + line.end:
        session, last = _judge_what_is_over(session, inf)
        effects += last
        session, more = _end(session, now, finished=True)
        effects += more
    return session, effects


def _judge_what_is_over(session: Session, now: float) -> tuple[Session, tuple[Effect, ...]]:
    line, part, asked = session.task.line, session.part, session.task
    assert line is not None and part is not None
    effects: list[Effect] = []
    while session.judged <= asked.last:
        index = session.judged
        over = inf
        if index < asked.last:
            over = part.origin + line.time(index + 1) + AFTER * line.beat_length(index)
        gone_on = bool(session.chords) and session.chords[-1][0] > index
        if now < over and not gone_on:
            break
        chords = [chord for place, chord in session.chords if place == index]
        strokes = session.capture.strokes
        sounds, _ = at_moment(asked, index, chords, strokes, part.origin, session.judge.complete)
        session = replace(session, judged=index + 1)
        if asked.at(index).wanted:
            session, effect = _judged(session, sounds, part.origin, None)
            effects.append(effect)
    return session, tuple(effects)


def _judged(
    session: Session, sounds: Heard, origin: float | None, think_s: float | None
) -> tuple[Session, MomentJudged]:
    """A moment judged as far as can be said while the pass goes on."""
    progress, verdict, faults = session.judge.chord(
        session.progress, sounds.index, sounds.keys, sounds.pedalled
    )
    verdict = in_time(session.task, verdict, sounds, origin, think_s)
    session = replace(
        session,
        progress=progress,
        moments=(*session.moments, verdict),
        faults=(*session.faults, *faults),
    )
    return session, MomentJudged(verdict, faults)
