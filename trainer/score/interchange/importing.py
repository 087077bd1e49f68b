"""Files of other programs, one or a folder full, as exercises, and as written parts to mark."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from trainer.errors import ExerciseError
from trainer.files import opened
from trainer.score.exercise import Exercise
from trainer.score.interchange.choosing import Imported, Report, chosen, doubles, imported, mean
from trainer.score.interchange.foreign import Event
from trainer.score.interchange.reading import Reader
from trainer.score.kern import LARGEST, read_exercise

SUFFIXES = (".musicxml", ".xml", ".mxl", ".mei", ".krn", ".hum")


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the user asks of an import; lines are named by label, staff (`2`) or layer (`2.1`)."""

    bass: str | None = None
    melody: str | None = None
    repeats: bool = True  # written out, else each passage once
    strip_passing: bool = False


@dataclass(frozen=True, slots=True)
class WrittenParts:
    """A score with all its voices, to be marked.

    `exercise` has bass, figures and melody; `lines` are the voices, chords and all, from the top
    down, the bass last, a line that doubles the bass left out.
    """

    exercise: Exercise
    lines: tuple[tuple[Event, ...], ...]
    labels: tuple[str, ...]
    report: Report


def import_file(path: Path, reader: Reader, wishes: Wishes | None = None) -> Imported:
    """The exercise in a file of any readable format; a native file is taken as it is.

    Raises ExerciseError with the file's name.
    """
    wishes = wishes or Wishes()
    if path.suffix == ".krn" and _is_native(path):
        exercise = replace(read_exercise(path), source="")
        return Imported(exercise, Report(("a native exercise",), ()))
    score = reader.read(path, repeats=wishes.repeats)
    try:
        return imported(
            score,
            slug(path.stem),
            bass=wishes.bass,
            melody=wishes.melody,
            strip_passing=wishes.strip_passing,
        )
    except ExerciseError as error:
        raise error.at(file=path) from None


def read_parts(path: Path, wishes: Wishes | None = None) -> WrittenParts:
    """Bass, figures, melody and all other voices of a score; raises ExerciseError."""
    wishes = wishes or Wishes()
    with Reader() as reader:
        score = reader.read(path, repeats=wishes.repeats)
    try:
        done = imported(score, slug(path.stem), bass=wishes.bass, melody=wishes.melody)
        lines = chosen(score, bass=wishes.bass, melody=wishes.melody)
    except ExerciseError as error:
        raise error.at(file=path) from None
    upper = [line for line in score.lines if line.pitches and line is not lines.bass]
    upper = [line for line in upper if not doubles(line, lines.bass)]
    upper.sort(key=mean, reverse=True)
    order = (*upper, lines.bass)
    return WrittenParts(
        replace(done.exercise, source=str(path)),
        tuple(line.events for line in order),
        tuple(line.label for line in order),
        done.report,
    )


def score_files(paths: Iterable[Path]) -> list[Path]:
    """The files named, and the score files in the folders named, at any depth, sorted."""
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = (p for p in path.rglob("*") if p.suffix.lower() in SUFFIXES and p.is_file())
            found += sorted(p for p in inside if not p.name.startswith("."))
        else:
            found.append(path)
    return found


def slug(name: str) -> str:
    """A file's stem as an id: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-") or "exercise"


def _is_native(path: Path) -> bool:
    try:
        with opened(path) as file:
            if path.stat().st_size > LARGEST:
                return False
            head = file.read(4000)
    except (OSError, ValueError):
        return False
    return re.search(rb"^\*\*kern\t\*\*fb(\t\*\*kern)*\r?$", head, re.MULTILINE) is not None
