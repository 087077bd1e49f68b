"""Pitch standards and temperaments: which frequency sounds on which key.

A temperament is written as a teacher chalks it on the board: the circle of fifths from e flat to
g sharp, each fifth narrowed by a part of a comma. The fifth that closes the circle takes the rest.
The cents follow from comma arithmetic, nothing is tabulated. The temperaments themselves are
common practice; no source is followed for them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp2, log2

PYTHAGOREAN_COMMA = 12 * 1200 * log2(3 / 2) - 7 * 1200  # 23.460 cents
SYNTONIC_COMMA = 1200 * log2(81 / 80)  # 21.506 cents
PURE_FIFTH = 1200 * log2(3 / 2)  # 701.955 cents

PITCH_STANDARDS = (392.0, 415.0, 440.0, 466.0)  # a', in Hz
_CIRCLE = (3, 10, 5, 0, 7, 2, 9, 4, 11, 6, 1, 8)  # e flat, b flat, f, c … c sharp, g sharp
_FIFTHS = ("eb-bb", "bb-f", "f-c", "c-g", "g-d", "d-a", "a-e", "e-b", "b-f#", "f#-c#", "c#-g#")


@dataclass(frozen=True, slots=True)
class Temperament:
    """`narrowed` are the fifths (of `_FIFTHS`) made narrow by `comma` times `part`."""

    name: str
    title: str
    comma: float  # cents
    part: float
    narrowed: tuple[str, ...]

    @property
    def cents(self) -> tuple[float, ...]:
        """Cents above c of the twelve keys from c to b; shape (12,), c = 0."""
        height = 0.0
        heights = {_CIRCLE[0]: 0.0}
        for name, pitch_class in zip(_FIFTHS, _CIRCLE[1:], strict=True):
            height += PURE_FIFTH - (self.comma * self.part if name in self.narrowed else 0.0)
            heights[pitch_class] = height
        return tuple((heights[k] - heights[0]) % 1200 for k in range(12))


TEMPERAMENTS: dict[str, Temperament] = {
    t.name: t
    for t in (
        Temperament("equal", "equal", PYTHAGOREAN_COMMA, 1 / 12, _FIFTHS),
        Temperament("meantone-quarter", "quarter-comma meantone", SYNTONIC_COMMA, 1 / 4, _FIFTHS),
        Temperament("meantone-sixth", "sixth-comma meantone", SYNTONIC_COMMA, 1 / 6, _FIFTHS),
        Temperament(
            "well-quarter",
            "well tempered, four fifths by a quarter comma",
            PYTHAGOREAN_COMMA,
            1 / 4,
            ("c-g", "g-d", "d-a", "b-f#"),
        ),
        Temperament(
            "well-sixth",
            "well tempered, six fifths by a sixth comma",
            PYTHAGOREAN_COMMA,
            1 / 6,
            ("f-c", "c-g", "g-d", "d-a", "a-e", "e-b"),
        ),
        Temperament(
            "well-fifth",
            "well tempered, five fifths by a fifth comma",
            PYTHAGOREAN_COMMA,
            1 / 5,
            ("c-g", "g-d", "d-a", "a-e", "b-f#"),
        ),
    )
}


@lru_cache(maxsize=8192)
def frequency(key: int, temperament: str = "equal", standard: float = 440.0) -> float:
    """Hz of MIDI note `key`, where `standard` is the a above middle c in Hz.

    Raises KeyError for an unknown temperament.
    """
    cents = TEMPERAMENTS[temperament].cents
    octave, pitch_class = divmod(key - 69 + 9, 12)  # octaves from the c below that a
    return standard * exp2((1200 * octave + cents[pitch_class] - cents[9]) / 1200)
