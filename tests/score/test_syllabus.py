"""The course: 24 steps that agree with the rules, the drills and the pieces they name."""

from __future__ import annotations

from pathlib import Path

import pytest

from trainer.errors import ExerciseError
from trainer.resources import exercises_folder
from trainer.score.kern import read_exercise
from trainer.score.patterns import load_patterns
from trainer.score.syllabus import (
    absolute,
    bare,
    load_steps,
    relative,
    successions,
    vocabulary,
)
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch
from trainer.theory.rules import RULES

STEPS = load_steps()
PIECES = {path.stem: read_exercise(path) for path in sorted(exercises_folder().glob("*.krn"))}


def test_there_are_twenty_four_steps() -> None:
    assert [step.number for step in STEPS] == list(range(1, 25))


def test_keys_widen_and_never_narrow() -> None:
    widest = [step.max_accidentals for step in STEPS]
    assert widest == sorted(widest)
    assert (widest[5], widest[11], widest[17], widest[23]) == (1, 2, 4, 7)


def test_every_rule_of_the_course_is_a_rule_of_the_program() -> None:
    known = {rule.id for rule in RULES}
    for step in STEPS:
        assert set(step.rules) <= known, f"step {step.number}: {set(step.rules) - known}"
        assert step.rules, f"step {step.number} brings no rule"


def test_every_drill_of_the_course_is_a_pattern_already_due() -> None:
    patterns = load_patterns(exercises_folder() / "patterns")
    for step in STEPS:
        assert step.drills
        for drill in step.drills:
            assert patterns[drill].step <= step.number, f"{drill} at step {step.number}"


def test_every_pattern_is_drilled_somewhere() -> None:
    drilled = {drill for step in STEPS for drill in step.drills}
    assert drilled == set(load_patterns(exercises_folder() / "patterns"))


def test_every_piece_lies_on_one_step_and_that_step_is_its_level() -> None:
    placed = [piece for step in STEPS for piece in step.pieces]
    assert sorted(placed) == sorted(set(placed)) == sorted(PIECES)
    for step in STEPS:
        for piece in step.pieces:
            assert PIECES[piece].level == step.number, piece


def test_from_the_first_phrases_on_every_step_has_pieces() -> None:
    assert all(step.pieces for step in STEPS[3:])


@pytest.mark.parametrize("piece", PIECES.values(), ids=list(PIECES))
def test_a_piece_uses_only_what_its_step_has_taught(piece) -> None:  # type: ignore[no-untyped-def]
    taught = vocabulary(piece.level)
    assert abs(piece.key.signature) <= taught.max_accidentals
    for moment in piece.moments:
        if moment.figured and moment.bass is not None:
            figuring = relative(moment.figuring, moment.bass, moment.key)
            assert taught.knows(figuring, moment.key), f"{figuring} in bar {moment.bar}"
    untaught = set(successions(piece)) - taught.successions
    assert not untaught


@pytest.mark.parametrize(
    ("figuring", "bass", "key", "reads"),
    [
        ("#", "d3", "g", "#"),
        ("n", "c3", "f", "#"),
        ("##6 4 3", "b#2", "a#", "#6 4 3"),
        ("b6", "c3", "c", "6"),
        ("bb6", "db3", "ab", "b6"),
        ("4+ 2", "c3", "g", "4+ 2"),
        ("", "c3", "C", "-"),
    ],
)
def test_figures_are_read_relative_to_the_signature(
    figuring: str, bass: str, key: str, reads: str
) -> None:
    assert relative(Figuring.parse(figuring), Pitch.parse(bass), Key.parse(key)) == reads


@pytest.mark.parametrize("key", ["C", "g", "ab", "a#", "Cb", "f#"])
@pytest.mark.parametrize("text", ["6", "#6 4 3", "#", "7 #", "b6", "4+ 2", "-"])
def test_writing_a_figuring_in_a_key_and_reading_it_back_changes_nothing(
    key: str, text: str
) -> None:
    where = Key.parse(key)
    name = where.note(2)
    bass = Pitch(name.step, name.alter, 3)
    assert relative(absolute(text, bass, where), bass, where) == text


@pytest.mark.parametrize(
    ("figuring", "says"),
    [
        ("8 5 #", "-"),
        ("7 #", "7"),
        ("#6 4 3", "6 4 3"),
        ("6 4+ 2", "6 4 2"),
        ("3", "-"),
        ("-", "-"),
    ],
)
def test_bare_figures_have_no_signs(figuring: str, says: str) -> None:
    assert bare(figuring) == says


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("number = 2", "number = 3"), "step 3 stands where step 2 is due"),
        (("tempo = 50", 'tempo = "slow"'), "tempo must be a number"),
        (("aim = ", "goal = "), "has no aim"),
        (("[[step]]", "[step]]"), "no TOML"),
        (('rules = ["missing-third"', "rules = [1"), "rules must be a list of texts"),
    ],
)
def test_a_damaged_course_is_named_with_its_file(
    tmp_path: Path, change: tuple[str, str], says: str
) -> None:
    text = (exercises_folder() / "course.toml").read_text(encoding="utf-8")
    path = tmp_path / "course.toml"
    path.write_text(text.replace(*change, 1), encoding="utf-8")
    with pytest.raises(ExerciseError, match=says) as error:
        load_steps(path)
    assert "course.toml" in str(error.value)
