"""What a teacher sets a class: read strictly, put into the plan, compared with what was played."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from trainer.drill import take_on, taken_on
from trainer.errors import InputError
from trainer.practice.assignment import Assigned, Assignment, parse_assignment, reached
from trainer.practice.material import Material, open_material
from trainer.practice.plan import next_task
from trainer.practice.result import PassResult
from trainer.practice.today import past_of, todays_plan
from trainer.score.library import Library

START = datetime(2026, 12, 1, 8, 0, tzinfo=UTC)
WEEK = """# for the evening class
title = "For the second week"
until = 2026-12-06

[[piece]]
exercise = "PIECE"
key = "F"
tempo = 50

[[piece]]
exercise = "rising-5-6"
key = "g"
hands = "2+2"
"""


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


@pytest.fixture(scope="module")
def piece(material: Material) -> str:
    """Some piece of the library in a major key, and not in F."""
    keys = {id: str(piece.key) for id, piece in material.pieces.items()}
    return min(id for id, key in keys.items() if key.endswith("major") and key != "F major")


@pytest.fixture(scope="module")
def text(piece: str) -> str:
    return WEEK.replace("PIECE", piece)


def a_pass(exercise_id: str, key: str, tempo: float, number: int, **but: object) -> PassResult:
    result = PassResult(
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
    return replace(result, **but)  # type: ignore[arg-type]


def test_an_assignment_is_read_as_it_is_written(material: Material, piece: str, text: str) -> None:
    week = parse_assignment(text, material, "week.toml")
    assert week.title == "For the second week"
    assert week.until == date(2026, 12, 6)
    assert week.pieces[0] == Assigned(piece, "F major", 50.0)
    own = material.patterns["rising-5-6"].tempo
    assert week.pieces[1] == Assigned("rising-5-6", "g minor", own, "2+2")


@pytest.mark.parametrize(
    ("old", "new", "place", "words"),
    [
        (
            'exercise = "PIECE"',
            'exercise = "no-such-piece"',
            "week.toml:5:",
            "there is no exercise",
        ),
        ('key = "F"', 'key = "H"', "week.toml:5:", "not a key"),
        ("tempo = 50", "tempo = 5000", "week.toml:5:", "beats a minute"),
        ("tempo = 50", 'tempo = "fast"', "week.toml:5:", "not a tempo"),
        ('hands = "2+2"', 'hands = "3+1"', "week.toml:10:", "1+3 or 2+2"),
        ('key = "g"', "", "week.toml:10:", "needs a key"),
        ("exercise =", "exercize =", "week.toml:5:", "no part of a piece"),
        ("until = 2026-12-06", "until = 'soon'", "week.toml:3:", "until when"),
        ("title =", "titel =", "week.toml:2:", "no part of an assignment"),
        ("[[piece]]", "[piece]", "week.toml", ""),
        ("until = 2026-12-06", "until = ", "week.toml", "TOML"),
    ],
)
def test_a_mistake_in_an_assignment_is_named_with_its_place(
    material: Material, piece: str, old: str, new: str, place: str, words: str
) -> None:
    with pytest.raises(InputError) as error:
        parse_assignment(WEEK.replace(old, new).replace("PIECE", piece), material, "week.toml")
    assert str(error.value).startswith(place)
    assert words in str(error.value)


def test_what_is_set_comes_first_on_the_ladder_until_it_is_reached(
    material: Material, piece: str, text: str
) -> None:
    week = parse_assignment(text, material, "week.toml")
    past = past_of((), material, START)
    plan = todays_plan(START, 30, material, past, assignments=(week,))
    part = next(part for part in plan.parts if part.kind == "ladder")
    assert part.title == "For the second week"
    assert [task.exercise_id for task in part.tasks] == [piece, "rising-5-6@g"]
    assert part.tasks[0].key == "F major"
    assert part.tasks[0].ladder is not None
    assert part.tasks[0].ladder.goal == 50
    following = next_task(plan, (), ("warm-up", "due", "weak", "step"))
    assert following is not None
    assert following.task == part.tasks[0]

    done = [
        a_pass(piece, "F major", 50, 0),
        a_pass(piece, "F major", 50, 1),
        a_pass("rising-5-6@g:third", "g minor", 60, 2, hands="2+2"),
        a_pass("rising-5-6@g:third", "g minor", 60, 3, hands="2+2"),
    ]
    tomorrow = START + timedelta(days=1)
    later = todays_plan(
        tomorrow, 30, material, past_of(done, material, tomorrow), assignments=(week,)
    )
    assert all(part.title != "For the second week" for part in later.parts)


def test_what_is_reached_counts_its_key_its_tempo_and_its_hands(
    material: Material, piece: str, text: str
) -> None:
    week = parse_assignment(text, material, "week.toml")
    nothing = reached(week, ())
    assert [(one.highest, one.done, one.last) for one in nothing] == [(None, False, None)] * 2
    played = [
        a_pass(piece, "G major", 50, 0),  # another key
        a_pass(piece, "G major", 50, 1),
        a_pass("rising-5-6@g", "g minor", 60, 2),  # other hands
        a_pass("rising-5-6@g", "g minor", 60, 3),
        a_pass(piece, "F major", 40, 4),  # too slow yet
        a_pass(piece, "F major", 40, 5),
    ]
    bells, rising = reached(week, played)
    assert (bells.highest, bells.done, bells.last) == (40, False, START.date())
    assert (rising.highest, rising.done) == (None, False)
    both = [a_pass(piece, "F major", 50, n) for n in (6, 7)]
    assert reached(week, [*played, *both])[0].done


def test_an_assignment_taken_on_is_kept_until_its_day(
    material: Material, text: str, tmp_path: Path
) -> None:
    path = tmp_path / "week.toml"
    path.write_text(text)
    week = take_on(path, material)
    path.unlink()
    assert isinstance(week, Assignment)
    assert taken_on(material, date(2026, 12, 6)) == (week,)
    assert taken_on(material, date(2026, 12, 7)) == ()
