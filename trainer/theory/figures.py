"""Figures and figurings: what is written over the bass, as values, and as plain text.

Plain text is the form used in the code, the tests, on the command line and in the log: figures
from the highest down, separated by spaces, accidentals `#`, `b`, `n` (natural), `##`, `bb` before
or after the numeral, a stroke `/` or `\\` or a plus `+` after it. `#` alone means the third.
`_` is the extender line, `t.s.` (or `0`) tasto solo, `unis.` all' unisono, the empty text nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum

from trainer.errors import FigureError


class Sign(Enum):
    """What stands beside or through a numeral."""

    SHARP = "#"
    FLAT = "b"
    NATURAL = "n"
    DOUBLE_SHARP = "##"
    DOUBLE_FLAT = "bb"
    STROKE = "/"
    BACKSTROKE = "\\"
    PLUS = "+"

    @property
    def raises(self) -> bool:
        """A stroke or plus raises the signature's note by a semitone."""
        return self in (Sign.STROKE, Sign.BACKSTROKE, Sign.PLUS)

    @property
    def alter(self) -> int | None:
        """The absolute alteration in semitones, or None for strokes and plus."""
        return _ALTERS.get(self)


_ALTERS = {
    Sign.SHARP: 1,
    Sign.FLAT: -1,
    Sign.NATURAL: 0,
    Sign.DOUBLE_SHARP: 2,
    Sign.DOUBLE_FLAT: -2,
}


@dataclass(frozen=True, slots=True)
class Figure:
    """One numeral with its sign; `numeral` is None for an accidental standing alone.

    `before` says on which side the accidental is printed (strokes and plus are never before).
    """

    numeral: int | None
    sign: Sign | None = None
    before: bool = False

    def __post_init__(self) -> None:
        if self.numeral is None and (self.sign is None or self.sign.raises):
            raise FigureError("a figure without a numeral must be an accidental")
        if self.numeral is not None and not 1 <= self.numeral <= 14:
            raise FigureError(f"{self.numeral} is not a figure", remedy="figures go from 1 to 14")
        if self.before and (self.sign is None or self.sign.raises or self.numeral is None):
            raise FigureError("only an accidental can stand before a numeral")

    @property
    def number(self) -> int:
        """The interval above the bass as written; an accidental alone is the third."""
        return 3 if self.numeral is None else self.numeral

    @property
    def letters(self) -> int:
        """Letters above the bass, 0 to 6: compound numerals fold (9 is 2, 8 is 1)."""
        return (self.number - 1) % 7

    def __str__(self) -> str:
        sign = "" if self.sign is None else self.sign.value
        numeral = "" if self.numeral is None else str(self.numeral)
        return sign + numeral if self.before else numeral + sign


class Way(Enum):
    """How a position over the bass is to be played."""

    FIGURES = "figures"
    EXTENDED = "_"
    TASTO_SOLO = "t.s."
    UNISON = "unis."


@dataclass(frozen=True, slots=True)
class Figuring:
    """The stack of figures at one position, highest first as written; may be empty (a triad)."""

    figures: tuple[Figure, ...] = ()
    way: Way = Way.FIGURES

    def __post_init__(self) -> None:
        if self.way is not Way.FIGURES and self.figures:
            raise FigureError(f"{self.way.value} stands without figures")

    @staticmethod
    def parse(text: str) -> Figuring:
        """Read plain text such as `6 4+ 2`, `#`, `b5`, `_`, `t.s.`; raises FigureError."""
        words = text.split()
        if len(words) == 1 and words[0] in _WAYS:
            return Figuring((), _WAYS[words[0]])
        return Figuring(tuple(_figure(word) for word in words))

    def __str__(self) -> str:
        if self.way is not Way.FIGURES:
            return str(self.way.value)
        return " ".join(str(figure) for figure in self.figures)


NOTHING = Figuring()
_WAYS = {"_": Way.EXTENDED, "t.s.": Way.TASTO_SOLO, "0": Way.TASTO_SOLO, "unis.": Way.UNISON}
_FIGURE = re.compile(r"(##|bb|#|b|n)?(\d{1,2})?(##|bb|#|b|n|/|\\|\+)?")


def _figure(word: str) -> Figure:
    match = _FIGURE.fullmatch(word)
    if match is None or not word or (match[1] and match[3]):
        raise FigureError(f"{word!r} is not a figure", remedy="write one like 6, 4+, b5, 5/ or #")
    sign = match[1] or match[3]
    numeral = None if match[2] is None else int(match[2])
    before = bool(match[1]) and numeral is not None
    return Figure(numeral, None if sign is None else Sign(sign), before)
