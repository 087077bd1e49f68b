"""Words set in lines of a given width."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from trainer.engraving.fonts import Face
from trainer.engraving.press.faces import width

INK = "#1a1714"
CAP = 0.65  # height of a capital, in sizes
LEADING = 0.62  # from a baseline to the capitals of the line below, in sizes


@dataclass(frozen=True, slots=True)
class Words:
    """A run of words in one face. `to` is the name of the place a click leads to; `wider` is added
    to every space between words, in points."""

    text: str
    size: float = 11.0
    face: Face = "upright"
    ink: str = INK
    to: str = ""
    wider: float = 0.0

    @property
    def width(self) -> float:
        """Points."""
        stretched = self.text.count(" ") * self.wider
        return width(self.text, self.face, self.size) + stretched


@dataclass(frozen=True, slots=True)
class Line:
    """Runs that follow one another from left to right."""

    runs: tuple[Words, ...]

    @property
    def width(self) -> float:
        return sum(run.width for run in self.runs)


_SURELY = 0.9  # of a line: kerning adds less


def lines(runs: Sequence[Words], measure: float, *, justified: bool = False) -> tuple[Line, ...]:
    """The runs broken at spaces into lines of at most `measure` points.

    Where `justified`, all lines but the last are as wide as the measure. A word that is wider than
    a line is broken where it must be.
    """
    rows: list[list[Words]] = [[]]
    for word in _words(runs, measure):
        if rows[-1] and not _fits([*rows[-1], *word], measure):
            rows.append([])
        if not rows[-1] and word[0].text.isspace():
            continue
        rows[-1] += word
    found = [Line(_joined(_without_last_space(row))) for row in rows if row]
    if justified:
        found[:-1] = [_spread(line, measure) for line in found[:-1]]
    return tuple(found)


def _words(runs: Sequence[Words], measure: float) -> Iterator[list[Words]]:
    """What may not be torn apart: letters up to a space, across runs; each space by itself."""
    word: list[Words] = []
    for run in runs:
        for piece in re.findall(r"\s+|\S+", run.text):
            if piece.isspace():
                if word:
                    yield from _torn(word, measure)
                yield [replace(run, text=" ")]
                word = []
            else:
                word.append(replace(run, text=piece))
    if word:
        yield from _torn(word, measure)


def _torn(word: list[Words], measure: float) -> Iterator[list[Words]]:
    if _fits(word, measure):
        yield word
        return
    piece: list[Words] = []
    for part in word:
        for letter in part.text:
            one = replace(part, text=letter)
            if piece and not _fits([*piece, one], measure):
                yield list(_joined(piece))
                piece = []
            piece.append(one)
    yield list(_joined(piece))


def _fits(row: Sequence[Words], measure: float) -> bool:
    """As it will stand: what is shaped together, kerned and with ligatures, may be wider than its
    parts. Far from the end of the line their sum tells."""
    if sum(part.width for part in row) <= _SURELY * measure:
        return True
    return sum(part.width for part in _joined(row)) <= measure


def _without_last_space(row: list[Words]) -> list[Words]:
    return row[:-1] if row[-1].text.isspace() else row


def _joined(row: Sequence[Words]) -> tuple[Words, ...]:
    """Neighbours that differ in nothing but their text as one run, so that they are kerned."""
    return tuple(
        replace(look, text="".join(run.text for run in alike))
        for look, alike in groupby(row, lambda run: replace(run, text=""))
    )


def _spread(line: Line, measure: float) -> Line:
    spaces = sum(run.text.count(" ") for run in line.runs)
    if not spaces:
        return line
    wider = (measure - line.width) / spaces
    return Line(tuple(replace(run, wider=wider) for run in line.runs))
