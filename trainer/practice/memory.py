"""When to ask again: every item known so far, scheduled by the FSRS algorithm.

An item is rated from what was played, never by the player: wrong is `Again`; right but slow, or
out of time, is `Hard`; right is `Good`; right at once is `Easy`. What counts is the first meeting
on a day: it shows what was remembered, the next ones are practice. The whole memory is a fold over
past results, so it is the same whenever and wherever the log is read.

Scheduling is the `fsrs` package's, with its default parameters and no fuzz: the same past gives
the same day.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

import fsrs
from fsrs import Rating

from trainer.practice.item import Item, ItemKind
from trainer.practice.result import Answer, PassResult, asked_by, base

AT_ONCE, SECURE = 1.0, 2.0  # think time in seconds: known by heart; known (common practice)
_SCHEDULER = fsrs.Scheduler(enable_fuzzing=False, maximum_interval=180)
_A_DAY = 2  # figurings that enter in this way on one day, at most: more could not be asked
_MISSES = 3  # a figuring missed on so many occasions in playing becomes an item of its own


@dataclass(frozen=True, slots=True)
class Known:
    """What is remembered of one item. `card` is never changed in place; `asked` and `wrong`
    count reviews, `slow` those that were right but slow or out of time; `day` is the last one's."""

    item: Item
    card: fsrs.Card
    day: date | None = None
    asked: int = 0
    wrong: int = 0
    slow: int = 0

    @property
    def due(self) -> datetime:
        return self.card.due

    def recall(self, now: datetime) -> float:
        """Probability, 0 to 1, that it would be right now."""
        return float(_SCHEDULER.get_card_retrievability(self.card, now.astimezone(UTC)))


@dataclass(frozen=True, slots=True)
class Memory:
    """All that is known; how often figurings that are not yet asked were missed; and how many of
    those entered on the last day that any did."""

    known: Mapping[Item, Known] = field(default_factory=dict)
    misses: Mapping[Item, int] = field(default_factory=dict)
    entered: tuple[date | None, int] = (None, 0)

    def due(self, by: datetime) -> tuple[Known, ...]:
        """What is due by then, the most forgotten first."""
        waiting = [one for one in self.known.values() if one.due <= by]
        return tuple(sorted(waiting, key=lambda one: (one.recall(by), one.due, one.item)))


def reviewed(known: Known, rating: Rating, at: datetime) -> Known:
    """The item after one review. A clock that went back counts as no time passed."""
    day = at.date()
    at = at.astimezone(UTC)
    if known.card.last_review is not None:
        at = max(at, known.card.last_review)
    card, _ = _SCHEDULER.review_card(known.card, rating, at)
    return Known(
        known.item,
        card,
        day,
        asked=known.asked + 1,
        wrong=known.wrong + (rating is Rating.Again),
        slow=known.slow + (rating is Rating.Hard),
    )


def first_seen(item: Item, at: datetime) -> Known:
    """An item that is asked for the first time."""
    return Known(item, fsrs.Card(card_id=0, due=at.astimezone(UTC)))


def rated(answer: Answer) -> Rating:
    """An answer as a rating: from correctness and think time, or from being in time."""
    if not answer.right:
        return Rating.Again
    if answer.timely is not None:
        return Rating.Good if answer.timely else Rating.Hard
    if answer.think_s is None or AT_ONCE < answer.think_s <= SECURE:
        return Rating.Good
    return Rating.Easy if answer.think_s <= AT_ONCE else Rating.Hard


def rated_pass(result: PassResult, tempo: float) -> Rating:
    """A pass over a whole cadence, sequence or piece, whose own tempo is `tempo` beats a minute."""
    if result.harmony < 0.8 or result.gross > 2:
        return Rating.Again
    clean = result.harmony >= 0.95 and result.gross == 0
    if result.tempo is None:
        quick = result.think_s is not None and result.think_s <= SECURE
        return Rating.Good if clean and quick else Rating.Hard
    timely = (result.time or 0.0) >= 0.85
    if clean and timely and result.tempo >= tempo:
        return Rating.Easy
    return Rating.Good if clean and timely and result.tempo >= 0.75 * tempo else Rating.Hard


@dataclass(frozen=True, slots=True)
class Whole:
    """A cadence, sequence or piece as memory knows it: its kind and its own tempo."""

    kind: ItemKind
    tempo: float


def remembered(
    results: Iterable[PassResult],
    wholes: Mapping[str, Whole],
    memory: Memory | None = None,
) -> Memory:
    """The memory after these passes, in order of time.

    `wholes` says what the exercises are, by the part of their id before `@`; a question (an
    exercise of one figuring) has no whole. Figurings enter the memory by being asked, or by being
    missed three times in playing; once there, every meeting with them counts.
    """
    memory = memory or Memory()
    known, misses, (last, entered) = dict(memory.known), dict(memory.misses), memory.entered
    for result in results:
        asked, day = asked_by(result.exercise_id), result.at.date()
        for item, ratings in _met(result, known, day).items():
            rating = _together(ratings)
            before = known.get(item)
            if before is None and item != asked:
                misses[item] = misses.get(item, 0) + (rating is Rating.Again)
                entered = entered if last == day else 0
                if misses[item] < _MISSES or rating is not Rating.Again or entered == _A_DAY:
                    continue
                last, entered = day, entered + 1
            known[item] = reviewed(before or first_seen(item, result.at), rating, result.at)
        whole = wholes.get(base(result.exercise_id))
        if whole is not None and result.whole and result.finished:
            item = whole_item(whole, result)
            before = known.get(item)
            if before is None or before.day != day:
                rating = rated_pass(result, whole.tempo)
                known[item] = reviewed(before or first_seen(item, result.at), rating, result.at)
    return Memory(known, misses, (last, entered))


def whole_item(whole: Whole, result: PassResult) -> Item:
    """What a pass over a whole was about: a piece is one in any key, the others one in each."""
    key = "" if whole.kind == "piece" else result.key
    return Item(whole.kind, base(result.exercise_id), key)


def _met(result: PassResult, known: Mapping[Item, Known], day: date) -> Mapping[Item, list[Rating]]:
    """The figurings of a pass that were not met before on that day, with all their ratings."""
    met: dict[Item, list[Rating]] = {}
    for answer in result.answers:
        before = known.get(answer.item)
        if before is None or before.day != day:
            met.setdefault(answer.item, []).append(rated(answer))
    return met


def _together(ratings: Sequence[Rating]) -> Rating:
    """One rating for several answers of a pass: the worst, unless most were right."""
    wrong = ratings.count(Rating.Again)
    return Rating.Hard if wrong and 2 * wrong < len(ratings) else min(ratings)


def end_of_day(moment: datetime) -> datetime:
    """The last instant of that day, in the zone of `moment`."""
    midnight = moment.replace(hour=0, minute=0, second=0, microsecond=0)
    return midnight + timedelta(days=1) - timedelta(microseconds=1)
