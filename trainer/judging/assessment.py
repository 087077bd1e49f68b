"""A written realization, read from a score file, and marked against its own figures."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice, pairwise
from pathlib import Path

from trainer.errors import ExerciseError, TrainerError
from trainer.files import opened
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.judging.verdict import PassVerdict
from trainer.judging.ways_out import with_ways_out
from trainer.judging.written_voices import WrittenLine, written_soundings
from trainer.score.exercise import Exercise, Note
from trainer.score.interchange.importing import read_parts
from trainer.score.kern import read_exercise
from trainer.theory.figures import Figuring, Way
from trainer.theory.hands import Hands
from trainer.theory.movement import Given
from trainer.theory.pitch import Pitch
from trainer.theory.rules import School
from trainer.theory.voicing import UPPER, Sounding

GIVEN: dict[str, Given] = {
    "bass,melody": frozenset(("bass", "soprano")),
    "bass": frozenset(("bass",)),
    "none": frozenset(),
}
_NATIVE = tuple(("**kern", "**fb", *("**kern",) * voices) for voices in range(4))


@dataclass(frozen=True, slots=True)
class Assessed:
    """`remarks` say what of the file was not taken, in the user's words."""

    exercise: Exercise
    verdict: PassVerdict
    remarks: tuple[str, ...] = ()


def assess(
    path: Path, school: School = "strict", hands: Hands = "2+2", given: str = "bass"
) -> Assessed:
    """Read and mark a realization: a native exercise with its middle voices, or any score that can
    be imported. `given` names the voices that are not the writer's doing.

    Raises ExerciseError or FigureError with the file's name where it cannot be read or marked.
    """
    try:
        exercise, lines, remarks = _native(path) if _is_native(path) else _foreign(path)
        verdict = mark(exercise, lines, school, hands, GIVEN[given])
    except TrainerError as error:
        raise error.at(file=path) from None
    return Assessed(exercise, verdict, remarks)


def mark(
    exercise: Exercise, lines: Sequence[WrittenLine], school: School, hands: Hands, given: Given
) -> PassVerdict:
    """Judge written lines; a fault between `given` voices alone is nobody's. Each graver fault
    comes with what would have been right from there."""
    conditions = Conditions(school=school, hands=hands)
    judge = Judge(exercise, conditions, given)
    soundings = written_soundings(judge, lines)
    passing = tuple(_passing_basses(exercise, soundings))
    if passing:
        figures = sorted((*exercise.figures, *passing), key=lambda figure: figure[0])
        judge = Judge(replace(exercise, figures=tuple(figures)), conditions, given)
    return with_ways_out(judge.exercise, conditions, judge.judge_realization(soundings), given)


def single_notes(voice: Sequence[Note]) -> tuple[WrittenNote, ...]:
    """A native voice as a written line."""
    return tuple(
        WrittenNote(
            note.onset,
            note.end,
            () if note.pitch is None else (note.pitch,),
            () if note.pitch is None else (note.tied,),
        )
        for note in voice
    )


@dataclass(frozen=True, slots=True)
class WrittenNote:
    """A note or rest of a native voice, as one event of a written line."""

    onset: Fraction
    end: Fraction
    pitches: tuple[Pitch, ...]
    tied: tuple[bool, ...]


_Read = tuple[Exercise, Sequence[WrittenLine], tuple[str, ...]]


def _is_native(path: Path) -> bool:
    """Whether a file has the native spines: bass and figures, tenor and alto, melody."""
    try:
        with opened(path) as file:
            for line in islice(io.TextIOWrapper(file, "utf-8", "replace"), 1000):
                if line.startswith("**"):
                    return tuple(line.split()) in _NATIVE
    except OSError as error:
        raise ExerciseError(f"the file cannot be read ({error.strerror})") from None
    return False


def _native(path: Path) -> _Read:
    exercise = read_exercise(path)
    if not exercise.alto or not exercise.tenor:
        raise ExerciseError(
            "there are no middle voices to mark",
            remedy="write tenor and alto between the bass and the melody",
        )
    voices = (exercise.melody, exercise.alto, exercise.tenor, exercise.bass)
    return exercise, [single_notes(voice) for voice in voices], ()


def _foreign(path: Path) -> _Read:
    parts = read_parts(path)
    return parts.exercise, parts.lines, parts.report.left


def _passing_basses(
    exercise: Exercise, soundings: Sequence[Sounding]
) -> Iterator[tuple[Fraction, Figuring]]:
    """Unfigured bass notes off the beat or shorter than one, reached by step, over which no voice
    moves: they carry no chord of their own, as if an extender line stood there."""
    figured = {onset for onset, _ in exercise.figures}
    lengths = {note.onset: note.duration for note in exercise.bass}
    for before, sounding in pairwise(soundings):
        moment = exercise.moments[sounding.moment]
        bass, last = sounding.voicing.bass, before.voicing.bass
        if (
            moment.onset == sounding.onset
            and moment.bass_struck
            and (moment.beat.denominator > 1 or lengths[moment.onset] < moment.metre.beat_length)
            and sounding.onset not in figured
            and not sounding.struck.intersection(UPPER)
            and bass is not None
            and last is not None
            and abs(bass.height - last.height) == 1
        ):
            yield sounding.onset, Figuring((), Way.EXTENDED)
