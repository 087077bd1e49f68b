"""What a teacher has set: first on the ladder until it is secure, its day past, or both."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from trainer.practice.assignment import Assigned, is_secure, key_for
from trainer.practice.material import Material, open_material
from trainer.practice.past import past_of
from trainer.practice.plan import Part, next_task
from trainer.practice.planning import todays_plan
from trainer.practice.played import played_of
from trainer.practice.result import PassResult
from trainer.review.assignments import AssignmentError, set_for_player, take_in
from trainer.score.library import Library
from trainer.theory.key import Key

START = datetime(2026, 12, 1, 8, 0, tzinfo=UTC)
UNTIL = date(2026, 12, 6)
TITLE = "For the second week"
DRILL = Assigned(TITLE, UNTIL, "rising-5-6", "g minor", 50.0)


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


@pytest.fixture(scope="module")
def piece(material: Material) -> Assigned:
    """Some piece of the library in a major key, set in F, where it is not written."""
    keys = {id: str(piece.key) for id, piece in material.pieces.items()}
    id = min(id for id, key in keys.items() if key.endswith("major") and key != "F major")
    return Assigned(TITLE, UNTIL, id, "F major", 50.0)


def a_pass(exercise_id: str, key: str, tempo: float, number: int) -> PassResult:
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
        time=1.0,
        movement=1.0,
        judged=14,
        wrong=0,
        gross=0,
    )


def ladder_part(material: Material, played: list[PassResult], *assigned: Assigned) -> Part | None:
    now = START + timedelta(days=1)
    past = past_of(played, material, now)
    plan = todays_plan(now, 30, material, past, assigned=assigned)
    return next((part for part in plan.parts if part.kind == "ladder"), None)


def test_what_is_set_comes_first_on_the_ladder(material: Material, piece: Assigned) -> None:
    part = ladder_part(material, [], piece, DRILL)
    assert part is not None
    assert part.title == TITLE
    assert part.reason == "set for you until Sunday 06 December: 2 not yet secure"
    assert [task.exercise_id for task in part.tasks] == [piece.exercise, "rising-5-6@g"]
    assert part.tasks[0].key == "F major"
    assert [task.ladder.goal for task in part.tasks if task.ladder] == [50, 50]


def test_the_nearest_day_comes_first(material: Material, piece: Assigned) -> None:
    sooner = replace(DRILL, title="Sooner", until=UNTIL - timedelta(days=2))
    part = ladder_part(material, [], piece, sooner)
    assert part is not None
    assert part.title == "Sooner"


def test_what_is_secure_or_past_its_day_is_no_longer_asked(
    material: Material, piece: Assigned
) -> None:
    done = [a_pass(piece.exercise, "F major", 50, n) for n in (0, 1)]
    part = ladder_part(material, done, piece, DRILL)
    assert part is not None
    assert [task.exercise_id for task in part.tasks] == ["rising-5-6@g"]
    over = replace(DRILL, until=START.date())
    part = ladder_part(material, done, piece, over)
    assert part is None or part.title != TITLE


def test_secure_is_two_good_passes_in_its_key_at_its_tempo() -> None:
    first, second = (a_pass("rising-5-6@g:third", "g minor", 52, n) for n in (0, 1))
    assert is_secure(DRILL, played_of((first, second), ()))
    assert not is_secure(DRILL, played_of((first,), ()))
    for flaw in (
        {"key": "a minor"},
        {"tempo": 49.0},
        {"tempo": None, "time": None},
        {"gross": 1},
        {"time": 0.8},
        {"finished": False},
        {"whole": False},
        {"exercise_id": "rising-5-6-and-more@g"},
    ):
        assert not is_secure(DRILL, played_of((first, replace(second, **flaw)), ()))  # type: ignore[arg-type]
    assert is_secure(replace(DRILL, key=""), played_of((first, replace(second, key="a minor")), ()))


def test_a_key_of_another_mode_cannot_be_asked_of_a_piece(
    material: Material, piece: Assigned
) -> None:
    assert key_for(piece, material, Key.parse("C")) == Key.parse("F")
    assert key_for(replace(piece, key="f minor"), material, Key.parse("C")) is None
    assert key_for(replace(piece, key=""), material, Key.parse("C")) == Key.parse("C")
    assert key_for(replace(piece, exercise="none"), material, Key.parse("C")) is None
    part = ladder_part(material, [], replace(piece, key="f minor"))
    assert part is None or part.title != TITLE


def test_a_drill_in_the_plan_can_be_played(material: Material) -> None:
    now = START + timedelta(days=1)
    plan = todays_plan(now, 30, material, past_of((), material, now), assigned=(DRILL,))
    others = [part.kind for part in plan.parts if part.kind != "ladder"]
    following = next_task(plan, (), others)
    assert following is not None
    assert Library().find(following.task.exercise_id).key == Key.parse("g")


def test_what_is_taken_in_is_what_the_plan_is_given(
    material: Material, piece: Assigned, tmp_path: Path
) -> None:
    file = tmp_path / "week.toml"
    text = (
        f'title = "{TITLE}"\nuntil = {UNTIL}\n'
        f'[[piece]]\nexercise = "{piece.exercise}"\nkeys = ["F"]\ntempo = 50\n'
        '[[piece]]\nexercise = "rising-5-6"\nkeys = ["g"]\ntempo = 50\n'
    )
    file.write_text(text)
    take_in(file, material)
    assert set_for_player() == (piece, DRILL)
    for old, new, words in (
        ("rising-5-6", "no-such-drill", "there is no exercise 'no-such-drill'"),
        ('["F"]', '["f"]', "the mode stays"),
    ):
        file.write_text(text.replace(old, new))
        with pytest.raises(AssignmentError, match=words):
            take_in(file, material)
    assert set_for_player() == (piece, DRILL)
