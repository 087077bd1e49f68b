"""Counts of realizations against music21's own, with music21's rules.

Source: music21.figuredBass.realizer, rules and examples (BSD). The numbers in the first tests are
the ones its documentation prints; the others are counted by music21 as the test runs.
"""

from __future__ import annotations

import pytest
from music21 import key, note
from music21.figuredBass import examples, realizer, rules

from tests.reference.music21_rules import Music21Rules, count_as_music21, places_of
from trainer.theory.key import Key

BY_STEP = ((1, 2), (2, 12), (3, 12))
EXAMPLES = {"A": "C", "B": "d", "C": "f#", "D": "b"}


def example(name: str) -> realizer.FiguredBassLine:
    return getattr(examples, f"example{name}")()


def counted(name: str, **settings) -> int:
    return count_as_music21(
        places_of(example(name), Key.parse(EXAMPLES[name])), Music21Rules(**settings)
    )


def test_c_d_with_4_3_and_c_have_thirty_realizations() -> None:
    line = realizer.FiguredBassLine(key.Key("C"))
    for bass, figures in (("C3", None), ("D3", "4,3"), ("C3", None)):
        line.addElement(note.Note(bass), figures)
    assert count_as_music21(places_of(line, Key.parse("C")), Music21Rules()) == 30


def test_example_a_has_360_with_the_soprano_by_step() -> None:
    assert counted("A", part_movement=BY_STEP) == 360


def test_example_a_has_3564440_with_the_upper_parts_as_wide_as_they_like() -> None:
    assert counted("A", part_movement=BY_STEP, upper_parts_within=None) == 3_564_440


def test_example_b_has_422_and_159373_with_incomplete_chords() -> None:
    assert counted("B") == 422
    assert counted("B", complete=False) == 159_373


def test_example_c_has_833_and_2427_with_parallel_fifths() -> None:
    assert counted("C") == 833
    assert counted("C", parallel_fifths=True) == 2_427


def test_example_d_has_1560_by_step_and_109006_with_overlap() -> None:
    assert counted("D", part_movement=BY_STEP) == 1_560
    assert counted("D", part_movement=BY_STEP, overlap=True) == 109_006


def test_example_d_has_27445876_with_the_upper_parts_as_wide_as_they_like() -> None:
    assert counted("D", part_movement=BY_STEP, upper_parts_within=None) == 27_445_876


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("movement", [(), BY_STEP])
def test_every_example_counts_as_music21_counts_it(name: str, movement: tuple) -> None:
    theirs = rules.Rules()
    theirs.partMovementLimits = list(movement)
    assert counted(name, part_movement=movement) == example(name).realize(theirs).getNumSolutions()
