"""The times of messages that are read late."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.listening.stamps import Stamps


def test_a_message_is_stamped_between_the_reading_before_and_the_one_that_finds_it() -> None:
    stamps = Stamps(10.0)
    assert stamps.read(10.5, []) == []
    assert 10.5 <= stamps.read(10.6, [0.0])[0] <= 10.6


def test_a_late_reading_does_not_make_a_message_late() -> None:
    stamps = Stamps(0.0)
    stamps.read(0.999, [])
    assert stamps.read(1.0, [0.0]) == [pytest.approx(1.0, abs=0.001)]
    # the reader was held up for half a second; the library says 0.2 and 0.1 s had gone by
    assert stamps.read(1.5, [0.2, 0.1]) == [
        pytest.approx(1.2, abs=0.001),
        pytest.approx(1.3, abs=0.001),
    ]


def test_times_never_run_backwards_even_where_a_library_says_so() -> None:
    stamps = Stamps(0.0)
    times = stamps.read(1.0, [0.0, 0.1, -5.0, 0.2])
    assert times == sorted(times)


steps = st.lists(
    st.tuples(st.floats(0.0001, 0.3), st.lists(st.floats(0, 0.9), max_size=4)),
    min_size=1,
    max_size=60,
)


@given(steps, st.floats(0.999, 1.001))
def test_the_error_is_never_more_than_the_shortest_reading_and_what_the_clocks_run_apart(
    plan: list[tuple[float, list[float]]], pace: float
) -> None:
    """Readings after gaps of any length, messages anywhere in them, the library's clock too fast
    or too slow by up to a thousandth."""
    now, last, tightest = 100.0, None, float("inf")
    stamps = Stamps(now)
    for gap, places in plan:
        true = sorted(now + gap * place for place in places)
        after = []
        for time in true:
            after.append(0.0 if last is None else (time - last) * pace)
            last = time
        found = stamps.read(now + gap, after)
        for time, stamp in zip(true, found, strict=True):
            assert now - 1e-9 - 0.001 * gap <= stamp <= now + gap + 1e-9
            tightest = min(tightest, gap)
            assert abs(stamp - time) <= tightest + 0.001 * (now + gap - 100.0) + 0.001 * gap + 1e-6
        now += gap
