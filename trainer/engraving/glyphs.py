"""Outlines of the shipped fonts as SVG paths: music signs by SMuFL code point, and set text.

Music signs are drawn at a size in staff spaces: SMuFL puts four spaces into one em.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

from fontTools.pens.boundsPen import BoundsPen
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.pens.transformPen import TransformPen
from fontTools.ttLib import TTFont

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


@lru_cache(maxsize=1024)
def sign(code: int, size: float) -> Outline:
    """The SMuFL sign `code`, where `size` is the height of four staff spaces (one em).

    Raises KeyError for a code point the font lacks.
    """
    return _outline("music", (chr(code),), size)


@lru_cache(maxsize=1024)
def text(words: str, face: Face, size: float) -> Outline:
    """A line of text as one path, `size` being the em."""
    return _outline(face, tuple(words), size)


@cache
def _font(face: Face) -> tuple[TTFont, Any, dict[int, str]]:
    data = (assets_folder() / "fonts" / FONT_FILES[face]).read_bytes()
    font = TTFont(io.BytesIO(data), lazy=True)
    return font, font.getGlyphSet(), font.getBestCmap()


def _outline(face: Face, characters: tuple[str, ...], size: float) -> Outline:
    font, glyphs, names = _font(face)
    scale = size / font["head"].unitsPerEm
    path = SVGPathPen(glyphs, ntos=lambda number: f"{number:.2f}".rstrip("0").rstrip("."))
    bounds = BoundsPen(glyphs)
    advance = 0.0
    for glyph in _glyphs(characters, names, face):
        for pen in (path, bounds):
            glyphs[glyph].draw(TransformPen(pen, (scale, 0, 0, -scale, advance, 0)))
        advance += glyphs[glyph].width * scale
    left, top, right, bottom = bounds.bounds or (0.0, 0.0, 0.0, 0.0)
    return Outline(path.getCommands(), advance, left, top, right, bottom)


def _glyphs(characters: tuple[str, ...], names: dict[int, str], face: Face) -> Iterator[str]:
    for character in characters:
        name = names.get(ord(character))
        if name is None and face == "music":
            raise KeyError(f"U+{ord(character):04X} is not in {FONT_FILES[face]}")
        if name is not None:
            yield name
