"""While a pass is on: keys find their moments, moments are judged, time goes by.

These are the steps of `trainer.practice.session.feed` between beginning and end; each takes a
session and gives the next one, with what is to be done.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

from trainer.judging import wait
from trainer.judging.follow import follow
from trainer.judging.heard import Heard
from trainer.judging.passes import in_time
from trainer.judging.performance import (
    at_desk,
    at_moment,
    desk_looked,
    moment_at,
)
from trainer.listening.capture import hear, settle
from trainer.listening.events import (
    KeyDown,
    KeyEvent,
    StruckChord,
)
from trainer.practice.accompany import supplied
from trainer.practice.effects import (
    Effect,
    KeyOff,
    KeyOn,
    MomentJudged,
)
from trainer.practice.state import Session

AFTER = 0.25  # beats after a moment's end at which it is judged, for fingers that come late

Step = tuple[Session, tuple[Effect, ...]]


def key_played(session: Session, event: KeyEvent) -> Step:
    """Take in one event, as it was meant."""
    if session.task.line is None:
        session, effects = _key_untimed(session, event)
        return _with_lens(session), effects
    capture, closed = hear(session.capture, event)
    session = replace(session, capture=capture)
    for chord in closed:
        session = _placed(session, chord)
    return _with_lens(session), ()


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


def time_goes_by(session: Session, now: float) -> Step:
    """What time alone brings; `now` is the time up to which keys have been heard."""
    if session.task.line is None:
        assert session.desk is not None
        complete = session.judge.complete
        desk, accepted = desk_looked(session.task, session.desk, now, complete)
        session, effects = _accepted(replace(session, desk=desk, capture=desk.capture), accepted)
        return (_with_lens(session) if accepted else session), effects
    capture, closed = settle(session.capture, now)
    if closed:
        session = replace(session, capture=capture)
        for chord in closed:
            session = _placed(session, chord)
    session, effects = _judge_what_is_over(session, inf if over(session, now) else now)
    assert session.part is not None
    current = max(session.part.first, moment_at(session.task, now - session.part.origin))
    if current != session.current:
        session = _with_lens(replace(session, current=current))
    return session, effects


def over(session: Session, now: float) -> bool:
    """Whether the pass has come to its end by itself."""
    if session.task.line is None:
        return session.desk is not None and session.desk.waiting.index > session.task.last
    assert session.part is not None
    return now >= session.part.origin + session.task.line.end


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
