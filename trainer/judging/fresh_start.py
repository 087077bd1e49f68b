"""A player who stops and begins again from an earlier bar, unasked, while the beat goes on.

Any chord that fits the beginning of an earlier bar may be such a beginning. From there the player
is followed as if it were one, beside the way on which it is none; it is one as soon as, over two
chords or more, it explains by `MARGIN` better what was struck. The price of having stopped, and
of being late ever since, is paid on either way, so that a player who only stopped and goes on, or
who is late throughout, is not taken for one who begins again. Who has not even stopped hardly
begins again: that costs more.

Where the program plays the bass itself it leads, and nobody can begin again without it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf
from statistics import median

from trainer.judging.follow import HELD, Follower, follow, follower, price_of
from trainer.judging.stretch import Stretch, stretch_again
from trainer.judging.task import Task, strangeness
from trainer.judging.timing import onset
from trainer.listening.events import StruckChord

FITS = 0.25  # `strangeness` of a chord with which one begins again, at most
MARGIN = 1.0  # in the prices of `follow`
UNASKED = 1.0  # what it costs if the chord came when the next one was expected
STOPPED = 0.35  # beats by which it has to come later for the player to have stopped
CLEARLY = 0.3  # by which it must explain more than any other beginning
AT_LAST = 5  # chords after which of two beginnings that sound alike the later is taken
HOPELESS = 2.0  # by how much it may explain less
MOST = 6  # attempts followed at a time


@dataclass(frozen=True, eq=False)
class Attempt:
    """`part` as it would be, `before` who is about to play it, `after` the same after its `chords`.
    `cost` is what the way without it had cost by then, and what the stop costs."""

    part: Stretch
    before: Follower
    after: Follower
    chords: tuple[StruckChord, ...]
    cost: float


def attempted(
    attempts: Sequence[Attempt],
    before: Follower,
    after: Follower,
    chord: StruckChord,
    part: Stretch,
) -> tuple[Attempt, ...]:
    """The attempts after one more chord: those that still may be one, and such as begin with it,
    the likeliest first. `before` and `after` are the way without any, before the chord and after.
    """
    went_on = [
        replace(
            one,
            after=follow(one.after, chord, one.part.origin),
            chords=(*one.chords, chord),
        )
        for one in attempts
    ]
    hopeful = [one for one in went_on if _gain(one, after) > -HOPELESS]
    found = [*hopeful, *_begun(before, chord, part)]
    return tuple(sorted(found, key=lambda one: -_gain(one, after))[:MOST])


def begun_again(attempts: Sequence[Attempt], after: Follower, chord: StruckChord) -> Attempt | None:
    """The attempt that is one, if any is, after `chord`; `attempts` as `attempted` gives them."""
    if not attempts or not _is_one(attempts[0], after, chord):
        return None
    best = _gain(attempts[0], after)
    alike = [one for one in attempts if _gain(one, after) > best - CLEARLY]
    if len(alike) == 1 or len(attempts[0].chords) >= AT_LAST:
        return _in_the_middle(max(alike, key=lambda one: one.part.first))
    return None


def _in_the_middle(one: Attempt) -> Attempt:
    """With the beat in the middle of what was struck so far: the first chord was not exact."""
    task, part = one.after.task, one.part
    assert task.line is not None
    places = one.after.places(one.chords[-1].first - part.origin)
    late: dict[int, float] = {}
    for chord, place in zip(one.chords[-len(places) :], places, strict=True):
        if place is not None:
            late.setdefault(place, onset(chord) - part.origin - task.line.time(place))
    time = part.origin + task.line.time(part.first) + median(late.values())
    return replace(one, part=stretch_again(task, part.first, time, part.opens))


def awaited_until(attempts: Sequence[Attempt], after: Follower) -> float:
    """The clock time until which the next chord may come of an attempt that explains better what
    was struck, though not yet clearly; -inf if there is none."""
    return max((_next_by(one) for one in attempts if _gain(one, after) > 0), default=-inf)


def _next_by(one: Attempt) -> float:
    """When the chord after its latest would come a beat late."""
    task, part = one.after.task, one.part
    assert task.line is not None
    place = one.after.moment(one.chords[-1].first - part.origin)
    following = min(task.wanted_from((part.first if place is None else place) + 1), task.last)
    return part.origin + task.line.time(following) + task.line.beat_length(following)


def _gain(one: Attempt, after: Follower) -> float:
    """By how much it explains better what was struck."""
    return after.cost - one.cost - one.after.cost - HELD * len(one.chords)


def _is_one(one: Attempt, after: Follower, chord: StruckChord) -> bool:
    if _gain(one, after) < MARGIN:
        return False
    place = one.after.moment(chord.first - one.part.origin)
    return place is not None and place > one.part.first


def _begun(before: Follower, chord: StruckChord, part: Stretch) -> Iterator[Attempt]:
    task = before.task
    if "bass" in task.conditions.supply or task.line is None:
        return
    by = chord.first - part.origin
    reached = before.moment(by)
    if reached is None:
        return
    following = task.wanted_from(reached + 1)
    late = lag = before.lag(by)
    if following <= task.last:
        due = task.line.time(following)
        late = (onset(chord) - part.origin - due) / task.line.beat_length(following)
    stopped = late - lag > STOPPED
    cost = before.cost + price_of(late) + (0.0 if stopped else UNASKED)
    for first in _beginnings(task, reached):
        if strangeness(task.at(first), chord.struck) <= FITS:
            again = stretch_again(task, first, onset(chord), chord.first)
            ready = follower(task, first)
            yield Attempt(again, ready, follow(ready, chord, again.origin), (chord,), cost)


def _beginnings(task: Task, reached: int) -> Iterator[int]:
    """Where one begins again: at a bar or a phrase, of the phrase one had come to or of the one
    before, and at the beginning of the pass."""
    phrases = task.exercise.phrases
    here = next(n for n, phrase in enumerate(phrases) if phrase.first <= reached <= phrase.last)
    since = phrases[max(0, here - 1)].first
    firsts = {task.first, *(phrase.first for phrase in phrases)}
    firsts |= {after.index for before, after in pairwise(task.moments) if before.bar != after.bar}
    struck = (task.wanted_from(first) for first in sorted(firsts) if first >= task.first)
    yield from (
        first
        for first in dict.fromkeys(struck)
        if (since <= first or first == task.wanted_from(task.first)) and first < reached
    )
