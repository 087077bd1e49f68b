"""While a pass is on: what is heard is judged, and what the program plays untimed follows the keys.

These are the steps of `trainer.practice.session.feed` between beginning and end; each takes a
session and gives the next one, with what is to be done.
"""

from __future__ import annotations

from dataclasses import replace

from trainer.judging.clock import Over
from trainer.judging.movement_faults import place_in_words
from trainer.judging.passes import in_time
from trainer.judging.performance import Performance, meant, take_in
from trainer.judging.performance import time_goes_by as heard_until
from trainer.judging.stretch import Stretch
from trainer.listening.events import KeyDown, KeyEvent
from trainer.practice.accompany import accompany_from, supplied
from trainer.practice.effects import (
    BegunAgain,
    Effect,
    Hush,
    KeyOff,
    KeyOn,
    MomentJudged,
    TakenBack,
)
from trainer.practice.state import Session

Step = tuple[Session, tuple[Effect, ...]]


def key_played(session: Session, event: KeyEvent) -> Step:
    """Take in one event: as it came it belongs to the pass, as it was meant it is heard."""
    as_meant = meant(event, session.task.conditions)
    performance, over = take_in(session.performance, as_meant)
    events = session.events if session.stage == "ready" else session.events.with_one(event)
    session, effects = _heard(replace(session, events=events), performance, over, as_meant.time)
    if isinstance(event, KeyDown) and session.stage == "playing" and session.part is None:
        session, more = _sound_supplied(session)
        effects += more
    return session, effects


def time_goes_by(session: Session, now: float) -> Step:
    """What time alone brings; `now` is the time up to which keys have been heard."""
    performance, over = heard_until(session.performance, now)
    return _heard(session, performance, over, now)


def over(session: Session, now: float) -> bool:
    """Whether the pass has come to its end by itself."""
    clock = session.performance.clock
    return clock is not None and session.stage == "playing" and clock.ended(now)


def _current(session: Session, performance: Performance, now: float) -> int:
    """The moment asked for."""
    clock = performance.clock
    return session.current if clock is None or session.stage != "playing" else clock.current(now)


def back_to(session: Session, first: int) -> Session:
    """What has been said from moment `first` on is taken back."""
    kept = sum(moment.index < first for moment in session.moments)
    if kept == len(session.moments):
        return session
    return replace(
        session,
        progress=session.threads[kept],
        threads=session.threads[:kept],
        moments=session.moments[:kept],
        faults=tuple(f for f in session.faults if f.moments[-1] < first),
    )


def _heard(session: Session, performance: Performance, over: tuple[Over, ...], time: float) -> Step:
    """What has come of an event or of time going by, up to clock time `time`."""
    before, clock = session.part, performance.clock
    current = _current(session, performance, time)
    if performance is session.performance and current == session.current:
        return session, ()
    session = replace(session, performance=performance, current=current)
    if clock is None or session.stage != "playing":
        return _judged(session, over)
    effects: tuple[Effect, ...] = ()
    part = clock.part
    if before is not None and part is not None and part != before:
        session, effects = _followed(session, part)
    else:
        anew = min([clock.waiting, *(one.heard.index for one in over)])
        session, effects = _taken_back(session, anew)
    session, more = _judged(session, over)
    return session, effects + more


def _taken_back(session: Session, first: int) -> Step:
    """If something has been said of moment `first` already, it is not over, or over once more."""
    before = session
    session = back_to(session, first)
    if session is before:
        return session, ()
    moment = session.exercise.moments[first]
    place = place_in_words(moment.bar, moment.beat)
    return session, (TakenBack(first, f"{place}: late, not left out"),)


def _followed(session: Session, part: Stretch) -> Step:
    """The player has begun again from an earlier bar, and the beat goes by that."""
    line = session.task.line
    assert line is not None
    first, time = part.first, part.origin + line.time(part.first)
    moment = session.exercise.moments[first]
    text = f"you began again from bar {moment.bar}, beat {float(moment.beat):g}"
    session = replace(
        back_to(session, first),
        pauses=(*session.pauses, (part.opens, time, first)),
        text=text,
    )
    again = BegunAgain(first, time, text)
    return session, (again, Hush(), *accompany_from(session.task, first, time, session.now))


def _judged(session: Session, over: tuple[Over, ...]) -> Step:
    """Moments that are over, judged as far as can be said while the pass goes on."""
    effects: list[Effect] = []
    origin = None if session.part is None else session.part.origin
    for sounds, think_s in ((one.heard, one.think_s) for one in over):
        thread = session.progress
        progress, verdict, faults = session.judge.chord(
            session.progress, sounds.index, sounds.keys, sounds.pedalled, sounds.overheld
        )
        verdict = in_time(session.task, verdict, sounds, origin, think_s)
        session = replace(
            session,
            progress=progress,
            threads=(*session.threads, thread),
            moments=(*session.moments, verdict),
            faults=(*session.faults, *faults),
        )
        effects.append(MomentJudged(verdict, faults))
    return session, tuple(effects)


def _sound_supplied(session: Session) -> Step:
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
