"""One view being set: text, rules, signs and pictures, and where a click does something.

A printer's forme holds the type for one page. A view fills one at every frame; what stands in it
as before is not drawn again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from typing import Literal

import pygame

from trainer.engraving.fonts import Face
from trainer.engraving.ink import Drawing
from trainer.screen.drawing.lettering import Lettering
from trainer.screen.drawing.painter import Painted, Painter, stroke
from trainer.screen.drawing.stage import Item, filled, picture
from trainer.screen.drawing.theme import Measure, Role, Theme

Action = Callable[[], None]
Align = Literal["left", "right", "centre"]
POINTING_HAND = "☞"


@dataclass
class Type:
    """What every forme is set from: the faces, the painter, the colours, the sizes."""

    lettering: Lettering
    painter: Painter
    theme: Theme
    measure: Measure


@dataclass
class Forme:
    """Items in drawing order, and places that answer to a click, the last set first."""

    type: Type
    items: list[Item] = field(default_factory=list)
    places: list[tuple[pygame.Rect, Action]] = field(default_factory=list)

    @property
    def measure(self) -> Measure:
        return self.type.measure

    @property
    def em(self) -> float:
        return self.type.measure.em

    def text(
        self,
        words: str,
        x: float,
        baseline: float,
        *,
        face: Face = "upright",
        size: float = 1.0,
        role: Role = "ink",
        align: Align = "left",
        room: float | None = None,
        action: Action | None = None,
    ) -> pygame.Rect:
        """A line of text, `size` in ems of running text; cut with an ellipsis at `room` pixels.

        Returns the rectangle it takes.
        """
        lettering = self.type.lettering
        pixels = size * self.em
        if room is not None:
            words = lettering.cut(words, face, pixels, int(room))
        if not words:
            return pygame.Rect(int(x), int(baseline), 0, 0)
        surface = lettering.surface(words, face, pixels, self.type.theme.colour(role))
        left = x
        if align == "right":
            left = x - surface.get_width()
        elif align == "centre":
            left = x - surface.get_width() / 2
        top = baseline - lettering.ascent(face, pixels)
        item = picture(surface, round(left), round(top), (words, face, round(pixels), role))
        self.items.append(item)
        if action is not None:
            self.place(item.rect.inflate(self.em * 0.6, self.em * 0.3), action)
        return item.rect

    def width(self, words: str, *, face: Face = "upright", size: float = 1.0) -> int:
        return self.type.lettering.width(words, face, size * self.em)

    def lines(
        self,
        words: str,
        x: float,
        baseline: float,
        room: float,
        *,
        face: Face = "upright",
        size: float = 1.0,
        role: Role = "ink",
        at_most: int = 99,
        leading: float = 1.35,
    ) -> float:
        """Text in lines of at most `room` pixels; returns the baseline after the last."""
        wrapped = self.type.lettering.wrapped(words, face, size * self.em, int(room))
        for number, line in enumerate(wrapped[:at_most]):
            if number == at_most - 1 and len(wrapped) > at_most:
                line = " ".join(wrapped[number:])
            self.text(line, x, baseline, face=face, size=size, role=role, room=room)
            baseline += leading * size * self.em
        return baseline

    def rule(
        self, x1: float, y: float, x2: float, *, role: Role = "rule", thickness: int = 1
    ) -> None:
        """A level line."""
        rect = pygame.Rect(round(x1), round(y), round(x2) - round(x1), thickness)
        self.items.append(filled(rect, self.type.theme.colour(role)))

    def column(
        self, x: float, y1: float, y2: float, *, role: Role = "rule", thickness: int = 1
    ) -> None:
        """An upright line."""
        rect = pygame.Rect(round(x), round(y1), thickness, round(y2) - round(y1))
        self.items.append(filled(rect, self.type.theme.colour(role)))

    def bed(self, rect: pygame.Rect, role: Role = "wash") -> None:
        """A plain area."""
        self.items.append(filled(rect, self.type.theme.colour(role)))

    def stroke(
        self, x1: float, y1: float, x2: float, y2: float, width: float, role: Role = "ink"
    ) -> None:
        """A slanting line."""
        colour = self.type.theme.colour(role)
        key = ("stroke", x1, y1, x2, y2, width, colour)
        make = partial(stroke, x1, y1, x2, y2, width, colour)
        self.painted(self.type.painter.kept(key, make), key)

    def sign(self, code: int, x: float, y: float, space: float, role: Role = "ink") -> None:
        """A SMuFL sign with its origin at (x, y) for a staff of that space."""
        colour = self.type.theme.colour(role)
        self.painted(self.type.painter.sign(code, x, y, space, colour), (code, x, y, space, role))

    def drawn(
        self, drawings: Iterable[Drawing], key: object, offset: tuple[float, float] = (0, 0)
    ) -> None:
        """Drawings as on a page, painted afresh: for the few that differ from frame to frame."""
        painted = self.type.painter.paint(drawings, self.type.theme.inks(), offset)
        if painted is not None:
            self.painted(painted, key)

    def painted(self, painted: Painted, key: object = None) -> None:
        name = id(painted.surface) if key is None else key
        self.items.append(picture(painted.surface, painted.x, painted.y, name))

    def place(self, rect: pygame.Rect, action: Action) -> None:
        """Let a click in `rect` do something."""
        self.places.append((rect, action))

    def click(self, at: tuple[int, int]) -> bool:
        """Do what a click there does; False if it does nothing."""
        for rect, action in reversed(self.places):
            if rect.collidepoint(at):
                action()
                return True
        return False
