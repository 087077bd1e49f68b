"""Questions: one figuring at a time, cut from the drills of the course."""

from __future__ import annotations

import pytest

from trainer.errors import ExerciseError
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.practice.item import Item, figuring_item
from trainer.practice.material import Material, open_material
from trainer.practice.question import askable, asked_item, items_of, question, question_id
from trainer.score.exercise import Exercise
from trainer.score.kern import parse_exercise, write_exercise
from trainer.score.library import Library
from trainer.theory.realize import Solver


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


def some_items(material: Material) -> list[Item]:
    """Every figuring of every drill, each in one key of its own: all keys are among them."""
    found: dict[tuple[str, str], Item] = {}
    for number, step in enumerate(material.steps):
        for place, pattern in enumerate(material.drills(step)):
            keys = material.keys(pattern, step.number)
            key = keys[(7 * number + 3 * place) % len(keys)]
            for item in items_of(pattern, key):
                found.setdefault((item.name, item.degree + key.mode + str(item.position)), item)
    return list(found.values())


def bass_and_figures(exercise: Exercise) -> list[str]:
    return [f"{m.bass} {m.figuring}".strip() for m in exercise.moments]


def test_a_plain_triad_is_asked_alone(material: Material) -> None:
    asked = question(Item("figuring", "-", "G major", "1", 3), material)
    assert len(asked.moments) == 1
    assert str(asked.moments[0].melody) == "b4"


def test_a_suspension_is_asked_with_its_preparation_and_its_resolution(
    material: Material,
) -> None:
    asked = question(Item("figuring", "4", "G major", "5", 4), material)
    names = [figure.split(" ", 1)[-1] for figure in bass_and_figures(asked)]
    assert names[-2:] == ["4", "3"]
    assert len(names) >= 3
    assert str(next(m.melody for m in asked.moments if m.melody)) == "g4"


def test_every_figuring_of_the_course_can_be_asked_and_written_down(material: Material) -> None:
    items = some_items(material)
    assert len(items) > 300
    can_ask = askable(material)
    for item in items:
        asked = question(item, material)
        assert can_ask(item)
        assert item in [figuring_item(moment, None) for moment in asked.moments]
        assert parse_exercise(write_exercise(asked)) == asked
        assert asked_item(asked.id) == asked_item(question_id(item)) == item


def test_every_question_has_an_answer_without_a_gross_fault(material: Material) -> None:
    for item in some_items(material)[::6]:
        asked = question(item, material)
        best = Solver(asked.moments).best(1)[0].voicings
        judge = Judge(asked, Conditions(tempo=None))
        for index, voicing in enumerate(best):
            keys = [pitch.midi for pitch in voicing if pitch is not None]
            assert judge.harmony(index, keys).outcome == "complete", (item, index, voicing)


def test_what_no_drill_contains_cannot_be_asked(material: Material) -> None:
    for item in (
        Item("figuring", "13 12 11", "G major", "1", 3),
        Item("figuring", "6", "d dorian", "3", 8),
        Item("figuring", "-", "G major", "#4", 8),
    ):
        assert not askable(material)(item)
        with pytest.raises(ExerciseError, match="no drill of the course"):
            question(item, material)
    assert not askable(material)(Item("figuring", "6", "G major", "3", 5))
    with pytest.raises(ExerciseError, match="does not belong"):
        question(Item("figuring", "6", "G major", "3", 5), material)


def test_an_id_that_is_no_question_says_so() -> None:
    for text in ("old-tune", "question", "question@nothing", "rising-5-6@G"):
        with pytest.raises(ExerciseError, match="not a question"):
            asked_item(text)
