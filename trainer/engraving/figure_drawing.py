"""Figurings drawn with the figured-bass numerals of SMuFL (U+EA50 to U+EA6F).

Verovio keeps the room; the numerals are drawn here, because it scales plain digits only and they
must be legible at arm's length.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trainer.engraving.boxes import Box, box_of
from trainer.engraving.geometry import Geometry
from trainer.engraving.glyphs import Outline, sign, text
from trainer.engraving.ink import Stroke
from trainer.score.exercise import Exercise
from trainer.theory.figures import Figure, Figuring, Sign, Way

# SMuFL 1.4, "Figured bass": digit, and where the font has it, the digit with its stroke
DIGITS = {
    0: 0xEA50, 1: 0xEA51, 2: 0xEA52, 3: 0xEA54, 4: 0xEA55,
    5: 0xEA57, 6: 0xEA5B, 7: 0xEA5D, 8: 0xEA60, 9: 0xEA61,
}  # fmt: skip
STRUCK = {
    (2, Sign.STROKE): 0xEA53,
    (4, Sign.STROKE): 0xEA56,
    (4, Sign.PLUS): 0xEA56,
    (5, Sign.STROKE): 0xEA58,
    (6, Sign.STROKE): 0xEA5C,
    (6, Sign.BACKSTROKE): 0xEA5C,
    (7, Sign.STROKE): 0xEA5E,
    (9, Sign.STROKE): 0xEA62,
}
ACCIDENTALS = {
    Sign.DOUBLE_FLAT: 0xEA63,
    Sign.FLAT: 0xEA64,
    Sign.NATURAL: 0xEA65,
    Sign.SHARP: 0xEA66,
    Sign.DOUBLE_SHARP: 0xEA67,
}
HEIGHT = 1.95  # of a numeral, in staff spaces
ROW = 2.7  # from one row of a stack to the next, in staff spaces
EXTENDER = 0.16  # thickness of an extender line, in staff spaces


@dataclass(frozen=True, slots=True)
class Shape:
    """An outline of a figure set at a place."""

    outline: Outline
    x: float
    y: float

    def svg(self) -> str:
        return f'<path transform="translate({self.x:.2f} {self.y:.2f})" d="{self.outline.path}"/>'

    @property
    def box(self) -> Box:
        """The rectangle of its ink."""
        ink, x, y = self.outline, self.x, self.y
        return Box("figure", x + ink.left, y + ink.top, x + ink.right, y + ink.bottom)


def numeral(figure: Figure, height: float) -> tuple[tuple[Shape, ...], float]:
    """One figure from x = 0 on its baseline y = 0, and its width; `height` is a numeral's."""
    signs, width = numeral_signs(figure, height)
    shapes = [Shape(sign(code, 4 * height), x, y) for code, x, y in signs]
    whole = (figure.numeral or 0, figure.sign) in STRUCK
    if not whole and figure.sign is not None and figure.sign.raises:
        shapes.append(Shape(_stroke(figure.sign, width, height), 0.0, 0.0))
        if figure.sign is Sign.PLUS:
            width += 0.62 * height
    return tuple(shapes), width


def numeral_signs(
    figure: Figure, height: float
) -> tuple[tuple[tuple[int, float, float], ...], float]:
    """The SMuFL signs of a figure, (code point, x, y) each, and their width.

    A stroke or plus the font has no whole sign for is not among them.
    """
    codes: list[int] = []
    if figure.sign in ACCIDENTALS and (figure.before or figure.numeral is None):
        codes.append(ACCIDENTALS[figure.sign])
    whole = None if figure.sign is None else STRUCK.get((figure.numeral or 0, figure.sign))
    if whole is not None:
        codes.append(whole)
    elif figure.numeral is not None:
        codes += [DIGITS[int(digit)] for digit in str(figure.numeral)]
    if figure.sign in ACCIDENTALS and not figure.before and figure.numeral is not None:
        codes.append(ACCIDENTALS[figure.sign])
    signs: list[tuple[int, float, float]] = []
    x = 0.0
    for code in codes:
        outline = sign(code, 4 * height)  # such a digit is one space high at the staff's own size
        drop = 0.04 * height if code in ACCIDENTALS.values() else 0.0
        signs.append((code, x - outline.left, drop))
        x += outline.right - outline.left + 0.06 * height
    return tuple(signs), x - 0.06 * height


def _stroke(how: Sign, width: float, height: float) -> Outline:
    """A stroke through a numeral, or a plus after it, as the font would draw it."""
    t = 0.05 * height
    if how is Sign.PLUS:
        left, middle, arm = width + 0.1 * height, -0.5 * height, 0.26 * height
        centre = left + arm
        path = (
            f"M{left:.2f} {middle - t:.2f}H{centre - t:.2f}V{middle - arm:.2f}H{centre + t:.2f}"
            f"V{middle - t:.2f}H{centre + arm:.2f}V{middle + t:.2f}H{centre + t:.2f}"
            f"V{middle + arm:.2f}H{centre - t:.2f}V{middle + t:.2f}H{left:.2f}Z"
        )
        return Outline(path, centre + arm, left, middle - arm, centre + arm, middle + arm)
    reach = 0.14 * height
    y1, y2 = -0.18 * height, -0.86 * height
    if how is Sign.BACKSTROKE:
        y1, y2 = y2, y1
    path = (
        f"M{-reach:.2f} {y1 - t:.2f}L{width + reach:.2f} {y2 - t:.2f}"
        f"V{y2 + t:.2f}L{-reach:.2f} {y1 + t:.2f}Z"
    )
    return Outline(path, width, -reach, min(y1, y2) - t, width + reach, max(y1, y2) + t)


def stack(figuring: Figuring, height: float, row: float) -> tuple[tuple[Shape, ...], float]:
    """A figuring from its first baseline down, every row centred on x = 0, and its half width.

    Words (`t.s.`, `unis.`) are set in italics from the left.
    """
    if figuring.way in (Way.TASTO_SOLO, Way.UNISON):
        words = text(figuring.way.value, "italic", 1.15 * height)
        return (Shape(words, -0.3 * height, 0.0),), words.advance
    shapes: list[Shape] = []
    widest = 0.0
    for number, figure in enumerate(figuring.figures):
        parts, width = numeral(figure, height)
        left = -_centre(figure, parts, width)
        shapes += [Shape(p.outline, p.x + left, p.y + number * row) for p in parts]
        widest = max(widest, width + left)
    return tuple(shapes), widest


def _centre(figure: Figure, parts: tuple[Shape, ...], width: float) -> float:
    """The numeral itself stands in the column; an accidental hangs on its side."""
    if figure.numeral is None or figure.sign not in ACCIDENTALS or len(parts) < 2:
        return width / 2
    accidental = parts[0] if figure.before else parts[-1]
    numerals = width - (accidental.outline.right - accidental.outline.left)
    return width - numerals / 2 if figure.before else numerals / 2


def drawn_figures(
    exercise: Exercise, geometry: Geometry
) -> Iterator[tuple[int, str, tuple[Box, ...]]]:
    """The figures of a page: the index of each moment, its SVG, and the rectangles of its ink."""
    space, moments = geometry.space, exercise.moments
    ends: dict[int, tuple[float, float, int]] = {}
    for index, (x, y) in geometry.figures.items():
        figuring = moments[index].figuring
        if figuring.way is Way.EXTENDED:
            continue
        shapes, half = stack(figuring, HEIGHT * space, ROW * space)
        centre = geometry.moments.get(index, x) + 0.59 * space  # the middle of a black head
        ends[index] = (centre + half, y, max(1, len(figuring.figures)))
        here = [Shape(s.outline, s.x + centre, s.y + y) for s in shapes]
        yield index, "".join(shape.svg() for shape in here), tuple(shape.box for shape in here)
    for index, (_, y) in geometry.figures.items():
        if moments[index].figuring.way is Way.EXTENDED:
            lines = _extender(exercise, geometry, index, y, ends)
            drawn = (
                f'<path d="M{line.x1:.2f} {line.y1:.2f}H{line.x2:.2f}" stroke="currentColor"'
                f' stroke-width="{line.width:.2f}"/>'
                for line in lines
            )
            yield index, "".join(drawn), tuple(box_of(line, "figure") for line in lines)


def _extender(
    exercise: Exercise,
    geometry: Geometry,
    index: int,
    y: float,
    ends: dict[int, tuple[float, float, int]],
) -> tuple[Stroke, ...]:
    """The line from the figures that are held, or from the last line's end, to this note."""
    space = geometry.space
    system = geometry.system_of(index)
    start = max(system.left, min(geometry.moments[i] for i in system.moments) - space)
    rows = 1
    before = index - 1
    while before >= 0 and exercise.moments[before].figuring.way is Way.EXTENDED:
        before -= 1
    if before in ends:
        rows = ends[before][2]
    if index - 1 in system.moments:
        start = (
            ends[index - 1][0] + 0.35 * space
            if index - 1 in ends
            else geometry.moments[index - 1] + 1.18 * space
        )
    stop = geometry.moments[index] + 1.18 * space
    levels = (y - HEIGHT * space / 2 + n * ROW * space for n in range(rows))
    return tuple(Stroke(start, at, stop, at, EXTENDER * space, "print") for at in levels)
