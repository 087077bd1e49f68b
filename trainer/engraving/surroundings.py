"""What stands about one moment of a page before it is written, and how much would be covered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from trainer.engraving.boxes import Box, box_of
from trainer.engraving.geometry import Geometry
from trainer.engraving.ink import Drawing, Sign, Stroke

HEADS = (0xE0A0, 0xE0A2, 0xE0A3, 0xE0A4)
_NEAR = 8.0  # staff spaces to either side
_FINE = 0.03  # staff spaces: two things that only meet do not cover each other
_CLEAR = 0.15  # staff spaces between a barline and what follows it
_SHARED = ("stem", "tie", "fermata", "beam")  # may be met by a head that belongs to its place
_EVERYWHERE = 1e6


@dataclass(frozen=True, slots=True)
class Surroundings:
    """`left` is the column of the moment, `space` that of its staff, all in pixels.

    `bar` is where the last barline before it ends. `printed` is the print near it, ledger lines
    left out; `earlier` what was written at the moment before, if that is in the same system, and
    `beside` what was written at this one.
    """

    left: float
    space: float
    bar: float
    printed: tuple[Box, ...]
    earlier: tuple[Drawing, ...]
    beside: tuple[Drawing, ...] = ()

    @property
    def wall(self) -> float:
        """Where the barline or the notes before end: a sign beyond would belong to them."""
        heads = (box_of(drawing).right for drawing in self.earlier if is_head(drawing))
        return max([self.bar, *heads])

    def standing(self) -> list[Box]:
        """All that a sign must keep clear of."""
        written = (*self.earlier, *self.beside)
        return [*self.printed, *(box_of(drawing) for drawing in written if not _level(drawing))]

    def covered(
        self, heads: Iterable[Box], dots: Sequence[Drawing], signs: Sequence[Drawing]
    ) -> float:
        """How much of what stands here, and of each other, these would cover, in square pixels.

        A head over the given note is none of it: which may stand there is for the columns to say.
        """
        fine = self.space * _FINE
        heads, dotted = [*heads], [*map(box_of, dots)]
        standing = self.standing()
        in_bar = self._beyond(self.bar)
        total = 0.0
        for head in heads:
            about = (b for b in standing if b.kind not in _SHARED and not self._given(b, head))
            total += area_on(head.wider(-fine), (in_bar, *about), fine)
        for dot in dotted:
            total += area_on(dot, (*standing, *heads), fine)
        wall = self._beyond(self.wall)
        placed = [*map(box_of, signs)]
        for number, sign in enumerate(placed):
            others = (wall, *standing, *heads, *dotted, *placed[:number])
            total += area_on(sign.wider(-fine), others, fine)
        return total

    def _beyond(self, x: float) -> Box:
        """Where nothing of this moment may stand, a thin line's breadth of air included."""
        return Box("wall", -_EVERYWHERE, -_EVERYWHERE, x + _CLEAR * self.space, _EVERYWHERE)

    def _given(self, box: Box, head: Box) -> bool:
        """Whether a box is the given note over which a head stands."""
        near = self.space / 20
        return (
            box.kind == "head"
            and abs(box.left - self.left) < near
            and abs(head.left - self.left) < near
        )


def surroundings(
    geometry: Geometry, moment: int, earlier: Sequence[Drawing], beside: Sequence[Drawing] = ()
) -> Surroundings:
    """Of a moment on this page; `earlier` is what was written at the one before, `beside` what was
    written there. KeyError if the moment is not on this page."""
    system = geometry.system_of(moment)
    left, space = geometry.moments[moment], system.space
    bars = (
        box.right
        for box in geometry.printed
        if box.kind == "barline"
        and box.left < left
        and box.top < system.bass + 4 * space
        and box.bottom > system.treble
    )
    near = Box("", left - _NEAR * space, -_EVERYWHERE, left + _NEAR * space, _EVERYWHERE)
    return Surroundings(
        left,
        space,
        max(bars, default=0.0),
        tuple(box for box in geometry.printed if box.kind != "ledger" and box.touches(near)),
        tuple(earlier) if moment - 1 in system.moments else (),
        tuple(beside),
    )


def area_on(box: Box, others: Iterable[Box], fine: float = 0.0) -> float:
    """How many square pixels of other things lie in a box, each cut down by `fine` pixels."""
    return sum(
        (min(box.right, cut.right) - max(box.left, cut.left))
        * (min(box.bottom, cut.bottom) - max(box.top, cut.top))
        for cut in (other.wider(-fine) for other in others if other.touches(box))
        if cut.touches(box)
    )


def is_head(drawing: Drawing) -> bool:
    return isinstance(drawing, Sign) and drawing.code in HEADS


def _level(drawing: Drawing) -> bool:
    return isinstance(drawing, Stroke) and drawing.y1 == drawing.y2
