"""Whole passes as people play them: what happened is named first, nothing after it goes astray, and
what was said while they were played is what is said at the end.

`python -m tests.faults.human` plays more of them."""

from __future__ import annotations

import pytest

from tests.faults.human import INCIDENTS, happened, run

PASSES = 10 * len(INCIDENTS)


def test_what_happened_is_named_first_and_derails_nothing() -> None:
    tried, misnamed, derailed, otherwise = run(PASSES, seed=2)
    count = sum(tried.values())
    assert set(tried) == set(INCIDENTS) and count >= 0.9 * PASSES
    assert len(misnamed) <= 0.05 * count, misnamed
    assert len(derailed) <= 0.01 * count, derailed
    assert len(otherwise) <= 0.05 * count, otherwise
    assert not [line for line in otherwise if "said twice" in line]


@pytest.mark.parametrize(
    ("incident", "turn"),
    [("stopped", 4), ("stopped", 18), ("stopped", 31), ("late throughout", 3)],
)
def test_of_every_moment_one_thing_is_said_while_it_is_played(incident: str, turn: int) -> None:
    """A chord that came late, and found its place only by the next one, was judged beside what had
    been said of its moment before."""
    one = happened(INCIDENTS.index(incident) + turn * len(INCIDENTS), seed=7)
    assert one is not None
    told = [moment.index for moment in one.played().before_its_end]
    assert told == sorted(set(told))
