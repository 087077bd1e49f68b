"""What is engraved, read back with other eyes: nothing displaced, missing, extra or misspelled.

At full length, over every piece, realization and drill: `python -m tests.faults.engraving`.
"""

from __future__ import annotations

import random
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from tests.engraving.pieces import piece
from tests.engraving.readback import differences, misplaced, read_by_verovio
from trainer.engraving.mei import Middle, to_mei, voices
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.score.patterns import every_key, expand, load_patterns
from trainer.theory.realize.solver import Solver

PIECES = sorted(exercises_folder().glob("*.krn"))


def best(exercise: Exercise) -> Middle:
    solver = Solver(exercise.moments, struck_five_is_diminished=exercise.struck_five_is_diminished)
    return solver.best(1)[0].voicings


def test_a_tenor_that_changes_its_staff_keeps_its_beats() -> None:
    exercise = piece(
        "c5 d5 e5 d5^ c5 b4 c5:2^",
        "c3 b2 c3 g2 a2 g2 c3:2",
        {},
        key="C",
        alto="e4 g4 g4 g4 e4 d4 e4:2",
        tenor="g3 d4 c4 b3 c4 g3 g3:2",
    )
    assert differences(exercise, "suggested") == (28, [])


def test_a_voice_that_rests_within_a_beat_leaves_its_time_free() -> None:
    exercise = piece(
        "c5 d5 e5 c5",
        "c3 b2 c3 c3",
        {},
        key="C",
        alto="e4:1/2 r:1/2 r:1/4 g4:1/4 r:1/4 g4:1/4 r:2/3 g4:1/3 e4",
        tenor="g3 r:1/3 g3:1/3 r:1/3 r:3/5 c4:2/5 g3",
    )
    assert read_by_verovio(exercise, "suggested") == (17, [])
    assert list(misplaced(exercise, "suggested")) == []


def test_a_phrase_keeps_its_tenor_on_one_staff() -> None:
    """Around middle c it does not hop; the next phrase may lie elsewhere."""
    exercise = piece(
        "c5 d5 e5 d5^ g5 f5 g5:2^",
        "c3 b2 c3 g2 e3 d3 c3:2",
        {},
        key="C",
        alto="e4 g4 g4 g4 e5 d5 e5:2",
        tenor="g3 d4 c4 b3 c5 a4 c5:2",
    )
    tenor = next(line for line in voices(exercise, "suggested") if line.voice == "tenor")
    assert tenor.upper == (False,) * 4 + (True,) * 3


def test_where_either_staff_needs_as_many_ledger_lines_the_tenor_stays_where_it_was() -> None:
    def staves(tenor: str) -> tuple[bool, ...]:
        exercise = piece("c5:4^ d5:4^", "c3:4 b2:4", {}, key="C", alto="g4:4 g4:4", tenor=tenor)
        return next(line.upper for line in voices(exercise, "suggested") if line.voice == "tenor")

    assert staves("c4:4 c4:4") == (False, False)
    assert staves("d4:4 c4:4") == (True, True)
    assert staves("b3:4 c4:4") == (False, False)


@pytest.mark.parametrize("path", PIECES, ids=lambda path: path.stem)
def test_every_piece_is_engraved_note_by_note(path: object) -> None:
    exercise = read_exercise(path)  # type: ignore[arg-type]
    compared, told = differences(exercise, best(exercise))
    assert told == []
    assert compared > 20


@pytest.mark.parametrize(
    "path", [p for p in PIECES if read_exercise(p).alto], ids=lambda path: path.stem
)
def test_every_shipped_solution_stands_in_its_columns(path: object) -> None:
    exercise = read_exercise(path)  # type: ignore[arg-type]
    assert differences(exercise, "suggested")[1] == []
    assert list(misplaced(exercise, "suggested")) == []


BEATS = ("1", "1/2 1/2", "3/4 1/4", "1/4 1/2 1/4", "1/3 1/3 1/3", "2/3 1/3", "1/5 2/5 2/5", "2")


@st.composite
def restless(draw: st.DrawFn) -> Exercise:
    """Middle voices without any manners: rests, triplets, wide leaps across both staves."""
    chance = random.Random(draw(st.integers(0, 1 << 30)))

    def voice(low: int, high: int) -> str:
        at, words = Fraction(0), list[str]()
        while at < 8:
            for length in map(Fraction, chance.choice(BEATS[:7] if at % 4 == 3 else BEATS).split()):
                octave, step = divmod(chance.randint(low, high), 7)
                name = "r" if chance.random() < 0.25 else f"{'cdefgab'[step]}{octave}"
                words.append(f"{name}:{length}")
                at += length
        return " ".join(words)

    return piece(
        "c5 d5 e5 d5 c5 d5 e5 c5^",
        "c3 b2 c3 g2 a2 g2 c3 c2",
        {},
        key="C",
        alto=voice(26, 36),
        tenor=voice(20, 32),
    )


@settings(max_examples=40, deadline=None, derandomize=True)
@given(restless())
def test_whatever_the_middle_voices_do_they_keep_time(exercise: Exercise) -> None:
    assert read_by_verovio(exercise, "suggested")[1] == []


@pytest.mark.parametrize("name", ["rule-of-the-octave", "cadence-4-3", "rising-5-6"])
def test_the_top_of_a_drill_is_printed_after_its_first_note(name: str) -> None:
    """Given is one note to begin from; the realization has all four voices to its end."""
    patterns = load_patterns(exercises_folder() / "patterns")
    drill = expand(patterns[name], every_key()[5], "third")
    assert drill.melody[0].pitch is not None and drill.moments[-1].melody is None
    compared, told = differences(drill, best(drill))
    assert told == []
    basses = sum(1 for note in drill.bass if note.pitch is not None and not note.tied)
    tops = 1 + sum(1 for moment in drill.moments if moment.melody is None)
    assert compared == 2 * len(drill.moments) + tops + basses
    assert list(misplaced(drill, best(drill))) == []


def test_a_silent_melody_leaves_the_paper_free() -> None:
    patterns = load_patterns(exercises_folder() / "patterns")
    drill = expand(patterns["cadence-4-3"], every_key()[5], "third")
    assert "<rest" not in to_mei(drill)


@pytest.mark.parametrize("solved", [False, True])
def test_the_last_chord_of_a_drill_has_its_fermata(solved: bool) -> None:
    patterns = load_patterns(exercises_folder() / "patterns")
    drill = expand(patterns["cadence-4-3"], every_key()[5], "third")
    assert drill.bass[-1].fermata
    tree = etree.fromstring(to_mei(drill, middle=best(drill) if solved else None).encode())
    fermatas = [e.get("startid", "") for e in tree.iter("{*}fermata")]
    ids = {f"#{e.get('{http://www.w3.org/XML/1998/namespace}id')}" for e in tree.iter("{*}note")}
    assert len(fermatas) == 1 and set(fermatas) <= ids
