"""What there is to practise, as plain data: the course, the drills and the pieces."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from trainer.errors import TrainerError
from trainer.judging.timing import FASTEST, SLOWEST
from trainer.practice.memory import Whole
from trainer.score.library import Library
from trainer.score.patterns import Pattern, every_key
from trainer.score.syllabus import Step, load_steps, vocabulary
from trainer.theory.key import Key


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the library: its own `tempo` in beats a minute, `level` its step (0: none)."""

    id: str
    title: str
    level: int
    key: Key
    tempo: float


@dataclass(frozen=True)
class Material:
    """Steps in order; patterns and pieces by id."""

    steps: tuple[Step, ...]
    patterns: Mapping[str, Pattern]
    pieces: Mapping[str, Piece]

    @cached_property
    def wholes(self) -> Mapping[str, Whole]:
        """What memory calls each pattern and piece, with its own tempo."""
        drills = {
            pattern.id: Whole("cadence" if pattern.kind == "cadence" else "sequence", pattern.tempo)
            for pattern in self.patterns.values()
        }
        return {**drills, **{p.id: Whole("piece", p.tempo) for p in self.pieces.values()}}

    def drills(self, step: Step) -> tuple[Pattern, ...]:
        """The step's drills, in its order."""
        return tuple(self.patterns[id] for id in step.drills if id in self.patterns)

    @cached_property
    def _keys(self) -> dict[tuple[str, int], tuple[Key, ...]]:
        return {}

    def keys(self, pattern: Pattern, step: int) -> tuple[Key, ...]:
        """The keys in which a pattern can be asked at a step of the course: no more accidentals
        than the step allows, and no figuring that has not been met. Fewest accidentals first."""
        if (pattern.id, step) not in self._keys:
            met = vocabulary(step)
            self._keys[pattern.id, step] = tuple(
                key
                for key in _KEYS
                if abs(key.signature) <= met.max_accidentals
                and all(
                    met.knows(figuring, key)
                    for degree in (pattern.minor if key.is_minor else pattern.major)
                    for figuring in degree.figurings
                )
            )
        return self._keys[pattern.id, step]


_KEYS = tuple(sorted(every_key(), key=lambda key: (abs(key.signature), key.is_minor, str(key))))


def material_of(
    steps: tuple[Step, ...], patterns: Mapping[str, Pattern], pieces: Iterable[Piece]
) -> Material:
    """All there is to practise. A piece at a tempo no tactus can be followed at is left out."""
    fit = (piece for piece in pieces if SLOWEST <= piece.tempo <= FASTEST)
    return Material(steps, patterns, {piece.id: piece for piece in fit})


def open_material(library: Library) -> Material:
    """The course, and what the library holds. Raises ExerciseError for a course or a file of
    patterns that cannot be read; a piece that cannot be read is not proposed."""
    pieces = [
        Piece(entry.id, entry.title or entry.id, entry.level, key, entry.tempo)
        for entry in library.entries()
        if not entry.error and entry.key != "any" and (key := _key(entry.key, entry.signature))
    ]
    return material_of(load_steps(), library.patterns, pieces)


def _key(text: str, signature: int) -> Key | None:
    try:
        key = Key.parse(text)
    except TrainerError:
        return None
    return Key.of(key.final, key.mode, signature)
