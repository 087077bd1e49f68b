"""Where a player stands in the course, and what opens the next step."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from trainer.conducting.todays_drill import made_for_sight
from trainer.errors import ExerciseError
from trainer.practice.course import standing
from trainer.practice.item import Item
from trainer.practice.material import Material, open_material
from trainer.practice.past import past_of
from trainer.practice.pieces import playable_key
from trainer.practice.plan import Plan, next_task, shortened, time_spent
from trainer.practice.planning import todays_plan
from trainer.practice.played import Played, played_of
from trainer.practice.result import Answer, PassResult
from trainer.score.library import Library
from trainer.theory.key import Key

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


def a_pass(exercise_id: str, key: str, tempo: float | None, number: int = 0) -> PassResult:
    return PassResult(
        exercise_id=exercise_id,
        key=key,
        hands="1+3",
        tempo=tempo,
        at=START + timedelta(minutes=number),
        seconds=20.0,
        finished=True,
        whole=True,
        harmony=1.0,
        time=None if tempo is None else 1.0,
        movement=1.0,
        judged=4,
        wrong=0,
        gross=0,
    )


def step_one_played(material: Material) -> list[PassResult]:
    """Everything the first step asks for."""
    results = []
    for drill in material.steps[0].drills:
        for key in ("C major", "G major", "F major"):
            for _ in range(2):
                at = f"{drill}@{key[0]}:third"
                results.append(a_pass(at, key, material.patterns[drill].tempo, len(results)))
    item = Item("figuring", "-", "C major", "1", 8)
    for _ in range(12):
        asked = a_pass(f"question@{item}", "C major", None, len(results))
        results.append(replace(asked, answers=(Answer(item, True, 1.2),)))
    return results


def test_the_course_begins_at_its_first_step(material: Material) -> None:
    at = standing(material, Played())
    assert at.step.number == 1
    assert not any(requirement.met for requirement in at.requirements)


def test_the_next_step_opens_when_everything_is_secure(material: Material) -> None:
    results = step_one_played(material)
    assert standing(material, played_of(results, material.steps)).step.number == 2
    for missing in (results[1:], results[:-1], results[:6] + results[7:]):
        assert standing(material, played_of(missing, material.steps)).step.number == 1


@pytest.mark.parametrize(
    "flaw",
    [
        {"tempo": 30.0},
        {"harmony": 0.9},
        {"gross": 1},
        {"finished": False},
        {"whole": False},
        {"key": "C major"},
    ],
)
def test_a_pass_with_a_flaw_does_not_make_a_drill_secure(
    material: Material, flaw: dict[str, object]
) -> None:
    results = step_one_played(material)
    results[2] = replace(results[2], **flaw)  # type: ignore[arg-type]
    assert standing(material, played_of(results, material.steps)).step.number == 1


def test_slow_thinking_keeps_the_step_shut(material: Material) -> None:
    results = [
        replace(r, answers=tuple(replace(a, think_s=2.5) for a in r.answers))
        for r in step_one_played(material)
    ]
    at = standing(material, played_of(results, material.steps))
    assert at.step.number == 1
    assert [one.figurings for one in at.requirements if not one.met] == [True]


def test_what_is_once_open_stays_open(material: Material) -> None:
    results = step_one_played(material)
    item = Item("figuring", "-", "C major", "1", 8)
    bad = replace(
        a_pass(f"question@{item}", "C major", None, 500), answers=(Answer(item, False, 9.0),) * 30
    )
    assert standing(material, played_of([*results, bad], material.steps)).step.number == 2


def test_somebody_who_begins_later_is_not_sent_back(material: Material) -> None:
    assert standing(material, Played(), begin_at=14).step.number == 14
    last = standing(material, Played(), begin_at=24)
    assert last.step.number == 24
    assert not last.finished


def test_keys_and_figurings_keep_to_what_has_been_met(material: Material) -> None:
    for step in material.steps:
        for pattern in material.drills(step):
            for key in material.keys(pattern, step.number):
                assert abs(key.signature) <= step.max_accidentals


# ── plans ────────────────────────────────────────────────────────────────────────────────────


def plan_at(material: Material, minutes: float, begin_at: int = 12) -> Plan:
    past = past_of((), material, START, begin_at)
    return todays_plan(START, minutes, material, past, player="a")


@pytest.mark.parametrize("minutes", [1, 2, 5, 8, 15, 20, 40, 90])
def test_the_parts_of_a_plan_fill_its_minutes(material: Material, minutes: float) -> None:
    plan = plan_at(material, minutes)
    assert plan.parts
    assert sum(part.minutes for part in plan.parts) == pytest.approx(minutes)
    assert all(part.minutes > 0 for part in plan.parts)


def test_a_full_plan_has_every_part_in_order(material: Material) -> None:
    kinds = [part.kind for part in plan_at(material, 20).parts]
    assert kinds == ["warm-up", "due", "weak", "step", "ladder", "sight"]


def test_two_players_have_plans_of_their_own(material: Material) -> None:
    past = past_of((), material, START, 12)
    ours = todays_plan(START, 20, material, past, player="a")
    theirs = todays_plan(START, 20, material, past, player="b")
    assert ours != theirs


def test_the_piece_at_sight_has_never_been_played(material: Material) -> None:
    at_sight = plan_at(material, 20).parts[-1].tasks[0].exercise_id
    played = [a_pass(at_sight, "C major", 60.0)]
    past = past_of(played, material, START + timedelta(days=1), 12)
    again = todays_plan(START, 20, material, past, player="a").parts[-1]
    assert again.tasks[0].exercise_id != at_sight


def test_a_part_passed_over_is_not_played(material: Material) -> None:
    plan = plan_at(material, 20)
    first = next_task(plan, ())
    assert first is not None
    assert first.part.kind == "warm-up"
    second = next_task(plan, (), ("warm-up",))
    assert second is not None
    assert second.part.kind == "due"
    assert next_task(plan, (), [part.kind for part in plan.parts]) is None


def test_a_question_answered_wrongly_is_asked_once_more_after_the_others(
    material: Material,
) -> None:
    plan = plan_at(material, 20)
    due = next(part for part in plan.parts if part.kind == "due")
    played: list[PassResult] = []
    order = []
    while (following := next_task(plan, played, ("warm-up",))) and following.part.kind == "due":
        item = following.task.item
        assert item is not None
        order.append(item)
        right = len(order) != 1
        asked = a_pass(following.task.exercise_id, item.key, None)
        at = START + timedelta(seconds=6 * len(order))
        answers = (Answer(item, right, 1.0),)
        played.append(replace(asked, at=at, seconds=3.0, answers=answers))
    items = [task.item for task in due.tasks]
    assert order == [*items, items[0]]


def test_a_shortened_plan_has_less_of_everything(material: Material) -> None:
    plan = plan_at(material, 20)
    short = shortened(plan, 5)
    assert short.minutes == 5
    assert sum(part.minutes for part in short.parts) == pytest.approx(5)
    assert [part.tasks for part in short.parts] == [part.tasks for part in plan.parts]
    assert shortened(plan, 60) == plan


def test_time_between_passes_counts_up_to_a_minute() -> None:
    first = a_pass("a", "C major", 60.0)
    near = replace(first, at=first.at + timedelta(seconds=50))
    far = replace(first, at=first.at + timedelta(minutes=30))
    assert time_spent([first, near]) == 70
    assert time_spent([first, far]) == 40
    assert time_spent([far, first]) == 40  # a clock set back takes nothing away


def test_a_piece_with_too_many_accidentals_moves_to_the_nearest_key(material: Material) -> None:
    piece = replace(next(iter(material.pieces.values())), key=Key.parse("E"))
    assert str(playable_key(piece, 4)) == "E major"
    assert str(playable_key(piece, 1)) == "F major"
    assert str(playable_key(replace(piece, key=Key.parse("f# minor")), 1)) == "e minor"
    dorian = replace(piece, key=Key.parse("f# dorian"))
    assert playable_key(dorian, 0) == dorian.key


def test_once_the_library_is_read_a_piece_is_made_for_the_day(material: Material) -> None:
    played = [
        a_pass(piece.id, str(piece.key), 60.0, number)
        for number, piece in enumerate(material.pieces.values())
    ]
    now = START + timedelta(days=1)
    plan = todays_plan(now, 20, material, past_of(played, material, now, 12), player="a")
    (task,) = plan.parts[-1].tasks
    assert plan.parts[-1].kind == "sight"
    made = made_for_sight(task.exercise_id)
    assert made.id == task.exercise_id
    assert made.level == 12
    assert made == made_for_sight(task.exercise_id)
    later = now + timedelta(days=1)
    other = todays_plan(later, 20, material, past_of(played, material, later, 12), player="a")
    assert other.parts[-1].tasks != plan.parts[-1].tasks


@pytest.mark.parametrize("text", ["at-sight@", "at-sight@12", "at-sight@12:x", "at-sight@2:7"])
def test_an_id_that_names_no_made_piece_says_so(text: str) -> None:
    with pytest.raises(ExerciseError):
        made_for_sight(text)


def test_a_reading_at_sight_begins_no_ladder(material: Material) -> None:
    pieces = [piece for piece in material.pieces.values() if 0 < piece.level <= 12]
    climbing, read = pieces[0], pieces[1]
    climbed = [a_pass(climbing.id, str(climbing.key), 40.0, number) for number in (0, 1, 2)]
    now = START + timedelta(days=1)
    played = [*climbed, a_pass(read.id, str(read.key), 40.0, 9)]
    plan = todays_plan(now, 20, material, past_of(played, material, now, 12))
    part = next(part for part in plan.parts if part.kind == "ladder")
    assert part.tasks[0].exercise_id == climbing.id
