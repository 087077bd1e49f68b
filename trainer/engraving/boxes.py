"""What takes up room on a page: rectangles around print and ink, and whether two things touch."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from trainer.engraving.glyphs import sign, text
from trainer.engraving.ink import Drawing, Sign, Stroke, Words


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in the page's pixels, y downward; `kind` says what stands in it."""

    kind: str
    left: float
    top: float
    right: float
    bottom: float

    def wider(self, by: float) -> Box:
        """The same with `by` pixels of air on every side (less than none: cut down)."""
        return Box(self.kind, self.left - by, self.top - by, self.right + by, self.bottom + by)

    def touches(self, other: Box) -> bool:
        """Whether the two have any area in common."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


def box_of(drawing: Drawing, kind: str = "") -> Box:
    """The rectangle around all ink of a drawing."""
    match drawing:
        case Stroke(x1, y1, x2, y2, width):
            half = width / 2
            return Box(
                kind,
                min(x1, x2) - half,
                min(y1, y2) - half,
                max(x1, x2) + half,
                max(y1, y2) + half,
            )
        case Sign(code, x, y, space):
            outline = sign(code, 4 * space)
        case Words(words, x, y, size, face, _, centred):
            outline = text(words, face, size)
            x -= outline.advance / 2 if centred else 0.0
    return Box(kind, x + outline.left, y + outline.top, x + outline.right, y + outline.bottom)


def boxes_of(drawing: Drawing, kind: str = "") -> Iterator[Box]:
    """Rectangles that cover a drawing closely: a slanting stroke is cut into short pieces."""
    if not isinstance(drawing, Stroke) or drawing.x1 == drawing.x2 or drawing.y1 == drawing.y2:
        yield box_of(drawing, kind)
        return
    long = math.hypot(drawing.x2 - drawing.x1, drawing.y2 - drawing.y1)
    count = max(1, math.ceil(long / max(1.0, 3 * drawing.width)))
    across, down = (drawing.x2 - drawing.x1) / count, (drawing.y2 - drawing.y1) / count
    for n in range(count):
        x, y = drawing.x1 + n * across, drawing.y1 + n * down
        yield box_of(Stroke(x, y, x + across, y + down, drawing.width, drawing.ink), kind)


def touch(drawing: Drawing, box: Box) -> bool:
    """Whether a drawing's ink reaches into a box; of a slanting stroke the line itself is taken."""
    around = box_of(drawing)
    if not around.touches(box):
        return False
    if not isinstance(drawing, Stroke) or drawing.x1 == drawing.x2 or drawing.y1 == drawing.y2:
        return True
    return _crosses(drawing, box.wider(drawing.width / 2))


def _crosses(line: Stroke, box: Box) -> bool:
    """Whether any of a straight line lies in a box: what is left of it after each side's cut."""
    start, end = 0.0, 1.0
    along, down = line.x2 - line.x1, line.y2 - line.y1
    for rate, room in (
        (-along, line.x1 - box.left),
        (along, box.right - line.x1),
        (-down, line.y1 - box.top),
        (down, box.bottom - line.y1),
    ):
        if rate == 0 and room < 0:
            return False
        if rate < 0:
            start = max(start, room / rate)
        elif rate > 0:
            end = min(end, room / rate)
    return start < end


PASSING = "passing"  # a stroke from note to note, which passes over what stands between them
_WEIGHT = {PASSING: 0.01}
_WIDE = 64.0  # pixels of a strip in which boxes are looked up together


@dataclass
class Occupied:
    """What stands on a page by now, to find a place that is free."""

    _strips: dict[int, list[Box]] = field(default_factory=dict)

    @classmethod
    def by(cls, printed: Iterable[Box], drawings: Iterable[Drawing]) -> Occupied:
        """Taken up by print and by what has been drawn on it."""
        taken = cls()
        taken.add(printed)
        taken.draw(drawings)
        return taken

    def add(self, boxes: Iterable[Box]) -> None:
        for box in boxes:
            for strip in range(int(box.left // _WIDE), int(box.right // _WIDE) + 1):
                self._strips.setdefault(strip, []).append(box)

    def at(self, drawing: Drawing, air: float = 0.0) -> Iterator[Box]:
        """What a drawing would lie on, `air` pixels about it included."""
        around = box_of(drawing).wider(air)
        first, last = (int(x // _WIDE) for x in (around.left, around.right))
        for strip in range(first, last + 1):
            for box in self._strips.get(strip, ()):
                # most are far off, and are found so without looking closer
                if around.touches(box) and touch(drawing, box.wider(air)):
                    yield box

    def draw(self, drawings: Iterable[Drawing], kind: str = "") -> None:
        """What is drawn takes up room from now on; as a `PASSING` one it is the first to be drawn
        over where there is none."""
        for drawing in drawings:
            self.add(boxes_of(drawing, kind))

    def free(self, drawings: Iterable[Drawing], air: float = 0.0) -> bool:
        """Whether all of these could be drawn and touch nothing."""
        return not any(True for drawing in drawings for _ in self.at(drawing, air))

    def first_free(
        self, options: Iterable[tuple[Drawing, ...]], air: float = 0.0
    ) -> tuple[Drawing, ...]:
        """The first of some ways to draw that touches nothing; where all do, the least crowded.

        It takes up its room. ValueError if there is no option.
        """
        best: tuple[float, tuple[Drawing, ...]] | None = None
        for option in options:
            touched = sum(_WEIGHT.get(b.kind, 1.0) for one in option for b in self.at(one, air))
            if best is None or touched < best[0]:
                best = (touched, option)
            if touched == 0:
                break
        if best is None:
            raise ValueError("nothing to choose from")
        self.draw(best[1])
        return best[1]
