"""How long a plan takes: the past folded, and the plan made of it. Printed, never a failure."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from trainer.practice.material import Material, open_material
from trainer.practice.past import Past, past_of
from trainer.practice.plan import Task
from trainer.practice.planning import todays_plan
from trainer.practice.result import PassResult
from trainer.practice.simulate import SimulatedPlayer, exercise_of, simulate
from trainer.score.exercise import Exercise
from trainer.score.library import Library
from trainer.score.transpose import transposed

START = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
DAYS = 20


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


@pytest.fixture(scope="module")
def passes(material: Material) -> tuple[PassResult, ...]:
    """Twenty days of twenty minutes."""
    library = Library()

    def get(task: Task) -> Exercise:
        id = task.exercise_id
        return exercise_of(task, material, {} if "@" in id else {id: library.find(id)}, transposed)

    days = simulate(SimulatedPlayer(), DAYS, 20, material, get, start=START, begin_at=14)
    return tuple(result for day in days for result in day.passes)


def test_the_past_is_folded(
    benchmark: BenchmarkFixture, material: Material, passes: tuple[PassResult, ...]
) -> None:
    now = START + timedelta(days=DAYS)
    past: Past = benchmark(past_of, passes, material, now, 14)
    benchmark.extra_info["passes"] = len(passes)
    benchmark.extra_info["chords"] = sum(len(result.answers) for result in passes)
    assert past.played.passes == len(passes)


def test_a_plan_is_made_of_it(
    benchmark: BenchmarkFixture, material: Material, passes: tuple[PassResult, ...]
) -> None:
    now = START + timedelta(days=DAYS)
    past = past_of(passes, material, now, 14)
    plan = benchmark(todays_plan, now, 20, material, past)
    assert plan.parts
