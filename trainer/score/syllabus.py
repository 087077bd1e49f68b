"""The course as data: 24 steps with their figurings, drills and pieces, read from `course.toml`."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from trainer.errors import ExerciseError
from trainer.files import text_of
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.theory.figures import Figuring, Sign, Way
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch

LAST_STEP = 24
FIRST_PHRASES = 4  # the step before which there are no phrases
UNFIGURED = "-"
_LISTS = ("new_figurings", "new_in_minor", "new_successions", "rules", "drills", "pieces")
_LARGEST = 1 << 20  # bytes of the file
_TEXTS = ("title", "aim", "text", "opens")
_OPTIONAL = ("new_in_minor", "new_successions", "any_accidental")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the course.

    Figurings are texts relative to the signature (`#` raises by a semitone, `b` lowers; `-` is a
    bass note without figures), successions such as `5, 6` likewise without accidentals. `rules`
    are rule identifiers, `drills` pattern ids, `pieces` file ids. `tempo` is in beats a minute,
    `max_accidentals` counts the sharps or flats of the signature.
    """

    number: int
    title: str
    aim: str
    text: str
    new_figurings: tuple[str, ...]
    rules: tuple[str, ...]
    drills: tuple[str, ...]
    pieces: tuple[str, ...]
    tempo: float
    max_accidentals: int
    opens: str
    new_in_minor: tuple[str, ...] = ()
    new_successions: tuple[str, ...] = ()
    any_accidental: bool = False


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """What a player has met by the end of a step; figurings as in `Step`.

    `successions` are pairs such as `4, -`, without signs, a triad written `-`.
    """

    figurings: frozenset[str]
    in_minor: frozenset[str]
    successions: frozenset[str]
    any_accidental: bool
    max_accidentals: int

    def knows(self, figuring: str, key: Key) -> bool:
        """Whether a figuring written relative to the signature has been taught in such a key."""
        if figuring in self.figurings or (key.is_minor and figuring in self.in_minor):
            return True
        return self.any_accidental and bare(figuring) in self.figurings


def load_steps(path: Path | None = None) -> tuple[Step, ...]:
    """The steps in order, from `path` or the shipped course.

    Raises ExerciseError, with the file, for a file that cannot be read, a missing or unknown
    entry, or steps that are not numbered 1, 2, 3 …
    """
    path = path or exercises_folder() / "course.toml"
    try:
        tables = tomllib.loads(text_of(path, _LARGEST)).get("step", [])
    except OSError as error:
        raise ExerciseError("the course cannot be read", file=path, remedy=str(error)) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ExerciseError(f"this is no TOML: {error}", file=path) from error
    if not isinstance(tables, list) or not tables:
        raise ExerciseError("there is no step in it", file=path, remedy="write [[step]] tables")
    steps = tuple(_step(table, path) for table in tables)
    for expected, step in enumerate(steps, start=1):
        if step.number != expected:
            raise ExerciseError(
                f"step {step.number} stands where step {expected} is due",
                file=path,
                remedy="number the steps in order",
            )
    return steps


@lru_cache(maxsize=64)
def vocabulary(step: int, path: Path | None = None) -> Vocabulary:
    """Everything taught in steps 1 to `step` (0, an unplaced piece, knows all of the course)."""
    steps = load_steps(path)
    if not 0 <= step <= len(steps):
        raise ExerciseError(f"there is no step {step}", remedy=f"steps go from 1 to {len(steps)}")
    met = steps[: step or len(steps)]
    return Vocabulary(
        figurings=frozenset(f for s in met for f in s.new_figurings),
        in_minor=frozenset(f for s in met for f in s.new_in_minor),
        successions=frozenset(
            ", ".join(bare(part) for part in pair.split(","))
            for step in met
            for pair in step.new_successions
        ),
        any_accidental=any(s.any_accidental for s in met),
        max_accidentals=max(s.max_accidentals for s in met),
    )


def relative(figuring: Figuring, bass: Pitch, key: Key) -> str:
    """A figuring as it would be written if the signature were empty: `#` raises, `b` lowers.

    Over d in G minor a written `#` (f sharp) stays `#`; over c in F minor a written `n` (e
    natural) is `#` too; an accidental that only repeats the signature disappears.
    """
    if figuring.way is not Way.FIGURES:
        return str(figuring.way.value)
    words: list[str] = []
    for figure in figuring.figures:
        sign = figure.sign
        if sign is None or sign.raises:
            words.append(f"{figure.numeral}{'' if sign is None else '+'}")
            continue
        assert sign.alter is not None
        change = sign.alter - key.alter((bass.step + figure.letters) % 7)
        mark = "#" * change if change > 0 else "b" * -change
        if figure.numeral is None:
            words.append(mark or "3")
        else:
            words.append(f"{mark}{figure.numeral}")
    return " ".join(words) or UNFIGURED


def absolute(text: str, bass: Pitch, key: Key) -> Figuring:
    """The inverse of `relative`: the figuring as written in `key`; raises FigureError."""
    if text == UNFIGURED:
        return Figuring()
    figuring = Figuring.parse(text)
    figures = []
    for figure in figuring.figures:
        sign = figure.sign
        if sign is not None and sign.alter is not None:
            alter = key.alter((bass.step + figure.letters) % 7) + sign.alter
            before = figure.numeral is not None
            figure = replace(figure, sign=_SIGNS[alter], before=before)
        figures.append(figure)
    return Figuring(tuple(figures), figuring.way)


def bare(figuring: str) -> str:
    """A figuring's numerals without accidentals and strokes; every form of a triad is `-`."""
    numerals = [n for word in figuring.split() if (n := word.strip("#bn/\\+").strip(UNFIGURED))]
    return UNFIGURED if set(numerals) <= {"3", "5", "8"} else " ".join(numerals)


def successions(exercise: Exercise) -> tuple[str, ...]:
    """The figurings that follow one another over one bass note, such as `4, -`, in order."""
    return tuple(
        f"{bare(str(before.figuring))}, {bare(str(after.figuring))}"
        for before, after in pairwise(exercise.moments)
        if after.figured and not after.bass_struck and before.bass == after.bass
    )


_SIGNS = {
    -2: Sign.DOUBLE_FLAT,
    -1: Sign.FLAT,
    0: Sign.NATURAL,
    1: Sign.SHARP,
    2: Sign.DOUBLE_SHARP,
}


def _step(table: Any, path: Path) -> Step:
    names = {field.name for field in fields(Step)}
    number = table.get("number") if isinstance(table, dict) else None
    if not isinstance(number, int):
        raise ExerciseError("a step has no number", file=path, remedy="write number = 1, 2, …")
    for name in sorted(names - set(table) - set(_OPTIONAL)):
        raise ExerciseError(f"step {number} has no {name}", file=path, remedy=f"add {name} = …")
    for name in sorted(set(table) - names):
        raise ExerciseError(f"step {number} has an unknown entry {name}", file=path)
    for name, value in table.items():
        wanted = _wanted(name, value)
        if wanted:
            raise ExerciseError(f"step {number}: {name} must be {wanted}", file=path)
    values: dict[str, Any] = {n: tuple(v) if isinstance(v, list) else v for n, v in table.items()}
    for name in _TEXTS:
        values[name] = " ".join(values[name].split())
    return Step(**values)


def _wanted(name: str, value: object) -> str:
    """What an entry must be, where it is not."""
    if name in _LISTS:
        texts = isinstance(value, list) and all(isinstance(item, str) for item in value)
        return "" if texts else "a list of texts"
    if name in _TEXTS:
        return "" if isinstance(value, str) and value.strip() else "a text"
    if name in ("tempo", "max_accidentals"):
        number = isinstance(value, int | float) and not isinstance(value, bool)
        return "" if number else "a number"
    return ""
