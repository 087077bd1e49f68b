"""Which moment is this chord? In tempo, by time and content together.

The chords of a pass are aligned to its moments in order, by dynamic programming: a chord belongs to
a moment, the first there or one more at the same one (a rolled, corrected or doubled chord), or to
none (an extra chord); a moment may be passed over. What each costs is below; one more chord at the
same moment costs distance only from half of the moment on. Who is late stays late: a chord as far
from its beat as the chord before from its own pays little, however far that is. Hands that come
apart, whichever is first, are one attack: up to `HANDS` chords close to one another are weighed as
the whole they make, at the nearest of their times. Because moments and chords keep their order and
the price of skipping is paid once, a skipped or an extra chord does not spoil what follows; because
content counts, neither does being a beat behind. A moment that is due and not played costs
something already while the pass goes on: else a chord in time would look like one that comes late
for the moment before.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from trainer.judging.task import Task
from trainer.judging.timing import onset
from trainer.listening.events import StruckChord

EXTRA = 1.8  # a chord that belongs to no moment
SKIPPED = 0.6  # a moment passed over; half of it where only inner voices are asked for
AGAIN = 0.15  # one more chord at the same moment
NEAR, FAR = 1.0, 0.3  # for each beat of distance: the first half beat, and beyond
HANDS = 3  # chords that one attack may fall apart into
APART = 0.4  # beats from the first of them to the last, but
AT_LEAST = 0.25  # seconds, where that is longer, and never
AT_MOST = 0.5  # beats
HELD = 0.12  # as far from the beat as the chord before, with nothing for the distance itself
_RECENT = 8  # chords whose places may still change while a pass goes on

_Costs = NDArray[np.float64]
_Way = tuple[_Costs, _Costs]  # costs and lags, by place


@dataclass(frozen=True, slots=True)
class _Step:
    """What one chord does: `kind[i]` is how the cheapest way to place i takes it in, `came_from[i]`
    the place before it. An attack of several chords came from before the first of them."""

    costs: _Costs
    lags: _Costs  # beats by which the latest chord that has a place came late, on that way
    came_from: NDArray[np.int64]
    kind: NDArray[np.int64]  # _EXTRA, _AGAIN, or _AGAIN + the number of chords of an attack


_EXTRA, _AGAIN = range(2)


@dataclass(frozen=True, eq=False)
class Follower:
    """Where the player is. `recent` are the latest chords, `_start` the costs before the first of
    them: element i is the least cost of all chords up to there if the last moment reached is number
    i - 1 of the pass (0: none yet)."""

    task: Task
    _start: _Way
    recent: tuple[StruckChord, ...] = ()
    _steps: tuple[_Step, ...] = ()  # one for each of `recent`

    @property
    def ways(self) -> tuple[_Way, ...]:
        """Costs and lags before each of the recent chords, and now."""
        return (self._start, *((step.costs, step.lags) for step in self._steps))

    def places(self, by: float) -> tuple[int | None, ...]:
        """The moment of each of the recent chords, as it looks `by` seconds after the first moment
        of the pass; None for an extra one."""
        return _places(self.task, self._steps, self.ways[-1][0], by)

    def lag(self, by: float) -> float:
        """By how many beats the latest chord that has a place comes late, as it looks by then."""
        costs, lags = self.ways[-1]
        return float(lags[np.argmin(costs + _owing(self.task, by))])

    @property
    def cost(self) -> float:
        """What it costs at the least to explain all that was struck."""
        return float(self.ways[-1][0].min())

    def moment(self, by: float) -> int | None:
        """Where the latest chord belongs; None: none yet, or an extra one."""
        return self.places(by)[-1] if self.recent else None


def follower(task: Task, begins: int | None = None) -> Follower:
    """About to play moment `begins` (the first of the pass if None) in tempo."""
    costs = np.full(len(task.moments) + 1, np.inf)
    costs[0 if begins is None else begins - task.first] = 0.0
    return Follower(task, (costs, np.zeros(len(costs))))


def follow(before: Follower, chord: StruckChord, origin: float) -> Follower:
    """Take in one more chord; `origin` is the clock time of the first moment, in seconds."""
    recent, ways = (*before.recent, chord), before.ways
    steps = (*before._steps, _step(before.task, ways, recent, origin))
    start = ways[max(0, len(recent) - _RECENT)]
    return Follower(before.task, start, recent[-_RECENT:], steps[-_RECENT:])


def align(
    task: Task, chords: Sequence[StruckChord], origin: float, begins: int | None = None
) -> tuple[int | None, ...]:
    """The moment of each chord, None for an extra one, from moment `begins` on, all at once.

    `origin` is where the clock would have been, in seconds, at the first moment of the pass.
    """
    before = list(follower(task, begins).ways)
    steps: list[_Step] = []
    for count in range(1, len(chords) + 1):
        step = _step(task, before[-HANDS:], chords[max(0, count - HANDS) : count], origin)
        steps.append(step)
        before.append((step.costs, step.lags))
    return _places(task, steps, before[-1][0], inf)


def _places(task: Task, steps: Sequence[_Step], costs: _Costs, by: float) -> tuple[int | None, ...]:
    """The moment of each chord of `steps`, None for an extra one; `costs` are those after them."""
    places = _traced(steps, int(np.argmin(costs + _owing(task, by))))
    return tuple(None if place is None else task.first + place - 1 for place in places)


def _traced(steps: Sequence[_Step], place: int) -> tuple[int | None, ...]:
    """The place of each chord, backward from the last one's; None for an extra one."""
    found: list[int | None] = []
    while len(found) < len(steps):
        step = steps[-1 - len(found)]
        kind = int(step.kind[place])
        found += [None if kind == _EXTRA else place] * max(1, kind - _AGAIN)
        place = int(step.came_from[place])
    return tuple(reversed(found[: len(steps)]))


def _step(
    task: Task, before: Sequence[_Way], chords: Sequence[StruckChord], origin: float
) -> _Step:
    """Take in the last of `chords`; `before` are costs and lags before each of them."""
    sheet, (costs, lags) = task.sheet, before[-1]
    stay = np.arange(len(costs))
    late = (onset(chords[-1]) - origin - sheet.times) / sheet.beats
    foreign = _foreignness(task, chords[-1].struck)
    again = AGAIN + foreign + _price(np.maximum(-late, late - sheet.lengths / 2))
    choices = [costs + EXTRA, np.concatenate([[np.inf], costs[1:] + again])]
    sources, later = [stay, stay], [lags, lags]
    for count, keys, apart, nearest in _attacks(task, chords, origin):
        costs_there, lags_there = before[-count]
        following, source = _reached(task, costs_there)
        alike = HELD + _price(np.abs(nearest - lags_there[source]))
        time = np.minimum(_price(np.abs(nearest)), alike)
        here = _strangeness(task, keys) + time + AGAIN * (count - 1)
        later.append(np.concatenate([[0.0], nearest]))
        choices.append(np.concatenate([[np.inf], np.where(apart, following + here, np.inf)]))
        sources.append(np.concatenate([[0], source]))
    kind = np.argmin(choices, axis=0)
    return _Step(
        np.array(choices)[kind, stay],
        np.array(later)[kind, stay],
        np.array(sources)[kind, stay],
        kind,
    )


def _reached(task: Task, costs: _Costs) -> tuple[_Costs, NDArray[np.int64]]:
    """What it costs to come to each moment, passing over those between, and from which place it is
    cheapest."""
    count, skips = len(task.moments), _skips(task)
    ready = costs[:-1] - skips[:-1]
    cheapest = np.minimum.accumulate(ready)
    source = np.maximum.accumulate(np.where(ready == cheapest, np.arange(count), 0))
    return cheapest + skips[:-1], source


def _attacks(
    task: Task, chords: Sequence[StruckChord], origin: float
) -> Iterator[tuple[int, tuple[int, ...], NDArray[np.bool_], _Costs]]:
    """The last chord alone, and what it makes with those just before it: how many chords, their
    keys, where they are near enough to be one attack, and how far off, in beats, is the nearest of
    them."""
    sheet, last = task.sheet, chords[-1]
    limit = np.minimum(np.maximum(APART, AT_LEAST / sheet.beats), AT_MOST)
    nearest = np.full(len(sheet.times), np.inf)
    keys: set[int] = set()
    for count, chord in enumerate(reversed(chords[-HANDS:]), 1):
        near = (last.first - chord.first) / sheet.beats <= limit
        if count > 1 and not (near.any() and keys.isdisjoint(chord.struck)):
            return  # a key struck again is no part of the same attack
        keys |= {*chord.struck}
        late = (onset(chord) - origin - sheet.times) / sheet.beats
        nearest = np.where(np.abs(late) < np.abs(nearest), late, nearest)
        yield count, tuple(sorted(keys)), near | (count == 1), nearest


def _foreignness(task: Task, keys: Sequence[int]) -> _Costs:
    """`task.foreignness` of keys, ascending, at every moment."""
    classes = [key % 12 for key in keys]
    foreign: _Costs = 1.2 * (1.0 - task.sheet.belonging[:, classes].mean(axis=1))
    return foreign


def _strangeness(task: Task, keys: Sequence[int]) -> _Costs:
    """`task.strangeness` of keys, ascending, at every moment."""
    sheet = task.sheet
    no_bass = (sheet.bass >= 0) & (sheet.bass != keys[0] % 12)
    no_melody = (sheet.melody >= 0) & (sheet.melody != keys[-1] % 12)
    strange: _Costs = np.minimum(1.5, _foreignness(task, keys) + 0.4 * no_bass + 0.2 * no_melody)
    return strange


def _skips(task: Task) -> _Costs:
    """Element i: the price of passing over the first i moments."""
    given = {"bass", "melody"} <= set(task.conditions.supply)
    price = SKIPPED / 2 if given else SKIPPED
    return np.concatenate([[0.0], np.cumsum(price * task.sheet.wanted)])


def _owing(task: Task, by: float) -> _Costs:
    """Element i: what the moments from number i of the pass on will cost at the least that are due
    `by` seconds after its first one. Nothing has been struck for them: they are passed over, or
    what comes for them comes late. At the end of a pass (inf) nothing more can come."""
    sheet, prices = task.sheet, np.diff(_skips(task))
    least = np.minimum(prices, _price((by - sheet.times) / sheet.beats))
    return np.concatenate([np.cumsum(least[::-1])[::-1], [0.0]])


def price_of(beats: float) -> float:
    """What coming so many beats late costs."""
    return float(_price(np.array([beats]))[0])


def _price(beats: _Costs) -> _Costs:
    distance = np.maximum(beats, 0.0)
    return NEAR * np.minimum(distance, 0.5) + FAR * np.maximum(distance - 0.5, 0.0)
