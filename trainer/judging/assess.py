"""A written realization, read from a score file, and marked against its own figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from trainer.errors import ExerciseError
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions, Hands, School
from trainer.judging.verdict import PassVerdict
from trainer.judging.written import WrittenLine, written_soundings
from trainer.score.exercise import Exercise, Note
from trainer.score.kern import read_exercise
from trainer.theory.movement import Given
from trainer.theory.pitch import Pitch

_GIVEN: dict[str, Given] = {
    "bass,melody": frozenset(("bass", "soprano")),
    "bass": frozenset(("bass",)),
    "none": frozenset(),
}


@dataclass(frozen=True, slots=True)
class _Single:
    """A note or rest of a native voice, as one event of a written line."""

    onset: Fraction
    end: Fraction
    pitches: tuple[Pitch, ...]
    tied: tuple[bool, ...]


def assess(
    path: Path, school: School = "strict", hands: Hands = "2+2", given: str | None = None
) -> tuple[Exercise, PassVerdict]:
    """Read and mark a realization. `given` names the voices that are not the writer's doing:
    `bass,melody`, `bass` or `none`; by default the bass, and the melody of a native exercise.

    Raises ExerciseError or FigureError with the file's name where it cannot be read or marked.
    """
    exercise = read_exercise(path)
    if not exercise.alto or not exercise.tenor:
        raise ExerciseError(
            "there are no middle voices to mark",
            file=path,
            remedy="write tenor and alto between the bass and the melody",
        )
    lines = [
        single_notes(v) for v in (exercise.melody, exercise.alto, exercise.tenor, exercise.bass)
    ]
    usual = "bass,melody" if exercise.melody else "bass"
    return exercise, mark(exercise, lines, school, hands, _GIVEN[given or usual])


def mark(
    exercise: Exercise, lines: Sequence[WrittenLine], school: School, hands: Hands, given: Given
) -> PassVerdict:
    """Judge written lines; a fault between `given` voices alone is nobody's."""
    judge = Judge(exercise, Conditions(school=school, hands=hands), given)
    return judge.judge_realization(written_soundings(judge, lines))


def single_notes(voice: Sequence[Note]) -> tuple[_Single, ...]:
    """A native voice as a written line."""
    return tuple(
        _Single(
            note.onset,
            note.end,
            () if note.pitch is None else (note.pitch,),
            () if note.pitch is None else (note.tied,),
        )
        for note in voice
    )
