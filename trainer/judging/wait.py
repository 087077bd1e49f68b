"""Untimed: the program waits at each moment until it is played, or the player goes on.

A moment is accepted
- as soon as the chord struck for it is closed, if it is complete (nothing missing, nothing
  foreign) with as many keys as the player has voices; with fewer keys (a unison, or a hand still
  searching) once `PATIENCE` has gone by without another key;
- as it stands, when the player moves on: what is struck next fits one of the next two moments
  clearly better than this one (or all is there already, and it does not belong), or the player
  says so (`Onward`).
What is struck otherwise is another attempt at the same moment. A moment is left out, with nothing
struck for it, only where a chord comes that cannot be meant for it and fits the next one wholly. A
moment at which the player has nothing to strike is passed over.

The time to think at a moment runs from the last key of the moment before to the first key struck
for this one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from trainer.judging.heard import Heard, heard
from trainer.judging.task import Awaited, Task, foreignness, strangeness
from trainer.listening.capture import KeyStroke
from trainer.listening.events import StruckChord

PATIENCE = 0.5  # seconds
CLEARLY = 0.3  # by how much the next moment must fit better, in units of `strangeness`
CERTAINLY = 0.35  # how little a chord must be like a moment for it to be left out
FITS = 0.45  # how well a chord with a mistake in it must still fit to be meant for a moment

Complete = Callable[[int, tuple[int, ...]], bool]  # (moment, keys sounding) -> nothing wanting


@dataclass(frozen=True, slots=True)
class Accepted:
    """A moment that was played or given up. `think_s` is None where nothing was struck."""

    heard: Heard
    think_s: float | None
    at: float  # clock seconds


@dataclass(frozen=True, slots=True)
class Waiting:
    """Waiting at moment `index` since clock time `since`; past the last moment when all is done.

    `chords` are the attempts at it, `ready` the time from which they are complete, if they are.
    """

    index: int
    since: float
    chords: tuple[StruckChord, ...] = ()
    ready: float | None = None


Step = tuple[Waiting, tuple[Accepted, ...]]


def begin(task: Task, now: float) -> Waiting:
    """Wait for the first moment at which there is something to do."""
    return Waiting(task.wanted_from(task.first), now)


def struck(
    task: Task,
    waiting: Waiting,
    chord: StruckChord,
    strokes: tuple[KeyStroke, ...],
    complete: Complete,
) -> Step:
    """Take in a chord that has been closed."""
    accepted: tuple[Accepted, ...] = ()
    if waiting.index > task.last:
        return waiting, ()
    onward = _moves_on_to(task, waiting, chord)
    if onward is not None:
        waiting, accepted = _accept(task, waiting, strokes, chord.first)
        while waiting.index < onward:
            waiting, passed = _accept(task, waiting, strokes, chord.first)
            accepted += passed
    waiting = replace(waiting, chords=(*waiting.chords, chord), ready=None)
    waiting, more = look(task, waiting, strokes, chord.last, complete)
    return waiting, accepted + more


def look(
    task: Task,
    waiting: Waiting,
    strokes: tuple[KeyStroke, ...],
    now: float,
    complete: Complete,
) -> Step:
    """Accept what is complete by `now`: after a chord, a key let go, or some time."""
    if not waiting.chords or waiting.index > task.last:
        return waiting, ()
    if waiting.ready is None:
        sounds = _sounds(task, waiting, strokes, now)
        if not complete(waiting.index, sounds.sounding):
            return waiting, ()
        waiting = replace(waiting, ready=now)
        if len(sounds.keys) >= task.at(waiting.index).voices:
            return _accept(task, waiting, strokes, now)
    assert waiting.ready is not None
    return (
        _accept(task, waiting, strokes, now) if now - waiting.ready >= PATIENCE else (waiting, ())
    )


def onward(
    task: Task,
    waiting: Waiting,
    strokes: tuple[KeyStroke, ...],
    now: float,
    complete: Complete,
) -> Step:
    """The player goes on: what is struck counts as it is, or what is held if that is complete."""
    if waiting.index > task.last:
        return waiting, ()
    held = tuple(sorted({stroke.key for stroke in strokes if stroke.held_at(now)}))
    if held and complete(waiting.index, held):
        waiting = replace(waiting, chords=())
    after, accepted = _accept(task, waiting, strokes, now, asked=True)
    return replace(after, since=now), accepted


def _moves_on_to(task: Task, waiting: Waiting, chord: StruckChord) -> int | None:
    """The moment a chord is for, if it is a later one."""
    again = _unlike(task.at(waiting.index), chord)
    following = task.wanted_from(waiting.index + 1)
    if following > task.last:
        return None
    cost = strangeness(task.at(following), chord.struck)
    after = task.wanted_from(following + 1)
    if cost > FITS and after <= task.last and strangeness(task.at(after), chord.struck) == 0.0:
        cost, following = 0.0, after
    if not waiting.chords:  # a moment is left out only for a chord that is certainly the next one
        certain = cost == 0.0 and len(chord.struck) > 1
        return following if certain and again >= CERTAINLY else None
    if waiting.ready is None:
        return following if cost <= min(FITS, again - CLEARLY) else None
    if again > 0.0:  # all is there already: what does not belong is for later
        return following
    adding = {*waiting.chords[-1].keys} <= {*chord.keys}  # one more voice to what is held
    return following if cost == 0.0 and not adding else None


def _unlike(here: Awaited, chord: StruckChord) -> float:
    """How little a chord can be meant for a moment that may have been struck in part already:
    foreign keys, and a lowest or highest key of the whole that is neither bass nor melody."""
    unlike = foreignness(here, chord.struck)
    lowest, highest = chord.keys[0], chord.keys[-1]
    if here.bass is not None and lowest in chord.struck and lowest % 12 != here.bass:
        unlike += 0.4
    if here.melody is not None and highest in chord.struck and highest % 12 != here.melody:
        unlike += 0.4
    return unlike


def _sounds(task: Task, waiting: Waiting, strokes: tuple[KeyStroke, ...], now: float) -> Heard:
    return heard(task.at(waiting.index), waiting.chords, strokes, min(waiting.since, now), now)


def _accept(
    task: Task,
    waiting: Waiting,
    strokes: tuple[KeyStroke, ...],
    now: float,
    *,
    asked: bool = False,
) -> Step:
    """`asked` where the player said to go on: then held keys alone count as well."""
    chords = waiting.chords
    sounds = _sounds(task, waiting, strokes, now)
    if not chords:
        held = tuple(sorted({stroke.key for stroke in strokes if stroke.held_at(now)}))
        sounds = Heard(waiting.index, held if asked else ())
    think = max(0.0, chords[0].first - waiting.since) if chords else None
    since = chords[-1].last if chords else waiting.since
    after = Waiting(task.wanted_from(waiting.index + 1), since)
    return after, (Accepted(sounds, think, now),)
