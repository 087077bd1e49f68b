"""Drawings of `trainer.engraving.ink` as small surfaces with soft edges at quarter pixels.

The engraved page is drawn at exact places; what is added to it must meet it exactly, so signs and
strokes are drawn four times too large and scaled down.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field

import pygame

from trainer.engraving.ink import Drawing, Ink, Sign, Stroke, Words
from trainer.screen.drawing.kept import Kept
from trainer.screen.drawing.lettering import Lettering, bytes_of
from trainer.screen.drawing.theme import Colour

_FINE = 4  # sub-pixels a pixel
_KEPT = 16 << 20  # bytes of surfaces, and as many of signs


@dataclass(frozen=True, slots=True)
class Painted:
    """A surface and where its top left corner stands."""

    surface: pygame.Surface
    x: int
    y: int

    @property
    def rect(self) -> pygame.Rect:
        return self.surface.get_rect(topleft=(self.x, self.y))


@dataclass
class Painter:
    """Turns drawings into surfaces; keeps the signs it has drawn."""

    lettering: Lettering
    _kept: Kept[Painted] = field(default_factory=lambda: Kept(_KEPT, _bytes))
    _signs: Kept[Painted] = field(default_factory=lambda: Kept(_KEPT, _bytes))

    def paint(
        self,
        drawings: Iterable[Drawing],
        inks: Mapping[Ink, Colour],
        offset: tuple[float, float] = (0, 0),
    ) -> Painted | None:
        """All drawings on one surface, moved by `offset`; None if there are none."""
        parts = [self._part(d, inks[d.ink], offset) for d in drawings]
        if not parts:
            return None
        area = parts[0].rect.unionall([part.rect for part in parts[1:]])
        surface = pygame.Surface(area.size, pygame.SRCALPHA)
        for part in parts:
            surface.blit(part.surface, (part.x - area.x, part.y - area.y))
        return Painted(surface, area.x, area.y)

    def kept(self, key: Hashable, make: Callable[[], Painted]) -> Painted:
        """What was painted under a key before, else what `make` paints."""
        return self._kept.find(key, make)

    def _part(self, drawing: Drawing, colour: Colour, offset: tuple[float, float]) -> Painted:
        dx, dy = offset
        match drawing:
            case Sign(code, x, y, space):
                return self.sign(code, x + dx, y + dy, space, colour)
            case Stroke(x1, y1, x2, y2, width):
                return stroke(x1 + dx, y1 + dy, x2 + dx, y2 + dy, width, colour)
            case Words(text, x, y, size, face, _, centred):
                surface = self.lettering.surface(text, face, size, colour)
                left = x - surface.get_width() / 2 if centred else x
                top = y - self.lettering.ascent(face, size)
                return Painted(surface, round(left + dx), round(top + dy))

    def sign(self, code: int, x: float, y: float, space: float, colour: Colour) -> Painted:
        """A SMuFL sign with its origin at (x, y)."""
        whole_x, whole_y = math.floor(x), math.floor(y)
        fine = (round((x - whole_x) * _FINE), round((y - whole_y) * _FINE))
        key = (code, round(space, 2), *fine, colour)
        kept = self._signs.find(key, lambda: self._drawn(code, fine, space, colour))
        return Painted(kept.surface, kept.x + whole_x, kept.y + whole_y)

    def _drawn(self, code: int, fine: tuple[int, int], space: float, colour: Colour) -> Painted:
        font = self.lettering.font("music", 4 * space * _FINE)
        large = font.render(chr(code), True, colour)
        ink = large.get_bounding_rect()
        metrics = font.metrics(chr(code))[0]
        bearing = min(0, metrics[0]) if metrics is not None else 0
        left = ink.x + bearing + fine[0]
        top = ink.y - font.get_ascent() + fine[1]
        x, y = math.floor(left / _FINE), math.floor(top / _FINE)
        width = math.ceil((left + ink.width) / _FINE) - x
        height = math.ceil((top + ink.height) / _FINE) - y
        sheet = _sheet(width, height, colour)
        sheet.blit(large, (left - x * _FINE, top - y * _FINE), ink)
        return Painted(pygame.transform.smoothscale(sheet, (width, height)), x, y)


def _bytes(painted: Painted) -> int:
    return bytes_of(painted.surface)


def stroke(x1: float, y1: float, x2: float, y2: float, width: float, colour: Colour) -> Painted:
    """A straight line; upright and level ones end bluntly, slanting ones are round."""
    half = max(width, 1.0) / 2
    left, top = math.floor(min(x1, x2) - half - 1), math.floor(min(y1, y2) - half - 1)
    wide = math.ceil(max(x1, x2) + half + 1) - left
    high = math.ceil(max(y1, y2) + half + 1) - top
    sheet = _sheet(wide, high, colour)

    def at(x: float, y: float) -> tuple[float, float]:
        return (x - left) * _FINE, (y - top) * _FINE

    length = math.hypot(x2 - x1, y2 - y1) or 1.0
    nx, ny = (y1 - y2) / length * half, (x2 - x1) / length * half
    corners = [
        at(x1 + nx, y1 + ny),
        at(x2 + nx, y2 + ny),
        at(x2 - nx, y2 - ny),
        at(x1 - nx, y1 - ny),
    ]
    pygame.draw.polygon(sheet, colour, corners)
    if x1 != x2 and y1 != y2:
        for end in (at(x1, y1), at(x2, y2)):
            pygame.draw.circle(sheet, colour, end, half * _FINE)
    return Painted(pygame.transform.smoothscale(sheet, (wide, high)), left, top)


def _sheet(width: int, height: int, colour: Colour) -> pygame.Surface:
    sheet = pygame.Surface((max(1, width) * _FINE, max(1, height) * _FINE), pygame.SRCALPHA)
    sheet.fill((*colour, 0))
    return sheet
