"""One pass, from the sign to begin to its verdict: a value; events go in, a new value and what is
to be done come out. No clock, no screen, no disk, no sound.

    session = start(exercise, conditions, now)
    session, effects = feed(session, Begin(), now)
    session, effects = feed(session, KeyDown(time, 60, 64), now)     # and Tick() at every frame

`now` and the times of events are seconds on one monotonic clock. A pass is `ready` until it is
begun. In tempo it counts in and plays to its end; untimed it waits at each moment. It is `paused`
when the port is lost (and goes on when it is found), when the clock jumps or nothing is fed for
`STILL` seconds, or when the player wishes (and goes on at `Begin`, or at a key struck). In tempo it
goes on with a new count-in from where `trainer.judging.stretch` says.

A key's event carries its own time: hearing it, time has gone by up to then and no further, however
late it is fed. Only what else is fed says that all keys up to `now` have been heard.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from trainer.judging.judge import Judge
from trainer.judging.passes import heard_anew, judged, mended
from trainer.judging.performance import (
    Performance,
    begun,
    broken_off,
    gone_on,
    perform,
    performed,
)
from trainer.judging.take import Conditions, Take
from trainer.judging.task import task
from trainer.judging.verdict import PassVerdict
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
from trainer.practice.playing import back_to, key_played, over, time_goes_by
from trainer.practice.result import is_question
from trainer.practice.state import Session, Stage
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.theory.rules import RULES_VERSION

LOOKED = 60.0  # seconds for which a question may have been looked at before it is begun
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
    rules: int = RULES_VERSION,
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
    performance = Performance(asked, judging.complete)
    current = min(first, asked.last)
    return Session(asked, judging, take, now, performance, current=current, ways=ways)


def feed(session: Session, event: SessionEvent, now: float) -> tuple[Session, tuple[Effect, ...]]:
    """Take in one event at clock time `now`."""
    if session.stage == "ended":
        return session, ()
    session, effects = _watch_clock(session, now)
    more: tuple[Effect, ...] = ()
    match event:
        case KeyDown() | KeyUp() | Pedal() | Onward():
            session, more = _key(session, event, now)
            return session, effects + more
        case Tick(sure):
            session = replace(session, sure=sure)
        case Begin():
            session, more = _begin(session, now)
        case Hold(reason):
            session, more = _pause(session, now, f"{reason}; a key or the space bar goes on")
        case Stop():
            session, more = _end(session, now, finished=False)
        case Jumped(by):
            session, more = _jumped(session, now, by)
        case PortLost():
            session, more = _lost(session, now, event)
        case PortFound(_, name):
            session, more = _found(session, now, name)
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
    return session if now == session.now else replace(session, now=now), effects


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
    origin = now + lead(session.task, session.task.first)
    seen = _question_seen(session, now)
    take = replace(session.take, origin=origin if seen is None else seen)
    session = replace(
        session,
        stage="playing",
        origin=origin,
        went_on=now,
        take=take,
        performance=begun(session.performance, take.origin),
    )
    played = accompany(session.task, session.task.first, origin)
    return session, (PassBegan(take, origin), *played)


def _question_seen(session: Session, now: float) -> float | None:
    """Since when a single question has been looked at; longer than `LOOKED` nobody was there. None
    of anything else: a piece may be read through before it is begun."""
    if session.task.line is not None or not is_question(session.take.exercise_id):
        return None
    return max(session.take.origin, now - LOOKED)


def _lost(session: Session, now: float, lost: PortLost) -> tuple[Session, tuple[Effect, ...]]:
    """A keyboard is gone. In tempo the pass was broken off when it was last known to be heard:
    what fell since then is played anew, not judged. (Untimed nothing falls: a moment waits.)"""
    ways = "or play on without it" if lost.others else "to go on"
    session = replace(session, port_lost=True, port_gone=not lost.others)
    since = now
    if lost.since is not None and session.task.line is not None:
        since = min(now, max(lost.since, session.went_on))
    return _pause(session, since, f"{lost.name} is gone; plug it in again {ways}")


def _pause(session: Session, now: float, text: str) -> tuple[Session, tuple[Effect, ...]]:
    session = replace(session, text=text)
    if session.stage == "ready":
        return session, (Say(text),)
    if session.stage != "playing":
        return session, (Paused(text),)
    session = replace(
        session,
        stage="paused",
        broken=now,
        performance=broken_off(session.performance, now),
        supplied=(),
        sounded=None,
    )
    return session, (Hush(), Paused(text))


def _found(session: Session, now: float, name: str) -> tuple[Session, tuple[Effect, ...]]:
    lost = session.port_lost
    ready = session.stage == "ready"
    take = replace(session.take, port=name if ready else session.take.port or name)
    session = replace(session, port_lost=False, port_gone=False, take=take)
    if session.stage == "paused" and lost:
        return _go_on(session, now)
    text = f"listening to {name}"
    return replace(session, text=text), (Say(text),)


def _go_on(session: Session, now: float) -> tuple[Session, tuple[Effect, ...]]:
    asked, broken, clock = session.task, session.broken, session.performance.clock
    if session.port_gone or broken is None or clock is None:
        return session, ()
    first = clock.goes_on_from(broken)
    time = now + lead(asked, first)
    session = replace(
        back_to(session, first),
        stage="playing",
        pauses=(*session.pauses, (broken, time)),
        broken=None,
        performance=gone_on(session.performance, first, time),
        port_lost=False,
        went_on=now,
        current=first,
        text="",
    )
    played = accompany(asked, first, time)
    return session, (Resumed(first, time, _from_here(session)), *played)


def _from_here(session: Session) -> str:
    moment = session.moment
    return f"going on from bar {moment.bar}, beat {float(moment.beat):g}"


def _end(session: Session, now: float, *, finished: bool) -> tuple[Session, tuple[Effect, ...]]:
    if session.origin is None:
        return replace(session, stage="ended"), (Hush(),)
    pauses = session.pauses
    if session.broken is not None and session.task.line is None:
        pauses = (*pauses, (session.broken, now))
    take = replace(session.take, events=tuple(session.events), pauses=pauses)
    verdict = _verdict(session, take)
    # at the end of a piece the last chord is the player's to let go
    quiet = tuple(KeyOff(key) for key in session.supplied) if finished else (Hush(),)
    session = replace(
        session,
        stage="ended",
        take=take,
        verdict=verdict,
        anew=heard_anew(session.moments, verdict),
        moments=verdict.moments,
        faults=verdict.faults,
        supplied=(),
    )
    return session, (*quiet, PassEnded(take, verdict, finished))


def _verdict(session: Session, take: Take) -> PassVerdict:
    """What was heard is not heard again where it is sure that the same would come of it."""
    asked, judging, performance = session.task, session.judge, session.performance
    played = (
        performed(performance, take.origin, take.pauses)
        if performance.sure
        else perform(asked, take.events, take.origin, take.pauses, judging.complete)
    )
    verdict = judged(asked, judging, played, take.origin, take.pauses)
    return mended(judging, verdict) if session.ways else verdict


def _key(session: Session, event: KeyEvent, now: float) -> tuple[Session, tuple[Effect, ...]]:
    stage = session.stage
    session, effects = key_played(session, event)
    if stage == "ready":
        return session, effects
    if stage == "paused" and isinstance(event, KeyDown | Onward):
        session, more = _go_on(session, now)
    else:
        session, more = _ended_by(session, event.time - session.task.conditions.latency, now)
    return session, (Played(event), *effects, *more)


def _time_goes_by(session: Session, now: float) -> tuple[Session, tuple[Effect, ...]]:
    if session.stage != "playing":
        return session, ()
    heard_until = now - session.task.conditions.latency
    session, effects = time_goes_by(session, heard_until)
    session, more = _ended_by(session, heard_until, now)
    return session, effects + more


def _ended_by(session: Session, time: float, now: float) -> tuple[Session, tuple[Effect, ...]]:
    """At its end a pass waits for the proof that its last moments could be heard at all."""
    if session.sure is not None:
        time = min(time, session.sure - session.task.conditions.latency)
    return _end(session, now, finished=True) if over(session, time) else (session, ())
