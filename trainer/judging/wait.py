"""Untimed: the program waits at each moment until it is played, or the player goes on.

A moment is accepted
- as soon as the chord struck for it is closed, if it is complete (nothing missing, nothing
  foreign) with as many keys as the player has voices; with fewer keys (a unison, or a hand still
  searching) once `PATIENCE` has gone by without another key;
- as it stands, when the player moves on: what is struck next fits one of the next two moments
  clearly better than this one, or the player says so (`Onward`).
What is struck otherwise is another attempt at the same moment. A moment at which the player has
nothing to strike is passed over.

The time to think at a moment runs from the last key of the moment before to the first key struck
for this one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf

from trainer.judging.heard import Heard, heard
from trainer.judging.task import Task, strangeness
from trainer.listening.capture import KeyStroke
from trainer.listening.events import StruckChord

PATIENCE = 0.7  # seconds
CLEARLY = 0.3  # by how much the next moment must fit better, in units of `strangeness`

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


def onward(task: Task, waiting: Waiting, strokes: tuple[KeyStroke, ...], now: float) -> Step:
    """The player goes on: what is struck or held counts as it is."""
    if waiting.index > task.last:
        return waiting, ()
    after, accepted = _accept(task, waiting, strokes, now)
    return replace(after, since=now), accepted


def _moves_on_to(task: Task, waiting: Waiting, chord: StruckChord) -> int | None:
    if not waiting.chords:
        return None
    here = task.at(waiting.index)
    again = strangeness(replace(here, bass=None, melody=None), chord.struck)
    margin = 0.0 if waiting.ready is not None else CLEARLY
    after = waiting.index
    best: tuple[float, int] = (inf, after)
    for _ in range(2):
        after = task.wanted_from(after + 1)
        if after <= task.last:
            best = min(best, (strangeness(task.at(after), chord.struck), after))
    return best[1] if best[0] <= again - margin and best[0] < inf else None


def _sounds(task: Task, waiting: Waiting, strokes: tuple[KeyStroke, ...], now: float) -> Heard:
    return heard(task.at(waiting.index), waiting.chords, strokes, min(waiting.since, now), now)


def _accept(task: Task, waiting: Waiting, strokes: tuple[KeyStroke, ...], now: float) -> Step:
    sounds = _sounds(task, waiting, strokes, now)
    chords = waiting.chords
    think = max(0.0, chords[0].first - waiting.since) if chords else None
    since = chords[-1].last if chords else waiting.since
    after = Waiting(task.wanted_from(waiting.index + 1), since)
    return after, (Accepted(sounds, think, now),)
