"""Draws a view so that only what has changed is touched: nothing flickers.

A view describes itself anew at every frame as a list of items, in the order they lie on one
another. Items with the same key and place as before are left alone; where one has come, gone or
changed, that piece of the window is drawn again.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field

import pygame

from trainer.screen.drawing.theme import Colour

Draw = Callable[[pygame.Surface], None]


@dataclass(frozen=True, slots=True)
class Item:
    """Something drawn within `rect`. Two items with equal key and rect look the same."""

    key: Hashable
    rect: pygame.Rect
    draw: Draw

    @property
    def identity(self) -> tuple[Hashable, int, int, int, int]:
        return (self.key, *self.rect)


def picture(surface: pygame.Surface, x: int, y: int, key: Hashable = None) -> Item:
    """An item that is a surface; without a key the surface itself is the key."""
    rect = surface.get_rect(topleft=(x, y))
    return Item(key if key is not None else id(surface), rect, lambda to: _blit(to, surface, x, y))


def filled(rect: pygame.Rect, colour: Colour) -> Item:
    """A plain area of one colour."""
    return Item(("fill", colour), rect, lambda to: _fill(to, colour, rect))


def _blit(to: pygame.Surface, surface: pygame.Surface, x: int, y: int) -> None:
    to.blit(surface, (x, y))


def _fill(to: pygame.Surface, colour: Colour, rect: pygame.Rect) -> None:
    to.fill(colour, rect)


@dataclass
class Stage:
    """The window's surface and what is on it."""

    surface: pygame.Surface
    paper: Colour
    _shown: Sequence[Item] = ()
    _identities: set[tuple[Hashable, int, int, int, int]] = field(default_factory=set)
    _blank: bool = True

    def clear(self) -> None:
        """Forget what was shown: the next scene is drawn whole."""
        self._blank = True

    def show(self, scene: Sequence[Item]) -> list[pygame.Rect]:
        """Draw what differs from the scene before; the rectangles that were touched."""
        identities = {item.identity for item in scene}
        if self._blank:
            touched = [self.surface.get_rect()]
        else:
            gone = [item.rect for item in self._shown if item.identity not in identities]
            come = [item.rect for item in scene if item.identity not in self._identities]
            touched = _merged([*gone, *come])
        self._shown, self._identities, self._blank = scene, identities, False
        whole = self.surface.get_rect()
        for rect in touched:
            area = rect.clip(whole)
            if not area:
                continue
            self.surface.set_clip(area)
            self.surface.fill(self.paper, area)
            for item in scene:
                if item.rect.colliderect(area):
                    item.draw(self.surface)
        self.surface.set_clip(None)
        return touched


def _merged(rects: list[pygame.Rect]) -> list[pygame.Rect]:
    """Rectangles that overlap become one, so that nothing is drawn twice."""
    merged: list[pygame.Rect] = []
    for rect in rects:
        if not rect:
            continue
        joined = rect.copy()
        again = True
        while again:
            again = False
            for index, other in enumerate(merged):
                if joined.colliderect(other):
                    joined.union_ip(merged.pop(index))
                    again = True
                    break
        merged.append(joined)
    return merged
