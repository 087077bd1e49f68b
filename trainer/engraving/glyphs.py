"""Outlines of the shipped fonts as SVG paths: music signs by SMuFL code point, and set text.

Music signs are drawn at a size in staff spaces: SMuFL puts four spaces into one em.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise

import uharfbuzz as hb

from trainer.engraving.fonts import FONT_FILES, Face
from trainer.resources import assets_folder


@dataclass(frozen=True, slots=True)
class Outline:
    """A drawn shape with y downward and its origin on the baseline, in the unit of the size.

    `left`, `top`, `right`, `bottom` bound the ink; `advance` is the set width.
    """

    path: str
    advance: float
    left: float
    top: float
    right: float
    bottom: float


_Point = tuple[float, float]


@lru_cache(maxsize=1024)
def sign(code: int, size: float) -> Outline:
    """The SMuFL sign `code`, where `size` is the height of four staff spaces (one em).

    Raises KeyError for a code point the font lacks.
    """
    return _outline("music", chr(code), size)


@lru_cache(maxsize=1024)
def text(words: str, face: Face, size: float) -> Outline:
    """A line of text as one path, kerned; `size` is the em. What the face lacks is left out."""
    return _outline(face, words, size)


@cache
def _font(face: Face) -> hb.Font:
    data = (assets_folder() / "fonts" / FONT_FILES[face]).read_bytes()
    return hb.Font(hb.Face(data))


def _outline(face: Face, words: str, size: float) -> Outline:
    font = _font(face)
    scale = size / font.face.upem
    path = _Path(scale)
    advance = 0.0
    for glyph, step, aside in _set(font, words, face):
        path.left = advance + aside * scale
        font.draw_glyph_with_pen(glyph, path)
        advance += step * scale
    return Outline(path.commands(), advance, *path.bounds())


def _set(font: hb.Font, words: str, face: Face) -> Iterator[tuple[int, int, int]]:
    """Glyphs with their advances and offsets in font units."""
    known = "".join(c for c in words if font.get_nominal_glyph(ord(c)) is not None)
    if face == "music":
        if not known:
            raise KeyError(f"U+{ord(words):04X} is not in {FONT_FILES[face]}")
        glyph = font.get_nominal_glyph(ord(words))
        assert glyph is not None
        yield glyph, font.get_glyph_h_advance(glyph), 0
        return
    line = hb.Buffer()
    line.add_str(known)
    line.guess_segment_properties()
    hb.shape(font, line)
    for info, place in zip(line.glyph_infos, line.glyph_positions, strict=True):
        yield info.codepoint, place.x_advance, place.x_offset


class _Path:
    """Takes an outline in font units, y upward, and writes it as an SVG path, y downward.

    `left` is where the origin of the next glyph lies. The names of the methods are those by which
    the font library calls a pen.
    """

    def __init__(self, scale: float) -> None:
        self.left = 0.0
        self._scale = scale
        self._at: _Point = (0.0, 0.0)
        self._commands: list[str] = []
        self._inked: tuple[list[float], list[float]] = ([], [])

    def commands(self) -> str:
        return "".join(self._commands)

    def bounds(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom of the ink, exactly."""
        x, y = self._inked
        return (min(x), min(y), max(x), max(y)) if x else (0.0, 0.0, 0.0, 0.0)

    def moveTo(self, *points: _Point) -> None:  # noqa: N802
        self._add("M", points)

    def lineTo(self, *points: _Point) -> None:  # noqa: N802
        self._add("L", points)

    def qCurveTo(self, *points: _Point) -> None:  # noqa: N802
        self._add("Q", points)

    def curveTo(self, *points: _Point) -> None:  # noqa: N802
        self._add("C", points)

    def closePath(self) -> None:  # noqa: N802
        self._commands.append("Z")

    def _add(self, command: str, points: tuple[_Point, ...]) -> None:
        scale = self._scale
        placed = [(self.left + x * scale, -y * scale) for x, y in points]
        self._commands.append(command + " ".join(_written(n) for point in placed for n in point))
        for axis, inked in enumerate(self._inked):
            along = [point[axis] for point in (self._at, *placed)]
            inked.append(along[-1])
            inked += _turns(along) if len(along) > 2 else ()
        self._at = placed[-1]


def _turns(along: list[float]) -> list[float]:
    """Where a curve turns back in one direction, given its points in that direction."""
    start, *control, end = along
    if min(start, end) <= min(control) and max(control) <= max(start, end):
        return []
    if len(control) == 1:  # a parabola: the derivative is a line
        (middle,) = control
        at = [(start - middle) / (start - 2 * middle + end)]
    else:
        first, second = control
        a, b, c = end - start + 3 * (first - second), start - 2 * first + second, first - start
        at = _roots(a, 2 * b, c)
    inside = [t for t in at if 0 < t < 1]
    return [_on_curve(along, t) for t in inside]


def _roots(a: float, b: float, c: float) -> list[float]:
    if abs(a) < 1e-9:
        return [-c / b] if abs(b) > 1e-9 else []
    under = b * b - 4 * a * c
    return [(-b + side * math.sqrt(under)) / (2 * a) for side in (1, -1)] if under >= 0 else []


def _on_curve(along: list[float], t: float) -> float:
    """The value of a Bézier curve by de Casteljau's construction."""
    while len(along) > 1:
        along = [u + (v - u) * t for u, v in pairwise(along)]
    return along[0]


def _written(number: float) -> str:
    text = f"{number:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
