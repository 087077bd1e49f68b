"""Making a day's plan: which parts, how many questions, which drills, and the words for them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random

import pytest

from trainer.practice.groundwork import TURNS, Groundwork
from trainer.practice.item import Item
from trainer.practice.material import Material, open_material
from trainer.practice.memory import end_of_day
from trainer.practice.past import Past, past_of
from trainer.practice.plan import Part
from trainer.practice.planning import _due, _due_reason, _step, _warm_up, _weak, todays_plan
from trainer.practice.question import question_id
from trainer.practice.result import Answer, PassResult
from trainer.score.library import Library

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


def ground(material: Material, past: Past, now: datetime = START) -> Groundwork:
    return Groundwork(end_of_day(now), 20, material, past, "1+3")


def a_pass(exercise_id: str, key: str, tempo: float | None, days: float = 0) -> PassResult:
    return PassResult(
        exercise_id=exercise_id,
        key=key,
        hands="1+3",
        tempo=tempo,
        at=START + timedelta(days=days),
        seconds=20.0,
        finished=True,
        whole=True,
        harmony=1.0,
        time=None if tempo is None else 1.0,
        movement=1.0,
        judged=8,
        wrong=0,
        gross=0,
    )


def wrongly(item: Item, days: float) -> PassResult:
    asked = a_pass(question_id(item), item.key, None, days)
    return replace(asked, answers=(Answer(item, False, 9.0),))


# ── which parts ──────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("minutes", "kinds"),
    [
        (0.5, ["due"]),
        (2.49, ["due"]),
        (2.5, ["due", "weak"]),
        (3.75, ["due", "weak", "ladder"]),
        (4.99, ["due", "weak", "ladder"]),
        (5, ["due", "weak", "step", "ladder"]),
        (6.25, ["warm-up", "due", "weak", "step", "ladder"]),
        (7.49, ["warm-up", "due", "weak", "step", "ladder"]),
        (7.5, ["warm-up", "due", "weak", "step", "ladder", "sight"]),
    ],
)
def test_each_further_minute_and_a_quarter_brings_a_part(
    material: Material, minutes: float, kinds: list[str]
) -> None:
    plan = todays_plan(START, minutes, material, past_of((), material, START, 12), player="a")
    assert [part.kind for part in plan.parts] == kinds
    assert (plan.minutes, plan.step, plan.hands, plan.day) == (minutes, 12, "1+3", START.date())


# ── questions ────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("minutes", "count"),
    [(0.1, 0), (0.5, 1), (1, 3), (1.5, 5), (2, 7), (2.2, 7), (2.4, 8), (20, 8)],
)
def test_six_tenths_of_the_questions_may_be_new_and_no_more_than_eight(
    material: Material, minutes: float, count: int
) -> None:
    """A question takes ten seconds."""
    here = ground(material, past_of((), material, START, 12))
    found = _due(here, Random(1), minutes)
    assert len(found.tasks) == count
    brought = {*here.past.standing.step.new_figurings, *here.past.standing.step.new_in_minor}
    assert all(task.item is not None for task in found.tasks)
    names = [task.item.name in brought for task in found.tasks if task.item is not None]
    assert names == sorted(names, reverse=True)  # what the step brings is asked first


def test_what_is_due_is_asked_first_as_far_as_there_is_room(material: Material) -> None:
    fresh = _due(ground(material, past_of((), material, START, 12)), Random(1), 20)
    items = [task.item for task in fresh.tasks if task.item is not None]
    assert len(items) == 8
    later = START + timedelta(days=30)
    past = past_of(
        [wrongly(item, number / 24) for number, item in enumerate(items)], material, later, 12
    )
    due = [known.item for known in past.memory.due(end_of_day(later))]
    assert set(due) == set(items)
    here = ground(material, past, later)
    some = _due(here, Random(1), 1.0)  # room for six
    assert [task.item for task in some.tasks] == due[:6]
    assert some.reason == (
        f"6 due, the most forgotten first: {due[0].words}; others wait for another day"
    )
    just = _due(here, Random(1), 80 / 60)  # room for eight
    assert [task.item for task in just.tasks] == due
    assert just.reason == f"8 due, the most forgotten first: {due[0].words}"
    more = _due(here, Random(1), 150 / 60)  # room for fifteen, nine of them for what is not new
    assert [task.item for task in more.tasks][:8] == due
    assert len(more.tasks) == 9
    assert more.reason.endswith("; one new of this step")


def test_the_reason_counts_what_is_new() -> None:
    item = Item("figuring", "6", "G major", "3", 8)
    assert _due_reason((), (), (item, item)) == "2 new of this step"
    assert _due_reason((), (), (item,)) == "one new of this step"
    assert _due_reason((), (), ()) == ""


# ── drills ───────────────────────────────────────────────────────────────────────────────────


def test_a_beginner_warms_up_on_the_first_drill_slowly(material: Material) -> None:
    here = ground(material, past_of((), material, START, 1))
    pattern, key = next(iter(here.met_drills()))
    found = _warm_up(here, Random(1), 2.0)
    (task,) = found.tasks
    assert task.exercise_id.startswith(f"{pattern.id}@")
    assert found.title == f"{pattern.title} in {key}"
    assert found.reason == "slowly, to find the hands and the keys"
    foot = here.ladder(pattern.id, key, pattern.tempo).tempo
    assert (task.tempo, task.ladder, task.most) == (round(0.8 * foot), None, 2)


def test_who_has_something_secure_warms_up_on_it_at_four_fifths(material: Material) -> None:
    first = past_of((), material, START, 12)
    drills = list(ground(material, first).met_drills())
    pattern, key = drills[-1]
    id = f"{pattern.id}@{key.final}:third"
    past = past_of([a_pass(id, str(key), 50.0), a_pass(id, str(key), 50.0)], material, START, 12)
    found = _warm_up(ground(material, past), Random(1), 2.0)
    assert found.tasks[0].exercise_id.startswith(f"{pattern.id}@")
    assert found.tasks[0].tempo == 40.0
    assert found.reason == "something familiar, slower than you can, to wake the hands"


def patterns_of(part: Part) -> list[str]:
    return [task.exercise_id.partition("@")[0] for task in part.tasks]


def test_the_weak_part_has_eight_forms_the_first_four_different_drills(
    material: Material,
) -> None:
    here = ground(material, past_of((), material, START, 12))
    found = _weak(here, Random(1), 3.0)
    assert len(found.tasks) == 8
    assert len(set(patterns_of(found)[:4])) == 4
    assert len({task.exercise_id.partition(":")[0] for task in found.tasks}) == 8
    assert all(task.most == TURNS for task in found.tasks)
    assert all(material.patterns[id].kind != "triad" for id in patterns_of(found))
    assert found.reason == (
        "nothing is weak just now, and this has not yet been played in this key"
    )


def test_before_there_is_anything_else_plain_triads_are_the_weak_part(material: Material) -> None:
    found = _weak(ground(material, past_of((), material, START, 1)), Random(1), 3.0)
    assert found.tasks


def test_the_steps_part_has_at_most_six_drills_in_three_keys_each(material: Material) -> None:
    here = ground(material, past_of((), material, START, 1))
    found = _step(here, Random(1), 3.0)
    ids = patterns_of(found)
    step = here.past.standing.step
    wanted = [one for one in here.past.standing.requirements if one.drill and not one.met]
    assert found.title == f"Step {step.number}: {step.title}"
    assert found.reason == f"the next step waits for: {here.past.standing.requirements[0].words}"
    expected = [
        one.drill
        for one in wanted
        for _ in material.keys(material.patterns[one.drill], step.number)[:3]
    ]
    assert ids == expected[:6]


def test_what_was_begun_on_the_step_comes_before_other_keys(material: Material) -> None:
    drill = material.steps[0].drills[0]
    pattern = material.patterns[drill]
    *_, last = material.keys(pattern, 1)
    id = f"{drill}@{last.final}:third"
    past = past_of([a_pass(id, str(last), 30.0)], material, START, 1)
    for seed in range(5):
        found = _step(ground(material, past), Random(seed), 3.0)
        assert found.tasks[0].ladder is not None
        assert found.tasks[0].ladder.key == str(last)
        assert len({task.ladder.key for task in found.tasks[:3] if task.ladder}) == 3
