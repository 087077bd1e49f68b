"""Whatever the library holds can be played, and the judge at the keyboard agrees."""

from __future__ import annotations

import random

import pytest

from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.score.exercise import Exercise
from trainer.score.library import Library
from trainer.theory.realize import Solver

KEYS = [*"CGDAEBFaebdgcf", "F#", "Gb", "Db", "Ab", "Eb", "Bb", "f#", "c#", "g#", "d#", "bb", "eb"]


@pytest.fixture(scope="module")
def exercises() -> list[Exercise]:
    """Every piece, and every drill in three keys drawn for it."""
    library, chance = Library(), random.Random(11)
    names: list[str] = []
    for entry in library.entries():
        drawn = chance.sample(KEYS, 3)
        names += [f"{entry.id}@{key}" for key in drawn] if entry.key == "any" else [entry.id]
    return [library.find(name) for name in names]


@pytest.mark.parametrize("hands", ["1+3", "2+2"])
def test_the_best_realization_of_everything_is_complete_and_without_gross_fault(
    hands: str, exercises: list[Exercise]
) -> None:
    assert len(exercises) > 100
    for exercise in exercises:
        solver = Solver(
            exercise.moments,
            hands=hands,
            struck_five_is_diminished=exercise.struck_five_is_diminished,
        )
        chords = {
            index: [pitch.midi for pitch in voicing if pitch is not None]
            for index, voicing in enumerate(solver.best()[0].voicings)
        }
        verdict = Judge(exercise, Conditions(hands=hands)).judge_chords(chords)
        assert not [fault.text for fault in verdict.faults if fault.weight == "gross"], exercise.id
        assert {moment.outcome for moment in verdict.moments} == {"complete"}, exercise.id
