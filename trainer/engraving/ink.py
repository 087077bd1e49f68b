"""What is drawn on top of an engraved page, as values that a window and an SVG draw alike.

Coordinates are the page's pixels, y downward. Inks are names; a theme says what they look like,
and every sign differs by form as well, so that no ink need be told from another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from trainer.engraving.fonts import Face
from trainer.engraving.glyphs import sign, text

Ink = Literal["print", "player", "mark", "remark", "pencil"]

INKS: dict[Ink, str] = {
    "print": "#221f1c",
    "player": "#1f4e86",
    "mark": "#a3231f",
    "remark": "#6b5310",
    "pencil": "#6a665f",
}  # on white or warm paper; every pair meets WCAG AA


@dataclass(frozen=True, slots=True)
class Sign:
    """A SMuFL sign with its origin at (x, y), for a staff whose lines are `space` apart."""

    code: int
    x: float
    y: float
    space: float
    ink: Ink


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line with round or blunt ends."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float
    ink: Ink


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text, its baseline beginning at (x, y), or centred there."""

    text: str
    x: float
    y: float
    size: float
    face: Face
    ink: Ink
    centred: bool = False


Drawing = Sign | Stroke | Words


def to_svg(drawings: Iterable[Drawing], inks: Mapping[Ink, str] | None = None) -> str:
    """An SVG group, without fonts."""
    colours = INKS if inks is None else inks
    return f'<g class="marks">{"".join(_element(d, colours) for d in drawings)}</g>'


def _element(drawing: Drawing, inks: Mapping[Ink, str]) -> str:
    colour = inks[drawing.ink]
    match drawing:
        case Stroke(x1, y1, x2, y2, width):
            return (
                f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" stroke="{colour}" '
                f'stroke-width="{width:.2f}" stroke-linecap="round" fill="none"/>'
            )
        case Sign(code, x, y, space):
            return _path(sign(code, 4 * space).path, x, y, colour)
        case Words(words, x, y, size, face, _, centred):
            outline = text(words, face, size)
            left = x - outline.advance / 2 if centred else x
            return _path(outline.path, left, y, colour)


def _path(path: str, x: float, y: float, colour: str) -> str:
    return f'<path transform="translate({x:.2f} {y:.2f})" d="{path}" fill="{colour}"/>'
