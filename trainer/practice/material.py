"""What there is to practise, as plain data: the course, the drills and the pieces."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from trainer.practice.memory import Whole
from trainer.score.exercise import Exercise
from trainer.score.patterns import Pattern, every_key, expand
from trainer.score.syllabus import Step, vocabulary
from trainer.theory.key import Key


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the library: `seconds` at its own `tempo` (beats a minute), `level` its step."""

    id: str
    title: str
    level: int
    key: Key
    tempo: float
    seconds: float


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


def piece_of(exercise: Exercise) -> Piece:
    """An exercise as the plan needs it."""
    beats = float(exercise.length / exercise.metre.beat_length)
    return Piece(
        id=exercise.id,
        title=exercise.title,
        level=exercise.level,
        key=exercise.key,
        tempo=exercise.tempo,
        seconds=60 * beats / exercise.tempo,
    )


def material_of(
    steps: tuple[Step, ...], patterns: Mapping[str, Pattern], exercises: Iterable[Exercise]
) -> Material:
    """All there is to practise; exercises that are expanded patterns are not pieces."""
    pieces = (piece_of(exercise) for exercise in exercises if "pattern" not in exercise.tags)
    return Material(steps, patterns, {piece.id: piece for piece in pieces})


def seconds_of(pattern: Pattern, key: Key, tempo: float) -> float:
    """How long a pattern takes in that key's form, at `tempo` beats a minute."""
    exercise = expand(pattern, key)
    return 60 * float(exercise.length / exercise.metre.beat_length) / tempo
