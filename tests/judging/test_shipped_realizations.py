"""Whatever the library holds can be played, and the judge at the keyboard agrees."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence

import pytest

from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.score.exercise import Exercise
from trainer.score.library import Library
from trainer.theory.figures import Way
from trainer.theory.pitch import SEMITONES
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
        assert list(_written_and_silent(exercise, chords)) == [], exercise.id


def _written_and_silent(
    exercise: Exercise, chords: Mapping[int, Sequence[int]]
) -> Iterator[tuple[int, str]]:
    """Figures that nobody plays, but for a plain 5, which may stand there to cancel."""
    for moment in exercise.moments:
        if not moment.chord or moment.bass is None or moment.figuring.way is not Way.FIGURES:
            continue
        sounding = {key % 12 for key in chords[moment.index]}
        for figure in moment.figuring.figures:
            step = (moment.bass.step + figure.letters) % 7
            plain = moment.key.alter(step)
            sign = figure.sign
            alter = plain if sign is None else plain + 1 if sign.raises else sign.alter
            if figure.letters == 0 or (figure.letters == 4 and alter == plain):
                continue
            governed = moment.melody is not None and moment.melody.step == step and sign is None
            if not governed and alter is not None and _key(step, alter) not in sounding:
                yield moment.index, f"{figure} of {moment.figuring} over {moment.bass}"


def _key(step: int, alter: int) -> int:
    return (SEMITONES[step] + alter) % 12
