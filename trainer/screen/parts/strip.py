"""The strip of keys at the foot of the page: which are down, and what their letters are."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import pygame

from trainer.engraving.ink import Stroke
from trainer.screen.drawing.forme import Forme, Type
from trainer.screen.drawing.painter import Painted
from trainer.screen.drawing.stage import Item
from trainer.screen.drawing.theme import Role

_WHITE = (0, 2, 4, 5, 7, 9, 11)
_LETTERS = "cdefgab"


@dataclass(frozen=True, slots=True)
class Strip:
    """Keys from `lowest` to `highest`, both white."""

    rect: pygame.Rect
    lowest: int = 36
    highest: int = 84

    @property
    def whites(self) -> tuple[int, ...]:
        return _whites(self.lowest, self.highest)

    def key_rect(self, key: int) -> pygame.Rect:
        """Where a key is."""
        whites = self.whites
        width = self.rect.width / len(whites)
        if key % 12 in _WHITE:
            n = whites.index(key)
            left = round(n * width)
            return pygame.Rect(
                self.rect.x + left, self.rect.y, round((n + 1) * width) - left, self.rect.height
            )
        n = whites.index(key - 1)
        wide = round(0.58 * width)
        left = round(self.rect.x + (n + 1) * width - wide / 2)
        return pygame.Rect(left, self.rect.y, wide, round(0.58 * self.rect.height))

    def key_at(self, position: tuple[int, int]) -> int | None:
        """The key under the mouse."""
        if not self.rect.collidepoint(position):
            return None
        blacks = [k for k in range(self.lowest, self.highest) if k % 12 not in _WHITE]
        for key in blacks:
            if self.key_rect(key).collidepoint(position):
                return key
        return next((k for k in self.whites if self.key_rect(k).collidepoint(position)), None)


@lru_cache(maxsize=64)
def _whites(lowest: int, highest: int) -> tuple[int, ...]:
    return tuple(k for k in range(lowest, highest + 1) if k % 12 in _WHITE)


def strip_for(rect: pygame.Rect, lowest: int, highest: int) -> Strip:
    """A strip that holds at least the 49 keys from c2 to c6."""
    low, high = min(36, lowest - lowest % 12), max(84, highest + (-highest) % 12)
    return Strip(rect, max(0, low), min(120, high))


def set_strip(
    forme: Forme, strip: Strip, down: Mapping[int, Role], press: Callable[[int], None] | None
) -> None:
    """The strip with the keys in `down` marked: a foreign one (`mark`) is struck through too."""
    states = tuple(sorted((key, role) for key, role in down.items()))
    kind = forme.type
    states = tuple(s for s in states if strip.lowest <= s[0] <= strip.highest)
    name = ("strip", kind.theme.ground, strip.lowest, strip.highest, *strip.rect, kind.measure.em)
    forme.painted(kind.painter.kept(name, lambda: _plain(kind, strip)), name)
    for key, role in states:
        rect = strip.key_rect(key)
        forme.items.append(Item(("key", key, role), rect, _pressed(kind, strip, key, role)))
    if press is not None:
        forme.place(strip.rect, lambda: press(-1))


def _plain(kind: Type, strip: Strip) -> Painted:
    """The strip with no key down, drawn once."""
    surface = pygame.Surface(strip.rect.size)
    _draw(surface, kind, replace(strip, rect=surface.get_rect()))
    return Painted(surface, strip.rect.x, strip.rect.y)


def _draw(to: pygame.Surface, kind: Type, strip: Strip) -> None:
    theme = kind.theme
    paper, ink = theme.paper, theme.ink
    to.fill(paper, strip.rect)
    size = min(0.62 * kind.measure.em, 0.5 * strip.rect.width / len(strip.whites))
    for key in strip.whites:
        rect = strip.key_rect(key)
        to.fill(theme.rule, pygame.Rect(rect.right - 1, rect.y, 1, rect.height))
        _letter(to, kind, rect, key, size, theme.soft)
    for key in range(strip.lowest, strip.highest):
        if key % 12 not in _WHITE:
            to.fill(ink if theme.ground == "light" else theme.rule, strip.key_rect(key))
    pygame.draw.rect(to, theme.soft, strip.rect, 1)


def _letter(
    to: pygame.Surface,
    kind: Type,
    rect: pygame.Rect,
    key: int,
    size: float,
    colour: tuple[int, int, int],
) -> None:
    if size < 7:
        return
    letter = _LETTERS[_WHITE.index(key % 12)]
    if letter == "c":
        letter += str(key // 12 - 1)
    text = kind.lettering.surface(letter, "italic", size, colour)
    top = rect.bottom - round(0.98 * text.get_height()) - 2
    to.blit(text, (rect.centerx - text.get_width() // 2, top))


def _pressed(kind: Type, strip: Strip, key: int, role: Role) -> Callable[[pygame.Surface], None]:
    def draw(to: pygame.Surface) -> None:
        theme = kind.theme
        rect = strip.key_rect(key)
        colour = theme.colour(role)
        bed = rect.inflate(-4, -4) if key % 12 in _WHITE else rect.inflate(-2, -2)
        if key % 12 in _WHITE:
            bed = pygame.Rect(
                bed.x,
                rect.y + round(0.6 * rect.height),
                bed.width,
                rect.bottom - 3 - (rect.y + round(0.6 * rect.height)),
            )
        to.fill(theme.paper, bed.inflate(2, 2))
        to.fill(colour, bed)
        if key % 12 in _WHITE:
            size = min(0.62 * kind.measure.em, 0.5 * strip.rect.width / len(strip.whites))
            _letter(to, kind, rect, key, size, theme.paper)
        else:  # a black key that is down must not look like one that is not
            radius = max(2, round(0.16 * rect.width))
            centre = (rect.centerx, rect.bottom - 3 * radius)
            pygame.draw.circle(to, theme.paper, centre, radius)
        if role == "mark":
            slash = Stroke(
                bed.x + 2,
                bed.bottom - 3,
                bed.right - 2,
                bed.y + 3,
                max(1.5, bed.height / 12),
                "print",
            )
            painted = kind.painter.paint([slash], {"print": theme.paper})
            if painted is not None:
                to.blit(painted.surface, (painted.x, painted.y))

    return draw
