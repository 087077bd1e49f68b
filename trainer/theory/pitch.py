"""Spelled pitch: letter, alteration, octave. An augmented second is not a minor third here."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from trainer.errors import PitchError

LETTERS = "cdefgab"
SEMITONES = (0, 2, 4, 5, 7, 9, 11)  # of the natural letters above c
_FIFTHS = (0, 2, 4, -1, 1, 3, 5)  # of the natural letters on the line of fifths, c = 0
_SPOKEN = {
    -3: "triple flat",
    -2: "double flat",
    -1: "flat",
    0: "natural",
    1: "sharp",
    2: "double sharp",
    3: "triple sharp",
}
_NAME = re.compile(r"([a-gA-G])(#{1,3}|b{1,3}|)")
_PITCH = re.compile(r"([a-gA-G])(#{1,3}|b{1,3}|)(-?\d)")


def _accidental(alter: int) -> str:
    return "#" * alter if alter > 0 else "b" * -alter


@dataclass(frozen=True, slots=True)
class PitchName:
    """A letter with its alteration, in no octave: `f#`, `bb` (b flat), `c`.

    `step` counts letters from c = 0 to b = 6; `alter` is in semitones.
    """

    step: int
    alter: int = 0

    @staticmethod
    def parse(text: str) -> PitchName:
        """Read `f#`, `bb`, `c`; raises PitchError."""
        match = _NAME.fullmatch(text)
        if match is None:
            raise PitchError(f"{text!r} is not a note name", remedy="write one like c, f# or bb")
        return PitchName(LETTERS.index(match[1].lower()), _alter(match[2]))

    @property
    def fifths(self) -> int:
        """Place on the line of fifths, c = 0, g = 1, f = -1."""
        return _FIFTHS[self.step] + 7 * self.alter

    @property
    def pitch_class(self) -> int:
        """0 to 11, c = 0."""
        return (SEMITONES[self.step] + self.alter) % 12

    @property
    def spoken(self) -> str:
        """As a teacher says it: `f sharp`, `b flat`, `c`."""
        return LETTERS[self.step] if self.alter == 0 else f"{LETTERS[self.step]} {self.accidental}"

    @property
    def accidental(self) -> str:
        """The word for the alteration: `sharp`, `double flat`, `natural`."""
        return _SPOKEN.get(self.alter, f"altered by {self.alter:+d}")

    def __str__(self) -> str:
        return LETTERS[self.step] + _accidental(self.alter)


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch; `c4` is middle C. `octave` changes between b and c."""

    step: int
    alter: int
    octave: int

    @staticmethod
    def parse(text: str) -> Pitch:
        """Read `c4`, `f#3`, `bb2`; raises PitchError."""
        match = _PITCH.fullmatch(text)
        if match is None:
            raise PitchError(f"{text!r} is not a pitch", remedy="write one like c4, f#3 or bb2")
        return Pitch(LETTERS.index(match[1].lower()), _alter(match[2]), int(match[3]))

    @property
    def name(self) -> PitchName:
        return PitchName(self.step, self.alter)

    @property
    def midi(self) -> int:
        """MIDI note number, middle C = 60."""
        return 12 * (self.octave + 1) + SEMITONES[self.step] + self.alter

    @property
    def height(self) -> int:
        """Letters above c0: the place on the staff, whatever the accidental."""
        return 7 * self.octave + self.step

    def __str__(self) -> str:
        return f"{LETTERS[self.step]}{_accidental(self.alter)}{self.octave}"


def _alter(accidental: str) -> int:
    return len(accidental) if accidental.startswith("#") else -len(accidental)


@lru_cache(maxsize=4096)
def pitch_on(name: PitchName, midi: int) -> Pitch:
    """The pitch of that name which sounds as MIDI note `midi`; PitchError if none does."""
    octave, rest = divmod(midi - SEMITONES[name.step] - name.alter, 12)
    if rest:
        raise PitchError(f"{name} does not sound on key {midi}")
    return Pitch(name.step, name.alter, octave - 1)


@dataclass(frozen=True, slots=True)
class Interval:
    """From one pitch up to another: `letters` (0 = same letter) and `semitones`, both signed."""

    letters: int
    semitones: int

    @staticmethod
    def between(lower: Pitch, upper: Pitch) -> Interval:
        return Interval(upper.height - lower.height, upper.midi - lower.midi)

    @property
    def number(self) -> int:
        """1 for a unison, 2 for a second, 8 for an octave; the size without direction."""
        return abs(self.letters) + 1

    @property
    def quality(self) -> int:
        """Semitones wider (+) or narrower (-) than the perfect or major interval."""
        letters = abs(self.letters)
        semitones = self.semitones if self.letters >= 0 else -self.semitones
        return semitones - (12 * (letters // 7) + SEMITONES[letters % 7])


def transposed(pitch: Pitch, interval: Interval) -> Pitch:
    """`pitch` moved by `interval`, spelled: letters first, then the alteration that fits."""
    octave, step = divmod(pitch.height + interval.letters, 7)
    natural = 12 * (octave + 1) + SEMITONES[step]
    return Pitch(step, pitch.midi + interval.semitones - natural, octave)
