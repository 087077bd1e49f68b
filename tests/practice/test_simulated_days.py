"""Sixty days of a player made of numbers: what the plan and the ladder make of a person.

The player's error rate and speed for each figuring are set here and never improve, so every
difference is the plan's doing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random
from statistics import mean

import pytest

from trainer.practice.ladder import begin, climbed
from trainer.practice.material import Material, open_material
from trainer.practice.past import past_of
from trainer.practice.plan import Task
from trainer.practice.planning import todays_plan
from trainer.practice.result import base
from trainer.practice.simulate import Day, SimulatedPlayer, exercise_of, practised, simulate
from trainer.score.exercise import Exercise
from trainer.score.library import Library
from trainer.score.transpose import transposed

START = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
MINUTES = 20


@pytest.fixture(scope="module")
def library() -> Library:
    return Library()


@pytest.fixture(scope="module")
def material(library: Library) -> Material:
    return open_material(library)


@pytest.fixture(scope="module")
def get(library: Library, material: Material) -> Callable[[Task], Exercise]:
    kept: dict[tuple[str, str], Exercise] = {}

    def exercise(task: Task) -> Exercise:
        at = (task.exercise_id, task.key)
        if at not in kept:
            pieces = {} if "@" in at[0] else {at[0]: library.find(at[0])}
            kept[at] = exercise_of(task, material, pieces, transposed)
        return kept[at]

    return exercise


@pytest.fixture(scope="module")
def weak_days(material: Material, get: Callable[[Task], Exercise]) -> tuple[Day, ...]:
    """Somebody who is at home with most figurings by step 14, and in trouble with 6 5."""
    player = SimulatedPlayer(wrong={"6 5": 0.3})
    return simulate(player, 60, MINUTES, material, get, start=START, begin_at=14)


@pytest.fixture(scope="module")
def even_days(material: Material, get: Callable[[Task], Exercise]) -> tuple[Day, ...]:
    """The same player, no worse with 6 5 than with the rest."""
    return simulate(SimulatedPlayer(), 60, MINUTES, material, get, start=START, begin_at=14)


def share(days: Sequence[Day], name: str) -> float:
    counts = practised(days)
    return counts.get(name, 0) / sum(counts.values())


def table(days: Sequence[Day], other: Sequence[Day]) -> str:
    lines = ["days    step  minutes  due  answered  waiting  6 5 (weak)  6 5 (even)"]
    for first in range(0, len(days), 10):
        some, same = days[first : first + 10], other[first : first + 10]
        lines.append(
            f"{first + 1:>2}–{first + 10:<4} {some[-1].plan.step:>4}  "
            f"{mean(day.minutes for day in some):>7.1f}  "
            f"{sum(day.due for day in some):>3}  {sum(day.met for day in some):>8}  "
            f"{mean(day.waiting for day in some):>7.1f}  "
            f"{share(some, '6 5'):>10.1%}  {share(same, '6 5'):>10.1%}"
        )
    return "\n".join(lines)


def test_what_is_weak_is_practised_more(
    weak_days: Sequence[Day], even_days: Sequence[Day], capsys: pytest.CaptureFixture[str]
) -> None:
    with capsys.disabled():
        print("\n" + table(weak_days, even_days))
    assert share(weak_days, "6 5") > 2 * share(even_days, "6 5")
    first, last = weak_days[:5], weak_days[-20:]
    assert share(last, "6 5") >= 0.8 * share(first, "6 5")  # and it does not tire of it


def test_what_is_due_is_asked_that_day(even_days: Sequence[Day], weak_days: Sequence[Day]) -> None:
    for days in (even_days, weak_days):
        assert sum(day.due for day in days) > 100
        assert sum(day.met for day in days) >= 0.98 * sum(day.due for day in days)
    room = 60 * 0.32 * MINUTES / 10
    assert mean(day.waiting for day in even_days[-20:]) <= room  # nothing piles up


def test_the_minutes_are_kept(even_days: Sequence[Day], weak_days: Sequence[Day]) -> None:
    for days in (even_days, weak_days):
        for day in days:  # the last pass is played out
            longest = max(result.seconds for result in day.passes) / 60
            assert day.minutes <= MINUTES + longest + 0.1
        assert mean(day.minutes for day in days) >= 0.8 * MINUTES


def test_every_part_says_why_it_is_there(weak_days: Sequence[Day]) -> None:
    reasons = [part.reason for day in weak_days for part in day.plan.parts]
    assert all(reasons)
    weak = [part.reason for day in weak_days[10:] for part in day.plan.parts if part.kind == "weak"]
    assert sum(reason.startswith("6 5 has lately gone wrong") for reason in weak) > 0.9 * len(weak)


def test_the_same_past_and_the_same_day_give_the_same_plan(
    weak_days: Sequence[Day], material: Material
) -> None:
    results = [result for day in weak_days[:20] for result in day.passes]
    morning = START + timedelta(days=20, hours=-12)
    plans = [
        todays_plan(now, MINUTES, material, past_of(mixed, material, now, 14), player="simulated")
        for now, mixed in (
            (morning, results),
            (morning + timedelta(hours=13), results),
            (morning, Random(5).sample(results, len(results))),
        )
    ]
    assert plans[0] == plans[1] == plans[2] == weak_days[20].plan
    another = todays_plan(
        morning + timedelta(days=1),
        MINUTES,
        material,
        past_of(results, material, morning + timedelta(days=1), 14),
        player="simulated",
    )
    assert another.parts != plans[0].parts


# ── the ladder alone ─────────────────────────────────────────────────────────────────────────


def secure_tempo(player: SimulatedPlayer, exercise: Exercise, goal: float) -> float:
    """The fastest tempo at which the player is in time, and right, as often as the rungs ask.

    Measured by playing, apart from any ladder.
    """
    best = 0.0
    for tempo in range(30, int(goal) + 1):
        foot = begin(base(exercise.id), str(exercise.key), "1+3", goal)
        ladder = replace(foot, tempo=float(tempo))
        chance = Random(tempo)
        good = 0
        for _ in range(40):
            result = player.plays(exercise, float(tempo), START, chance)
            good += climbed(ladder, result).good
        if good >= 20:
            best = tempo
    return best


@pytest.mark.parametrize("think_s", [0.9, 1.1, 1.4])
def test_a_player_climbs_to_the_own_limit_and_no_further(library: Library, think_s: float) -> None:
    exercise = library.find("falling-fifths@G")
    goal = 140.0
    names = ("-", "6", "6 5", "#")
    player = SimulatedPlayer(0.0, think_s, think_s=dict.fromkeys(names, think_s))
    limit = secure_tempo(player, exercise, goal)
    assert 60 < limit < 135  # well inside the ladder, or nothing is shown
    ladder = begin("falling-fifths", str(exercise.key), "1+3", goal)
    tempi = []
    chance = Random(9)
    for number in range(120):
        tempi.append(ladder.tempo)
        result = player.plays(exercise, ladder.tempo, START + timedelta(minutes=number), chance)
        ladder = climbed(ladder, result)
    late = tempi[60:]
    assert 0.9 * limit <= mean(late) <= 1.06 * limit
    assert max(late) <= 1.12 * limit


def test_a_slower_thinker_stands_lower_on_every_ladder(
    material: Material, get: Callable[[Task], Exercise]
) -> None:
    highest: list[Mapping[object, float]] = []
    for think_s in (0.7, 1.9):
        player = SimulatedPlayer(0.01, think_s)
        days = simulate(player, 15, MINUTES, material, get, start=START, begin_at=14)
        results = [result for day in days for result in day.passes]
        past = past_of(results, material, START + timedelta(days=15), 13)
        highest.append({at: one.highest or 0.0 for at, one in past.ladders.items()})
    both = highest[0].keys() & highest[1].keys()
    assert len(both) >= 3
    assert mean(highest[0][at] for at in both) > mean(highest[1][at] for at in both)
