"""Accidentals before the notes that are written into a page, each in the first free column."""

from __future__ import annotations

from collections.abc import Sequence

from trainer.engraving.boxes import Box, box_of
from trainer.engraving.ink import Drawing, Ink, Sign
from trainer.engraving.surroundings import Surroundings, area_on

_SIGNS = {-3: 0xE266, -2: 0xE264, -1: 0xE260, 0: 0xE261, 1: 0xE262, 2: 0xE263, 3: 0xE265}
_GAP, _STEP = 0.12, 0.1  # staff spaces: before the head, and from try to try
_FURTHEST = 4.0
_AIR = 0.004


def accidentals_before(
    wanted: Sequence[tuple[int, float, float, Ink]], heads: Sequence[Box], about: Surroundings
) -> list[Drawing]:
    """One sign for each of `wanted` (alteration, left edge and middle of its head, ink), from the
    highest down.

    `heads` are all that are written of this chord. No sign lies on what is printed about it, on a
    head of the chord, on another sign, or on what was written at the moment before, where there is
    room.
    """
    space = about.space
    taken = [*about.standing(), *heads]
    found: list[Drawing] = []
    for alter, head, y, ink in wanted:
        right = box_of(Sign(_SIGNS[alter], 0.0, y, space, ink)).right
        tries = [
            Sign(_SIGNS[alter], head - right - (_GAP + n * _STEP) * space, y, space, ink)
            for n in range(round(_FURTHEST / _STEP))
        ]
        tries = [tries[0], *(sign for sign in tries[1:] if sign.x > about.wall)]
        # where a clef or a barline leaves no room at all, what covers least of it
        placed = min(tries, key=lambda sign: area_on(box_of(sign).wider(_AIR * space), taken))
        taken.append(box_of(placed))
        found.append(placed)
    return found
