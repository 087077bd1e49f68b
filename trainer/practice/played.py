"""What was played, summed up as far as plans ask for it: no pass is kept, and passes can be added.

The sums are small whatever has been played, and adding passes to them gives the same as summing up
everything at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from statistics import median

from trainer.practice.ladder import TOP, compared
from trainer.practice.memory import SECURE, rated
from trainer.practice.result import PassResult, base
from trainer.score.syllabus import Step

CLEAN = 0.95  # share of chords complete in a clean pass
CHORDS, RIGHT = 12, 0.9  # untimed chords looked at, share of them right
PASSES = 2  # that make a tempo secure
RECENT = 200  # passes whose times are kept
_FADING = 1 - 1 / 30  # of what is known of a figuring's weakness, with each new answer

Tempi = Mapping[str, Mapping[str, tuple[float, ...]]]


@dataclass(frozen=True, slots=True)
class Met:
    """How often a piece or drill was played whole and in tempo, and when last."""

    times: int = 0
    last: datetime | None = None


@dataclass(frozen=True, slots=True)
class Thought:
    """Untimed chords of a step's figurings: whether a row of them was ever secure, and until then
    the last of them, each right or not and its think time in seconds."""

    shown: bool = False
    row: tuple[tuple[bool, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Played:
    """`clean` are the fastest tempi of clean passes and `good` those of passes that would be good
    at the top of a ladder, by piece or drill and key, fastest first, no more than `PASSES`.

    `met` says what was played at all; `thoughts` is by number of the course step; `faded` are
    the wrong answers and the answers to each figuring, the last weighing most; `recent` when the
    last passes began and how many seconds they took.
    """

    passes: int = 0
    clean: Tempi = field(default_factory=dict)
    good: Tempi = field(default_factory=dict)
    met: Mapping[str, Met] = field(default_factory=dict)
    thoughts: Mapping[int, Thought] = field(default_factory=dict)
    faded: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    recent: tuple[tuple[datetime, float], ...] = ()

    def clean_at(self, piece: str, tempo: float) -> tuple[str, ...]:
        """The keys in which a piece or drill was clean at a tempo often enough to be secure."""
        keys = self.clean.get(piece, {}).items()
        return tuple(key for key, tempi in keys if len(tempi) == PASSES and tempi[-1] >= tempo)

    def ever_clean_at(self, piece: str, tempo: float) -> bool:
        """Whether it was clean at a tempo, once, in whatever key."""
        return any(tempi[0] >= tempo for tempi in self.clean.get(piece, {}).values())

    def good_at(self, piece: str, key: str, tempo: float) -> int:
        """Passes good at a tempo, counted up to `PASSES`; in an empty key those of every key."""
        keys = self.good.get(piece, {})
        tempi = [one for name, them in keys.items() if key in ("", name) for one in them]
        return min(PASSES, sum(one >= tempo for one in tempi))

    @property
    def weakness(self) -> Mapping[str, float]:
        """How often each figuring goes wrong, 0 to 1, the last thirty answers weighing most.

        Slow or late answers count a third. A figuring met a few times only is taken to be like
        any other: one in ten wrong.
        """
        return {name: wrong / met for name, (wrong, met) in self.faded.items()}


def played_on(before: Played, results: Sequence[PassResult], steps: Iterable[Step]) -> Played:
    """The sums with later passes added, in order of time; `steps` are those of the course."""
    clean, good = dict(before.clean), dict(before.good)
    met, thoughts, faded = dict(before.met), dict(before.thoughts), dict(before.faded)
    brought: dict[str, list[int]] = {}
    for step in steps:
        for name in {*step.new_figurings, *step.new_in_minor}:
            brought.setdefault(name, []).append(step.number)
    for result in results:
        piece = base(result.exercise_id)
        known = met.get(piece) or Met()
        if result.tempo is not None and result.whole:
            known = Met(known.times + 1, result.at)
            if is_clean(result):
                _add(clean, piece, result.key, result.tempo)
            if _is_good(result):
                _add(good, piece, result.key, result.tempo)
        met[piece] = known
        for answer in result.answers:
            name, rating = answer.item.name, int(rated(answer))
            wrong, times = faded.get(name, (0.3, 3.0))
            bad = 1.0 if rating == 1 else 1 / 3 if rating == 2 else 0.0
            faded[name] = (wrong * _FADING + bad, times * _FADING + 1)
            if answer.think_s is not None:
                for number in brought.get(name, ()):
                    thought = thoughts.get(number) or Thought()
                    thoughts[number] = thought_with(thought, answer.right, answer.think_s)
    return Played(
        passes=before.passes + len(results),
        clean=clean,
        good=good,
        met=met,
        thoughts=thoughts,
        faded=faded,
        recent=(*before.recent, *((one.at, one.seconds) for one in results[-RECENT:]))[-RECENT:],
    )


def played_of(results: Iterable[PassResult], steps: Iterable[Step]) -> Played:
    """The sums of passes in order of time."""
    return played_on(Played(), tuple(results), steps)


def is_clean(result: PassResult) -> bool:
    """A whole pass without a gross fault, 19 chords of 20 complete."""
    return result.finished and result.whole and result.harmony >= CLEAN and result.gross == 0


def _is_good(result: PassResult) -> bool:
    return (
        result.finished
        and result.time is not None
        and all(line.met for line in compared(TOP, result))
    )


def _add(
    tempi: dict[str, Mapping[str, tuple[float, ...]]], piece: str, key: str, new: float
) -> None:
    keys = tempi.get(piece, {})
    fastest = tuple(sorted((*keys.get(key, ()), new), reverse=True)[:PASSES])
    if fastest != keys.get(key):
        tempi[piece] = {**keys, key: fastest}


def thought_with(before: Thought, right: bool, think_s: float) -> Thought:
    """With one more untimed chord, right or not, after `think_s` seconds. Once a secure row is
    shown, it holds."""
    if before.shown:
        return before
    row = (*before.row, (right, think_s))[-CHORDS:]
    return Thought(shown=True) if _is_secure(row) else Thought(row=row)


def _is_secure(row: Sequence[tuple[bool, float]]) -> bool:
    took = [think_s for right, think_s in row if right]
    return len(row) == CHORDS and len(took) >= RIGHT * CHORDS and median(took) < SECURE
