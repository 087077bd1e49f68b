"""The tactus: a hand that falls on the beat and rises from it, drawn as a note on a line, and the
ground it strikes, the lower edge of the window, to be followed while one looks at the keys.

The ground turns dark at once and light again slowly, never more often than `OFTENEST` times a
second: in a quick tempo only the first beat of a bar strikes it, and none where bars are as quick.
"""

from __future__ import annotations

import math

import pygame

from trainer.screen.drawing.forme import Forme
from trainer.screen.drawing.stage import filled
from trainer.screen.drawing.theme import Role

_HEAD_WIDTH = 1.18  # of a black note-head, in spaces (SMuFL metadata of Bravura, noteheadBlack)
_FIRST, _OTHER = 1.0, 0.62  # how high the hand rises before the first beat of a bar, and others
OFTENEST = 2.5  # strokes a second; more than three flashes a second may harm (WCAG 2.2, 2.3.1)


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
    """The line, the note that falls upon it and the number of the beat below; still where there
    is none. All of it is as wide as `area`, to be followed from the corner of the eye: where the
    note strikes, the line is struck broad and thins out until the next beat."""
    size = _number_size(forme, area)
    x = area.centerx
    foot = area.bottom - round(1.2 * size)
    forme.column(x, area.y, foot, thickness=max(1, round(area.width / 30)))
    space = max(6.0, 0.75 * area.width / _HEAD_WIDTH)
    struck = 0.0 if beat is None else max(0.0, 1.0 - 2.0 * (beat % 1.0))
    role = _role(counting_in)
    thickness = max(2, round((0.05 + 0.3 * struck * struck) * area.width))
    forme.items.append(
        filled(
            pygame.Rect(area.x, foot, area.width, thickness),
            forme.type.theme.colour(role),
        )
    )
    place, number = 0.0, ""
    if beat is not None:
        place, number = height(beat, beats), str(int(beat))
        if reduced:
            place = 0.0 if beat % 1.0 < 0.5 else 0.4
    y = foot - space / 2 - place * (foot - area.y - space)
    colour = forme.type.theme.colour("ink" if beat else "soft")
    left = x - 0.5 * _HEAD_WIDTH * space
    head = forme.type.painter.sign(0xE0A4, left, y, space, colour)
    forme.painted(head, ("hand", head.x, head.y, colour, round(space)))
    if number:
        baseline = foot + 1.05 * size
        forme.text(number, x, baseline, size=size / forme.em, role=role, align="centre")


def stroke(beat: float, beats: int, seconds: float, *, reduced: bool) -> float:
    """How much of the ground is dark, 0 to 1, at `beat` of a bar of `beats` (1.0 is the first), a
    beat lasting `seconds`. `reduced` knows only two states and half the height."""
    number, part = math.floor(beat), beat % 1.0
    if 1 / seconds > OFTENEST and (number != 1 or 1 / (beats * seconds) > OFTENEST):
        return 0.0
    if reduced:
        return 0.5 if part < 0.5 else 0.0
    return max(0.0, 1.0 - 2.0 * part)


def set_ground(
    forme: Forme,
    area: pygame.Rect,
    beat: float,
    beats: int,
    seconds: float,
    *,
    reduced: bool,
    counting_in: bool,
) -> None:
    """The ground at a beat: the first of a bar strikes all of its width, the others the middle."""
    high = round(stroke(beat, beats, seconds, reduced=reduced) * area.height)
    if not high:
        return
    wide = area.width if math.floor(beat) == 1 else round(0.5 * area.width)
    struck = pygame.Rect(area.centerx - wide // 2, area.bottom - high, wide, high)
    forme.items.append(filled(struck, forme.type.theme.colour(_role(counting_in))))


def set_count(forme: Forme, area: pygame.Rect, beat: float) -> None:
    """The number of a beat that is counted in, as large as `area` has room for."""
    number = str(int(beat))
    room = forme.width(number) / forme.em
    size = min(area.height, 0.95 * area.width / room)
    forme.text(
        number,
        area.centerx,
        area.bottom - 0.12 * size,
        size=size / forme.em,
        role=_role(counting_in=True),
        align="centre",
    )


def _role(counting_in: bool) -> Role:
    return "mark" if counting_in else "ink"


def _number_size(forme: Forme, area: pygame.Rect) -> float:
    """Pixels: as large as two digits find room for."""
    room = forme.width("12") / forme.em
    return min(area.width / room, 3.0 * forme.em)
