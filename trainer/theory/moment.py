"""A time at which something changes, and the metre it stands in.

Score time is in quarter notes from the first sounding event, a pick-up included, as Fraction.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch


@dataclass(frozen=True, slots=True)
class Metre:
    """`beats` of `unit` (4 = quarter) in a bar, as written."""

    beats: int
    unit: int

    @property
    def bar_length(self) -> Fraction:
        """In quarter notes."""
        return Fraction(4 * self.beats, self.unit)

    @property
    def beat_length(self) -> Fraction:
        """The tactus in quarter notes: the written unit, or three of them in compound metre."""
        compound = self.unit >= 8 and self.beats % 3 == 0 and self.beats > 3
        return Fraction(4, self.unit) * (3 if compound else 1)

    def __str__(self) -> str:
        return f"{self.beats}/{self.unit}"


@dataclass(frozen=True, slots=True)
class Moment:
    """A time at which bass, melody or figuring changes.

    `bar` is the number as printed (a pick-up is bar 0), `beat` counts from 1 in tactus beats.
    `bass` and `melody` are what sounds then, None for a rest or a free top voice; `*_struck` says
    whether they begin here. `figuring` is the one in force; `figured` whether it is written here.
    `chord` is true where harmony is judged: a figuring stands or a bass note begins.
    """

    index: int
    onset: Fraction
    duration: Fraction
    bar: int
    beat: Fraction
    bass: Pitch | None
    bass_struck: bool
    melody: Pitch | None
    melody_struck: bool
    figuring: Figuring
    figured: bool
    fermata: bool
    key: Key
    metre: Metre

    @property
    def chord(self) -> bool:
        return self.figured or (self.bass_struck and self.bass is not None)
