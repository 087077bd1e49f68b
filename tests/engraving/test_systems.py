"""Where systems begin. (That a system ends with its phrase where it can: common practice, no
source.)

Over all pieces at usual widths: `python -m tests.faults.systems`.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.engraving import systems
from trainer.engraving.systems import Place, system_starts


def row(count: int, phrases: set[int], step: float = 10.0) -> tuple[list[Place], float]:
    """Bars of equal width, a phrase beginning at some of them."""
    places = [Place(Fraction(n), n * step, n == 0 or n in phrases, True) for n in range(count)]
    return places, count * step


def starts(count: int, phrases: set[int], width: float) -> list[int]:
    places, end = row(count, phrases)
    return sorted(int(at) for at in system_starts(places, end, width, 0.0, 0.0))


def test_systems_begin_with_phrases_where_these_fill_them() -> None:
    assert starts(12, {4, 8}, 45) == [4, 8]


def test_a_full_system_does_not_stand_between_empty_ones() -> None:
    """Four phrases of three bars where six bars fit, but not into the first system."""
    places, end = row(12, {3, 6, 9})
    found = sorted(int(at) for at in system_starts(places, end, 61, 8.0, 0.0))
    lengths = [b - a for a, b in zip([0, *found], [*found, 12], strict=True)]
    assert min(lengths) >= 3 and max(lengths) <= 5, "not 3, 6 and 3"


@pytest.mark.parametrize("count", range(5, 40))
def test_the_last_system_is_never_nearly_empty(count: int) -> None:
    found = starts(count, set(), 41)
    lengths = [b - a for a, b in zip([0, *found], [*found, count], strict=True)]
    assert max(lengths) <= 4
    assert lengths[-1] >= 2


def test_nothing_is_squeezed_unless_a_single_bar_is_wider_than_the_page() -> None:
    assert starts(6, set(), 9) == [1, 2, 3, 4, 5]


def price(cuts: tuple[int, ...], phrases: set[int], count: int, width: float) -> float:
    """The same cost, summed over one way to break a row."""
    edges = [0, *cuts, count]
    fills = [10 * (b - a) / width for a, b in pairwise(edges)]
    if any(fill > 1 and b - a > 1 for fill, a, b in zip(fills, edges, edges[1:], strict=False)):
        return float("inf")
    cost = sum(
        systems.CROWDED * (f - 1) if f > 1 else systems.STRETCH * (1 - f) ** 2 for f in fills
    )
    cost += sum(systems.UNEVEN * (b - a) ** 2 for a, b in pairwise(fills))
    return cost + systems.DIVIDED_PHRASE * sum(1 for cut in cuts if cut not in phrases)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(1, 9), st.sets(st.integers(1, 8)), st.floats(9, 95))
def test_no_other_way_to_break_costs_less(count: int, phrases: set[int], width: float) -> None:
    found = tuple(starts(count, phrases, width))
    others = [cuts for size in range(count) for cuts in combinations(range(1, count), size)]
    least = min(price(cuts, phrases, count, width) for cuts in others)
    assert price(found, phrases, count, width) == pytest.approx(least)
