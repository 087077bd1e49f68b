"""Accidentals before the notes that are written into a page, each in the first free column."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from trainer.engraving.boxes import Box, box_of
from trainer.engraving.ink import Drawing, Ink, Sign, Stroke

_SIGNS = {-3: 0xE266, -2: 0xE264, -1: 0xE260, 0: 0xE261, 1: 0xE262, 2: 0xE263, 3: 0xE265}
_HEADS = (0xE0A0, 0xE0A2, 0xE0A3, 0xE0A4)
_GAP, _STEP = 0.12, 0.1  # staff spaces: before the head, and from try to try
_FURTHEST = 4.0
_AIR = 0.004


def accidentals_before(
    wanted: Sequence[tuple[int, float, float, Ink]],
    *,
    heads: Sequence[tuple[float, float, float]],
    left: float,
    space: float,
    printed: Sequence[Box],
    earlier: Sequence[Drawing],
) -> list[Drawing]:
    """One sign for each of `wanted` (alteration, left edge and middle of its head, ink), from the
    highest down.

    `heads` (left edge, middle, width) are all of this chord; `left` is its column, `space` that of
    the staff. No sign lies on what is printed about it, on a head of the chord, on another sign, or
    on what was written at the moment before, where there is room.
    """
    # a sign beyond a barline would belong to the bar before, one beyond the heads of the moment
    # before to those
    walls = [box.right for box in printed if box.kind == "barline" and box.right < left + space]
    walls += [box_of(drawing).right for drawing in earlier if _is_head(drawing)]
    wall = max(walls, default=0.0)
    taken = [
        box
        for box in printed
        if box.kind != "ledger"
        and left - _FURTHEST * space < box.right
        and box.left < left + 3 * space
    ]
    taken += [Box("head", x, y - space / 2, x + width, y + space / 2) for x, y, width in heads]
    taken += [box_of(drawing) for drawing in earlier if not _level(drawing)]
    found: list[Drawing] = []
    for alter, head, y, ink in wanted:
        right = box_of(Sign(_SIGNS[alter], 0.0, y, space, ink)).right
        tries = [
            Sign(_SIGNS[alter], head - right - (_GAP + n * _STEP) * space, y, space, ink)
            for n in range(round(_FURTHEST / _STEP))
        ]
        tries = [tries[0], *(sign for sign in tries[1:] if sign.x > wall)]
        # where a clef or a barline leaves no room at all, what covers least of it
        placed = min(tries, key=lambda sign: _covered(box_of(sign).wider(_AIR * space), taken))
        taken.append(box_of(placed))
        found.append(placed)
    return found


def _covered(sign: Box, taken: Iterable[Box]) -> float:
    """How many square pixels of other things lie in a box."""
    return sum(
        (min(sign.right, box.right) - max(sign.left, box.left))
        * (min(sign.bottom, box.bottom) - max(sign.top, box.top))
        for box in taken
        if sign.touches(box)
    )


def _is_head(drawing: Drawing) -> bool:
    return isinstance(drawing, Sign) and drawing.code in _HEADS


def _level(drawing: Drawing) -> bool:
    return isinstance(drawing, Stroke) and drawing.y1 == drawing.y2
