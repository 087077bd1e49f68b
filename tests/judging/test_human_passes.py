"""Whole passes as people play them: what happened is named first, nothing after it goes astray, and
what was said while they were played is what is said at the end.

`python -m tests.faults.human` plays more of them."""

from __future__ import annotations

from tests.faults.human import INCIDENTS, run

PASSES = 10 * len(INCIDENTS)


def test_what_happened_is_named_first_and_derails_nothing() -> None:
    tried, misnamed, derailed, otherwise = run(PASSES, seed=2)
    count = sum(tried.values())
    assert set(tried) == set(INCIDENTS) and count >= 0.9 * PASSES
    assert len(misnamed) <= 0.05 * count, misnamed
    assert len(derailed) <= 0.01 * count, derailed
    assert len(otherwise) <= 0.05 * count, otherwise
