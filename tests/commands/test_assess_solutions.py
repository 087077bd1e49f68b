"""What the solver writes out, read back from every format, is marked without a gross fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from trainer.judging.assessment import assess
from trainer.resources import exercises_folder
from trainer.score.exercise import Realization
from trainer.score.interchange import export, with_realization
from trainer.score.kern import read_exercise
from trainer.theory.realize import Solver

PIECES = ("evening-bells", "evening-frost", "evening-hill", "evening-river")


@pytest.mark.parametrize("suffix", [".krn", ".musicxml", ".mei"])
@pytest.mark.parametrize("name", PIECES)
def test_a_solution_is_marked_without_a_gross_fault(name: str, suffix: str, tmp_path: Path) -> None:
    exercise = read_exercise(exercises_folder() / f"{name}.krn")
    (solution,) = Solver(exercise.moments, hands="2+2").best(1)
    path = tmp_path / f"{name}{suffix}"
    export(with_realization(exercise, Realization(tuple(solution.voicings))), path, solution=True)
    verdict = assess(path, given="bass,melody").verdict
    assert verdict.moments
    assert all(moment.outcome == "complete" for moment in verdict.moments)
    assert not [fault.text for fault in verdict.faults if fault.weight == "gross"]
