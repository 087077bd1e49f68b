"""While a pass is on: what is heard is judged, and what the program plays untimed follows the keys.

These are the steps of `trainer.practice.session.feed` between beginning and end; each takes a
session and gives the next one, with what is to be done.
"""

from __future__ import annotations

from dataclasses import replace

from trainer.judging.clock import Over
from trainer.judging.passes import in_time
from trainer.judging.performance import Performance, take_in
from trainer.judging.performance import time_goes_by as heard_until
from trainer.listening.events import KeyDown, KeyEvent
from trainer.practice.accompany import supplied
from trainer.practice.effects import Effect, KeyOff, KeyOn, MomentJudged
from trainer.practice.state import Session

Step = tuple[Session, tuple[Effect, ...]]


def key_played(session: Session, event: KeyEvent) -> Step:
    """Take in one event, as it was meant."""
    session, effects = _heard(session, *take_in(session.performance, event), event.time)
    if isinstance(event, KeyDown) and session.stage == "playing" and session.part is None:
        session, more = _sound_supplied(session)
        effects += more
    return session, effects


def time_goes_by(session: Session, now: float) -> Step:
    """What time alone brings; `now` is the time up to which keys have been heard."""
    return _heard(session, *heard_until(session.performance, now), now)


def over(session: Session, now: float) -> bool:
    """Whether the pass has come to its end by itself."""
    clock = session.performance.clock
    return clock is not None and session.stage == "playing" and clock.ended(now)


def _heard(session: Session, performance: Performance, over: tuple[Over, ...], now: float) -> Step:
    """The moments that are over are judged, and the next one is asked for."""
    clock, current = performance.clock, session.current
    if clock is not None and session.stage == "playing":
        current = clock.current(now)
    if performance is session.performance and current == session.current:
        return session, ()
    session = replace(session, performance=performance, current=current)
    effects: list[Effect] = []
    for one in over:
        session, effect = _judged(session, one)
        effects.append(effect)
    return session, tuple(effects)


def _judged(session: Session, over: Over) -> tuple[Session, MomentJudged]:
    """A moment judged as far as can be said while the pass goes on."""
    sounds, part = over.heard, session.part
    progress, verdict, faults = session.judge.chord(
        session.progress, sounds.index, sounds.keys, sounds.pedalled
    )
    origin = None if part is None else part.origin
    verdict = in_time(session.task, verdict, sounds, origin, over.think_s)
    session = replace(
        session,
        progress=progress,
        moments=(*session.moments, verdict),
        faults=(*session.faults, *faults),
    )
    return session, MomentJudged(verdict, faults)


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
