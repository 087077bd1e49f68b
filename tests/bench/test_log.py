"""The log at size: open, hand a chord over, write one, read each page of the review.

`MITTELSTIMME_BENCH_CHORDS` says how many chords the log has; ten million is what is asked for
(product figures: open 0.1 s, hand over 1 ms, any page 1 s), CI makes do with fewer. Nothing here
fails on time; what is printed is each figure as a part of what it may be.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from sqlalchemy.engine import URL

from tests.bench.big_log import BUSY, LAST, build
from tests.journal.samples import EVENTS, SECOND, TAKE
from tests.postgresql import Databases
from trainer.journal.store import Journal
from trainer.journal.writer import Writer
from trainer.review import queries
from trainer.review.advice import next_work

CHORDS = int(os.environ.get("MITTELSTIMME_BENCH_CHORDS", "50000"))
ALLOWED = {"open": 0.1, "hand over": 0.001, "write": 0.01, "page": 1.0}  # seconds


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def big(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A log of `CHORDS` chords."""
    if request.param == "sqlite":
        location = str(tmp_path_factory.mktemp("big") / "log.sqlite")
        build(location, CHORDS)
        yield location
        Path(location).unlink()
        return
    server: URL = request.getfixturevalue("postgresql_server")
    databases = Databases(server)
    location = databases.new()
    build(location, CHORDS)
    yield location
    databases.close()


def report(benchmark: BenchmarkFixture, what: str) -> None:
    if benchmark.stats is None:  # --benchmark-disable
        return
    median = benchmark.stats.stats.median
    print(
        f"\n{benchmark.name}: {median * 1000:.3f} ms, {median / ALLOWED[what]:.1%} of what it may"
    )


def test_opening(benchmark: BenchmarkFixture, big: str) -> None:
    benchmark(lambda: Journal.open(big).close())
    report(benchmark, "open")


def test_handing_a_chord_over(benchmark: BenchmarkFixture, big: str) -> None:
    with Writer(big) as writer:
        id = writer.begin(replace(TAKE, player=BUSY))

        def hand_over() -> None:
            writer.events(id, EVENTS)
            writer.moment(id, SECOND)

        benchmark.pedantic(hand_over, rounds=200)
    report(benchmark, "hand over")


def test_writing_a_chord(benchmark: BenchmarkFixture, big: str) -> None:
    with Writer(big) as writer:
        id = writer.begin(replace(TAKE, player=BUSY))

        def write() -> None:
            writer.events(id, EVENTS)
            writer.moment(id, SECOND)
            writer.flush()

        benchmark.pedantic(write, rounds=50)
    report(benchmark, "write")


PAGES: dict[str, Callable[[Journal, str | None], Any]] = {
    "totals": queries.totals,
    "minutes by day": queries.days,
    "pieces": queries.pieces,
    "tempo by piece": lambda j, p: queries.tempi(j, p, by="month"),
    "tempo of one piece": lambda j, p: queries.tempi(j, p, exercise_id="bellows"),
    "fluency": queries.fluencies,
    "fluency by figuring": lambda j, p: queries.fluencies(j, p, ("figuring",)),
    "faults by rule": queries.faults,
    "faults by piece": lambda j, p: queries.faults(j, p, ("exercise_id",)),
    "faults over time": lambda j, p: queries.faults(j, p, ("month",)),
    "what to work on": lambda j, p: next_work(j, p, LAST),
    "last takes": lambda j, p: j.takes(p, 20),
}


@pytest.mark.parametrize("player", [BUSY, None], ids=["one player", "everybody"])
@pytest.mark.parametrize("page", PAGES)
def test_a_page_of_the_review(
    benchmark: BenchmarkFixture, big: str, page: str, player: str | None
) -> None:
    with Journal.open(big, write=False) as journal:
        found = benchmark.pedantic(PAGES[page], args=(journal, player), rounds=3, warmup_rounds=0)
    assert found
    report(benchmark, "page")
