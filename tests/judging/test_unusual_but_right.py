"""What a demanding teacher lets pass: right realizations that are not the first in the book.

Common practice, no source. Each is judged from keys alone, as a keyboard gives them.
"""

from __future__ import annotations

import pytest

from tests.judging.lessons import lesson
from trainer.judging.judge import judge_chords
from trainer.judging.take import Conditions
from trainer.theory.pitch import Pitch

RIGHT = {
    "two voices on one key double the third of a 6": (
        "C", ",6", ("c3 e4 g4 c5", "e3 c4 g4")),
    "a seventh without its fifth": (
        "C", "7,", ("g2 g3 b3 f4", "c3 g3 c4 e4")),
    "a dominant complete, its inner leading tone falling to the fifth of the final chord": (
        "C", "7,", ("g2 f3 b3 d4", "c3 e3 g3 c4")),
    "sevenths in falling fifths, complete and without fifth by turns": (
        "C", ",7,7,", ("a3 c4 e4 a4", "d3 c4 f4 a4", "g2 b3 f4 g4", "c3 c4 e4 g4")),
    "a 7 6 with its third doubled": (
        "C", ",7,6", ("c3 e4 g4 c5", "b2 d4 a4 d5", "b2 d4 g4 d5")),
    "a raised sixth with the fourth on the second degree": (
        "G", ",n6 4,6", ("d3 a3 d4 f#4", "a2 a3 d4 f4", "b2 g3 d4 g4")),
    "a Phrygian cadence": (
        "a", "6,7,6,#", ("g3 b3 e4", "f3 a3 c4 e4", "f3 a3 d4", "e3 g#3 b3 e4")),
    "a 9 8 prepared by the third": (
        "C", ",9,8", ("f3 c4 f4 a4", "g2 b3 d4 a4", "g2 b3 d4 g4")),
    "a 4 3 with the fifth": (
        "C", ",5 4,3", ("c3 e4 g4 c5", "g2 d4 g4 c5", "g2 d4 g4 b4")),
    "a 6 5 on the leading tone": (
        "C", ",6 5,", ("c3 e4 g4 c5", "b2 d4 f4 g4", "c3 c4 e4 g4")),
    "a 4 2 with the second doubled": (
        "C", ",4 2,6", ("c3 e4 g4 c5", "f3 d4 g4 b4", "e3 c4 g4 c5")),
    "a bass tied under 5 2": (
        "C", ",5 2,6", ("c3 e4 g4 c5", "c3 d4 g4 d5", "b2 d4 g4 d5")),
    "a 7 4 2 over the held final": (
        "C", ",7 4 2,8 5 3", ("c3 e4 g4 c5", "c3 d4 f4 b4", "c3 e4 c5")),
    "all in octaves": (
        "C", "unis.,unis.", ("c3 c4 c5", "d3 d4 d5")),
    "a bass played alone": (
        "C", ",t.s.,t.s.", ("c3 e4 g4 c5", "d3", "e3")),
    "a chord held under an extender line": (
        "C", ",_,_", ("c3 e4 g4 c5", "d3 e4 g4 c5", "e3 e4 g4 c5")),
    "a double sharp in G sharp minor": (
        "g#", "6,##,", ("b2 d#4 g#4 d#5", "d#3 f##4 a#4 d#5", "g#2 g#4 b4 d#5")),
}  # fmt: skip


@pytest.mark.parametrize("name", RIGHT)
def test_it_is_complete_and_breaks_no_rule(name: str) -> None:
    key, figures, chords = RIGHT[name]
    exercise = lesson(key, " ".join(chord.split()[0] for chord in chords), figures)
    keys = {i: [Pitch.parse(w).midi for w in chord.split()] for i, chord in enumerate(chords)}
    verdict = judge_chords(exercise, Conditions(), keys)
    assert [m.outcome for m in verdict.moments] == ["complete"] * len(chords)
    assert not [fault.text for fault in verdict.faults if fault.weight != "remark"]


def test_a_suspension_in_the_given_melody_stands_for_the_note_it_leans_on() -> None:
    exercise = lesson("C", "c3 g2", "", "c5 c5")
    verdict = judge_chords(exercise, Conditions(), {0: [48, 64, 67, 72], 1: [43, 62, 67, 72]})
    assert [m.outcome for m in verdict.moments] == ["complete", "complete"]
    assert not verdict.faults


@pytest.mark.parametrize(
    ("supplied", "chords"),
    [(("melody",), ("c3 e4 g4", "b2 d4 g4")), (("melody", "bass"), ("e4 g4", "d4 g4"))],
)
def test_what_the_program_plays_need_not_be_played(
    supplied: tuple[str, ...], chords: tuple[str, ...]
) -> None:
    exercise = lesson("C", "c3 b2", ",6", "c5 d5")
    keys = {i: [Pitch.parse(w).midi for w in chord.split()] for i, chord in enumerate(chords)}
    verdict = judge_chords(exercise, Conditions(supply=frozenset(supplied)), keys)  # type: ignore[arg-type]
    assert [m.outcome for m in verdict.moments] == ["complete", "complete"]
    assert not verdict.faults
