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

from dataclasses import replace
from datetime import UTC, datetime

from trainer.judging import wait
from trainer.judging.follow import follower
from trainer.judging.judge import Judge, Progress
from trainer.judging.passes import judge_pass, judged
from trainer.judging.performance import (
    Untimed,
    meant,
    moment_at,
    resumption,
    stretch,
    went_on,
)
from trainer.judging.take import Conditions, Take
from trainer.judging.task import task
from trainer.listening.capture import Capture, hear
from trainer.listening.events import (
    KeyDown,
    KeyEvent,
    KeyUp,
    Onward,
    Pedal,
    PortFound,
    PortLost,
)
from trainer.practice.accompany import accompany, lead
from trainer.practice.effects import (
    Begin,
    Effect,
    Hold,
    Hush,
    Jumped,
    KeyOff,
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
from trainer.practice.playing import key_played, over, time_goes_by
from trainer.practice.state import Session, Stage
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise

STILL = 2.0  # seconds without a tick after which a pass in tempo cannot be trusted to go on
JUMP = 2.0  # seconds by which the wall clock may run off before the computer must have slept

__all__ = ["JUMP", "STILL", "Session", "Stage", "feed", "start"]


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
            session, stage="playing", origin=now, desk=Untimed(wait.begin(asked, now), Capture())
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


def _key(session: Session, event: KeyEvent, now: float) -> tuple[Session, tuple[Effect, ...]]:
    as_meant = meant(event, session.task.conditions)
    if session.stage == "ready":
        return replace(session, capture=hear(session.capture, as_meant)[0]), ()
    session = replace(session, events=(*session.events, event))
    if session.stage == "playing":
        session, effects = key_played(session, as_meant)
        return session, (Played(event), *effects)
    session = replace(session, capture=hear(session.capture, as_meant)[0])
    if isinstance(event, KeyDown | Onward) and not session.port_gone:
        session, effects = _go_on(session, now)
        return session, (Played(event), *effects)
    return session, (Played(event),)


def _time_goes_by(session: Session, now: float) -> tuple[Session, tuple[Effect, ...]]:
    if session.stage != "playing":
        return session, ()
    heard_until = now - session.task.conditions.latency
    session, effects = time_goes_by(session, heard_until)
    if over(session, heard_until):
        session, more = _end(session, now, finished=True)
        effects += more
    return session, effects
