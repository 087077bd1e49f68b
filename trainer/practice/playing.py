"""While a pass is on: what is heard is judged, and what the program plays untimed follows the keys.

These are the steps of `trainer.practice.session.feed` between beginning and end; each takes a
session and gives the next one, with what is to be done.
"""

from __future__ import annotations

from dataclasses import replace

from trainer.judging.clock import Over
from trainer.judging.passes import in_time
from trainer.judging.performance import Performance, meant, take_in
from trainer.judging.performance import time_goes_by as heard_until
from trainer.listening.events import KeyDown, KeyEvent
from trainer.practice.accompany import supplied
from trainer.practice.effects import Effect, KeyOff, KeyOn, MomentJudged
from trainer.practice.state import Session

Step = tuple[Session, tuple[Effect, ...]]


def key_played(session: Session, event: KeyEvent) -> Step:
    """Take in one event: as it came it belongs to the pass, as it was meant it is heard."""
    as_meant = meant(event, session.task.conditions)
    performance, over = take_in(session.performance, as_meant)
    events = session.events if session.stage == "ready" else session.events.with_one(event)
    current = _current(session, performance, as_meant.time)
    session = replace(session, events=events, performance=performance, current=current)
    session, effects = _judged(session, over) if over else (session, ())
    if isinstance(event, KeyDown) and session.stage == "playing" and session.part is None:
        session, more = _sound_supplied(session)
        effects += more
    return session, effects


def time_goes_by(session: Session, now: float) -> Step:
    """What time alone brings; `now` is the time up to which keys have been heard."""
    performance, over = heard_until(session.performance, now)
    current = _current(session, performance, now)
    if performance is session.performance and current == session.current:
        return session, ()
    return _judged(replace(session, performance=performance, current=current), over)


def over(session: Session, now: float) -> bool:
    """Whether the pass has come to its end by itself."""
    clock = session.performance.clock
    return clock is not None and session.stage == "playing" and clock.ended(now)


def _current(session: Session, performance: Performance, now: float) -> int:
    """The moment asked for."""
    clock = performance.clock
    return session.current if clock is None or session.stage != "playing" else clock.current(now)


def _judged(session: Session, over: tuple[Over, ...]) -> Step:
    """Moments that are over, judged as far as can be said while the pass goes on."""
    effects: list[Effect] = []
    origin = None if session.part is None else session.part.origin
    for sounds, think_s in ((one.heard, one.think_s) for one in over):
        progress, verdict, faults = session.judge.chord(
            session.progress, sounds.index, sounds.keys, sounds.pedalled, sounds.overheld
        )
        verdict = in_time(session.task, verdict, sounds, origin, think_s)
        session = replace(
            session,
            progress=progress,
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
