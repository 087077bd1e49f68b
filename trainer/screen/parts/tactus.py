"""The tactus: a hand that falls on the beat and rises from it, drawn as a note on a line."""

from __future__ import annotations

import math

import pygame

from trainer.engraving.fonts import Face
from trainer.screen.drawing.forme import Forme
from trainer.screen.drawing.theme import Role

_FIRST, _OTHER = 1.0, 0.62  # how high the hand rises before the first beat of a bar, and others


def height(beat: float, beats: int) -> float:
    """How high the hand is, 0 on the beat to 1, at `beat` of a bar (1.0 is the first)."""
    part = beat % 1.0
    coming = math.floor(beat) % beats + 1
    reach = _FIRST if coming == 1 else _OTHER
    left = _FIRST if math.floor(beat) == 1 else _OTHER
    top = left + (reach - left) * part  # it leaves one beat and makes ready for the next
    return top * 4 * part * (1 - part)


def set_tactus(
    forme: Forme,
    area: pygame.Rect,
    beat: float | None,
    beats: int,
    *,
    reduced: bool,
    counting_in: bool = False,
) -> None:
    """The line, the note upon it and the number of the beat below; still where there is none."""
    em = forme.em
    x = area.centerx
    foot = area.bottom - round(1.6 * em)
    forme.column(x, area.y, foot)
    half = round(0.5 * em)
    forme.rule(x - half, foot, x + half + 1, role="ink", thickness=2)
    space = max(6.0, 0.5 * em)
    if beat is None:
        place, number = 0.0, ""
    else:
        place = height(beat, beats)
        number = str(int(beat))
        if reduced:
            place = 0.0 if beat % 1.0 < 0.5 else 0.4
    y = foot - space / 2 - place * (foot - area.y - space)
    head = forme.type.painter.sign(
        0xE0A4, x - 0.59 * space, y, space, forme.type.theme.colour("ink" if beat else "soft")
    )
    forme.painted(head, ("hand", head.x, head.y, id(head.surface)))
    if number:
        role: Role = "mark" if counting_in else "ink"
        face: Face = "italic" if counting_in else "upright"
        forme.text(number, x, foot + 1.25 * em, face=face, role=role, align="centre")
