"""Four voices at one time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, pairwise
from typing import Literal

from trainer.theory.pitch import Pitch

VoiceName = Literal["soprano", "alto", "tenor", "bass"]
VOICES: tuple[VoiceName, ...] = ("soprano", "alto", "tenor", "bass")
UPPER, MIDDLE = VOICES[:3], VOICES[1:3]
# voices as places in VOICES, the upper one first
PAIRS = tuple(combinations(range(len(VOICES)), 2))
NEIGHBOURS = tuple(pairwise(range(len(VOICES))))


@dataclass(frozen=True, slots=True)
class Voicing:
    """Four spelled pitches, soprano first; a voice that rests is None."""

    soprano: Pitch | None
    alto: Pitch | None
    tenor: Pitch | None
    bass: Pitch | None

    @staticmethod
    def parse(text: str) -> Voicing:
        """Read bass first, as one builds a chord: `c3 e4 g4 c5`; `-` is a rest."""
        bass, tenor, alto, soprano = (None if w == "-" else Pitch.parse(w) for w in text.split())
        return Voicing(soprano, alto, tenor, bass)

    def __iter__(self) -> Iterator[Pitch | None]:
        return iter((self.soprano, self.alto, self.tenor, self.bass))

    def __getitem__(self, voice: VoiceName) -> Pitch | None:
        pitch = getattr(self, voice)
        assert pitch is None or isinstance(pitch, Pitch)
        return pitch

    def __str__(self) -> str:
        voices = (self.bass, self.tenor, self.alto, self.soprano)
        return " ".join("-" if pitch is None else str(pitch) for pitch in voices)


@dataclass(frozen=True, slots=True)
class Sounding:
    """What sounds from one onset to the next in any voice: movement is judged between these.

    `onset` is score time in quarter notes, `moment` the index of the moment it belongs to (the
    last one at or before it), `struck` the voices that begin a note here; the others are held.
    """

    onset: Fraction
    moment: int
    voicing: Voicing
    struck: frozenset[VoiceName]
