"""How long the drill takes to look back on daily practice: folded in full, from what is kept.

`MITTELSTIMME_BENCH_DAYS` says how many days there are; a year is what is asked for. Printed, never
a failure.
"""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from time import perf_counter

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from tests.bench.year import PASSES, build
from trainer.journal.store import Journal
from trainer.practice.material import Material, open_material
from trainer.review.looking_back import kept_path, look_back
from trainer.score.library import Library

DAYS = int(os.environ.get("MITTELSTIMME_BENCH_DAYS", "40"))
WHO = "player-of-the-bench"


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


@pytest.fixture(scope="module")
def log(material: Material, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, datetime]:
    location = str(tmp_path_factory.mktemp("year") / "log.sqlite")
    return location, build(location, WHO, material, DAYS)


def test_looking_back(
    benchmark: BenchmarkFixture, material: Material, log: tuple[str, datetime]
) -> None:
    location, evening = log
    until = evening.replace(hour=0) - timedelta(days=1)
    with Journal.open(location) as journal:
        kept_path(location, WHO).unlink(missing_ok=True)
        begun = perf_counter()
        whole = look_back(journal, WHO, material, until)
        in_full = perf_counter() - begun
        from_kept = benchmark(look_back, journal, WHO, material, until)
    assert from_kept == whole
    assert len(from_kept.since) == PASSES
    if benchmark.stats is not None:  # not with --benchmark-disable
        median = benchmark.stats.stats.median
        print(
            f"\n{DAYS} days, {DAYS * PASSES} passes: {in_full:.2f} s in full, {median:.3f} s from "
            f"what is kept, {in_full / median:.0f} times as fast"
        )
