"""The bars of an exercise, and durations as note values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from trainer.score.exercise import Exercise


@dataclass(frozen=True, slots=True)
class Bar:
    """From `start` to `end` in quarter notes; `number` as printed, a pick-up is 0.

    `continued` marks the later part of a bar that a system break divides.
    """

    start: Fraction
    end: Fraction
    number: int
    continued: bool = False

    @property
    def id(self) -> str:
        return f"bar-{self.number}" + (f"-from-{self.start}" if self.continued else "")


@dataclass(frozen=True, slots=True)
class Value:
    """A note value: `length` is MEI's `dur` (`4` = quarter, `breve`), with `dots`."""

    length: str
    dots: int
    duration: Fraction


def bars(exercise: Exercise) -> tuple[Bar, ...]:
    """The bars in order, the last one as long as the piece leaves it."""
    found: list[Bar] = []
    start, number = Fraction(0), 1
    if exercise.pickup:
        found.append(Bar(start, exercise.pickup, 0))
        start = exercise.pickup
    changes = [at for at, _ in exercise.metres[1:]]
    while start < exercise.length:
        end = min(start + exercise.metre_at(start).bar_length, exercise.length)
        end = min([end, *(at for at in changes if start < at < end)])
        found.append(Bar(start, end, number))
        start, number = end, number + 1
    return tuple(found)


def divided(whole: Iterable[Bar], breaks: frozenset[Fraction]) -> tuple[Bar, ...]:
    """The bars, each one divided where a system begins within it."""
    parts: list[Bar] = []
    for bar in whole:
        cuts = [bar.start, *sorted(at for at in breaks if bar.start < at < bar.end), bar.end]
        parts.extend(Bar(a, b, bar.number, a != bar.start) for a, b in pairwise(cuts))
    return tuple(parts)


_LENGTHS = [("breve", Fraction(8))] + [(str(2**n), Fraction(4, 2**n)) for n in range(9)]
VALUES = sorted(
    (
        Value(name, dots, length * (2 - Fraction(1, 2**dots)))
        for name, length in _LENGTHS
        for dots in (0, 1, 2)
        if not (dots and length < Fraction(1, 8))
    ),
    key=lambda value: (-value.duration, value.dots),
)


@lru_cache(maxsize=1024)
def values(duration: Fraction) -> tuple[Value, ...]:
    """The fewest note values, longest first, that add up to `duration` in quarter notes.

    What is left below a 1/64 of a quarter is dropped: a `duration` no plain values express is to
    be multiplied by its `ratio` first.
    """
    parts: list[Value] = []
    rest = duration
    while rest >= VALUES[-1].duration:
        value = next(v for v in VALUES if v.duration <= rest)
        parts.append(value)
        rest -= value.duration
    return tuple(parts)


@dataclass(frozen=True, slots=True)
class Ratio:
    """`number` notes in the time of `base` of their kind: 3 in the time of 2."""

    number: int = 1
    base: int = 1

    @property
    def written(self) -> Fraction:
        """What a duration is multiplied with to become the value written."""
        return Fraction(self.number, self.base)


def ratio(duration: Fraction) -> Ratio:
    """What plain note values need to express it: 1 in the time of 1, a triplet, a quintuplet."""
    odd = duration.denominator
    while odd % 2 == 0:
        odd //= 2
    return Ratio(odd, 1 << (odd.bit_length() - 1))
