"""Intervals and typical values against SciPy, which knows them better."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from trainer.review.statistics import Share, Think, wilson


@given(st.integers(1, 10_000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_interval_of_a_share_is_wilsons(counts: tuple[int, int]) -> None:
    hits, cases = counts
    expected = stats.binomtest(hits, cases).proportion_ci(0.95, method="wilson")
    assert wilson(hits, cases) == pytest.approx((expected.low, expected.high), abs=1e-12)


def test_a_share_without_cases_may_be_anything() -> None:
    share = Share(0, 0)
    assert (share.low, share.high) == (0.0, 1.0) and math.isnan(share.value)


@given(st.lists(st.floats(0.05, 60.0), min_size=2, max_size=50))
def test_the_typical_think_time_is_the_geometric_mean(seconds: list[float]) -> None:
    logs = [math.log(s) for s in seconds]
    whole = Think(
        len(seconds), sum(round(1e6 * x) for x in logs), sum(round(1e6 * x * x) for x in logs)
    )
    assert whole.typical == pytest.approx(stats.gmean(seconds), rel=1e-5)
    assert whole.interval is not None
    error = stats.sem(logs)
    low, high = stats.norm.interval(0.95, loc=sum(logs) / len(logs), scale=max(error, 1e-9))
    assert whole.interval == pytest.approx((math.exp(low), math.exp(high)), rel=2e-2)


def test_think_times_add_up_in_any_order() -> None:
    one, other = Think(2, 500_000, 300_000), Think(1, -200_000, 40_000)
    assert one + other == other + one == Think(3, 300_000, 340_000)
