"""Which moment is this chord? In tempo, by time and content together.

The chords of a pass are aligned to its moments in order, by dynamic programming: a chord belongs
to a moment, the first there or one more at the same one (a rolled, corrected or doubled chord), or
to none (an extra chord); a moment may be passed over. What each costs is below; one more chord at
the same moment costs distance only from half of the moment on. Because moments
and chords keep their order and the price of skipping is paid once, a skipped or an extra chord does
not spoil what follows; because content counts, neither does being a beat behind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.judging.task import Task
from trainer.judging.timing import onset
from trainer.listening.events import StruckChord

EXTRA = 1.8  # a chord that belongs to no moment
SKIPPED = 0.6  # a moment passed over; half of it where only inner voices are asked for
AGAIN = 0.15  # one more chord at the same moment
NEAR, FAR = 1.0, 0.3  # for each beat of distance: the first half beat, and beyond

_Costs = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Follower:
    """Where the player is: `costs[i]` is the least cost of all chords so far if the last moment
    reached is number i - 1 of the pass (0: none yet)."""

    task: Task
    costs: _Costs
    moment: int | None = None  # where the latest chord belongs; None: none yet, or an extra one


@dataclass(frozen=True, slots=True)
class _Step:
    costs: _Costs
    came_from: NDArray[np.int64]
    kind: NDArray[np.int64]  # _EXTRA, _AGAIN, _NEXT


_EXTRA, _AGAIN, _NEXT = range(3)


def follower(task: Task, begins: int | None = None) -> Follower:
    """About to play moment `begins` (the first of the pass if None) in tempo."""
    costs = np.full(len(task.moments) + 1, np.inf)
    costs[0 if begins is None else begins - task.first] = 0.0
    return Follower(task, costs)


def follow(before: Follower, chord: StruckChord, origin: float) -> Follower:
    """Take in one more chord; `origin` is the clock time of the first moment, in seconds."""
    step = _step(before.task, before.costs, chord, origin)
    best = int(np.argmin(step.costs))
    moment = None if step.kind[best] == _EXTRA else before.task.first + best - 1
    return Follower(before.task, step.costs, moment)


def align(
    task: Task, chords: Sequence[StruckChord], origin: float, begins: int | None = None
) -> tuple[int | None, ...]:
    """The moment of each chord, None for an extra one, from moment `begins` on, all at once.

    `origin` is where the clock would have been, in seconds, at the first moment of the pass.
    """
    costs = follower(task, begins).costs
    steps: list[_Step] = []
    for chord in chords:
        step = _step(task, costs, chord, origin)
        steps.append(step)
        costs = step.costs
    skips = _skips(task)
    place = int(np.argmin(costs + skips[-1] - skips))
    found: list[int | None] = []
    for step in reversed(steps):
        kind = step.kind[place]
        found.append(None if kind == _EXTRA else task.first + place - 1)
        place = int(step.came_from[place])
    return tuple(reversed(found))


def _step(task: Task, costs: _Costs, chord: StruckChord, origin: float) -> _Step:
    sheet, skips = task.sheet, _skips(task)
    count = len(task.moments)
    foreign, strange = _strangeness(task, chord)
    late = (onset(chord) - origin - sheet.times) / sheet.beats
    first_here = strange + _price(np.abs(late))
    again_here = AGAIN + foreign + _price(np.maximum(-late, late - sheet.lengths / 2))

    # passing over the moments between: the cheapest place to come from, for each to go to
    ready = costs[:-1] - skips[:-1]
    cheapest = np.minimum.accumulate(ready)
    source = np.maximum.accumulate(np.where(ready == cheapest, np.arange(count), 0))
    following = cheapest + skips[:-1] + first_here

    choices = np.empty((3, count + 1))
    choices[_EXTRA] = costs + EXTRA
    choices[_AGAIN, 0] = choices[_NEXT, 0] = np.inf
    choices[_AGAIN, 1:] = costs[1:] + again_here
    choices[_NEXT, 1:] = following
    kind = np.argmin(choices, axis=0)
    stay = np.arange(count + 1)
    came_from = np.where(kind == _NEXT, np.concatenate([[0], source]), stay)
    return _Step(choices[kind, stay], came_from, kind)


def _strangeness(task: Task, chord: StruckChord) -> tuple[_Costs, _Costs]:
    """`task.foreignness` and `task.strangeness` of a chord at every moment."""
    sheet = task.sheet
    classes = [key % 12 for key in chord.struck]
    foreign = 1.2 * (1.0 - sheet.belonging[:, classes].mean(axis=1))
    no_bass = (sheet.bass >= 0) & (sheet.bass != classes[0])
    no_melody = (sheet.melody >= 0) & (sheet.melody != classes[-1])
    return foreign, np.minimum(1.5, foreign + 0.4 * no_bass + 0.2 * no_melody)


def _skips(task: Task) -> _Costs:
    """Element i: the price of passing over the first i moments."""
    given = {"bass", "melody"} <= set(task.conditions.supply)
    price = SKIPPED / 2 if given else SKIPPED
    return np.concatenate([[0.0], np.cumsum(price * task.sheet.wanted)])


def _price(beats: _Costs) -> _Costs:
    distance = np.maximum(beats, 0.0)
    return NEAR * np.minimum(distance, 0.5) + FAR * np.maximum(distance - 0.5, 0.0)
