"""The mark over the moment that is played: it glides, and jumps only where that is wished."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import pygame

from trainer.practice.session import Session
from trainer.screen.drawing.forme import Forme
from trainer.screen.drawing.stage import Item, picture
from trainer.screen.drawing.theme import Colour
from trainer.screen.sheet.board import Board

GLIDE = 0.16  # seconds from moment to moment when nothing is timed


@dataclass
class MomentMark:
    """Drawn over a board; remembers where it is gliding from."""

    board: Board
    _glide: tuple[float, float, float, int] | None = None  # from x, to x, since, moment
    _hair: dict[tuple[int, int, Colour], pygame.Surface] = field(default_factory=dict)

    def forget(self) -> None:
        """Begin anew: the next place is not glided to."""
        self._glide = None

    def set(self, forme: Forme, session: Session, now: float, *, reduced: bool) -> None:
        """A hairline through the system, a little triangle above it."""
        at = session.current
        spot = self.board.spot(at, at)
        if spot is None:
            return
        _, top, geometry = spot
        system = geometry.systems[0]
        x = self.x(session, now, reduced=reduced) + 0.59 * system.space
        y1 = top + max(0.0, system.top - 1.9 * system.space)
        y2 = top + system.bottom
        tip = round(0.75 * system.space)
        colour = forme.type.theme.mark
        hair = self._hairline(math.floor(y2 - y1 - tip), int((x % 1) * 4), colour)
        left = math.floor(x) - 1
        forme.items.append(picture(hair, left, round(y1 + tip), ("hair", id(hair))))
        forme.items.append(_pennant(x, y1, tip, colour))

    def x(self, session: Session, now: float, *, reduced: bool) -> float:
        """Where the mark is on its way; ValueError if the moment is not in sight."""
        at = session.current
        spot = self.board.spot(at, at)
        if spot is None:
            raise ValueError(f"moment {at} is not in sight")
        x = spot[0]
        if reduced or session.stage != "playing":
            return x
        if session.task.line is not None:
            return self._between(session, session.position(now), x)
        if self._glide is None or self._glide[3] != at:
            same = self._glide is not None and self.board.system_of(
                self._glide[3]
            ) == self.board.system_of(at)
            begin = self._glide[1] if self._glide is not None and same else x
            self._glide = (begin, x, now, at)
        start, end, since, _ = self._glide
        part = min(1.0, max(0.0, (now - since) / GLIDE))
        return start + (end - start) * part * part * (3 - 2 * part)

    def _between(self, session: Session, position: float, x: float) -> float:
        """Between two moments of a system, moving evenly with time."""
        at = session.current
        moment = session.exercise.moments[at]
        part = (position - float(moment.onset)) / float(moment.duration)
        part = min(1.0, max(0.0, part))
        following = self.board.spot(at + 1, at) if at < session.task.last else None
        here = self.board.system_of(at)
        geometry = self.board.systems[here]
        if following is not None and self.board.system_of(at + 1) == here:
            return x + part * (following[0] - x)
        end = self.board.area.x + geometry.systems[0].right - 1.5 * geometry.space
        return x + part * max(0.0, min(end - x, 6 * geometry.space))

    def _hairline(self, height: int, quarter: int, colour: Colour) -> pygame.Surface:
        """An upright line a pixel and a half wide, at a quarter of a pixel."""
        key = (height, quarter, colour)
        found = self._hair.get(key)
        if found is None:
            if len(self._hair) > 64:
                self._hair.clear()
            found = pygame.Surface((4, max(1, height)), pygame.SRCALPHA)
            left = 0.25 + quarter / 4
            for column in range(4):
                cover = max(0.0, min(column + 1, left + 1.5) - max(column, left))
                found.fill((*colour, round(255 * min(1.0, cover))), (column, 0, 1, height))
            self._hair[key] = found
        return found


def _pennant(x: float, y: float, size: int, colour: Colour) -> Item:
    """The little triangle that hangs over the moment."""
    rect = pygame.Rect(math.floor(x - size) - 1, math.floor(y), 2 * size + 3, size + 1)

    def draw(to: pygame.Surface) -> None:
        fine = 4
        sheet = pygame.Surface((rect.width * fine, rect.height * fine), pygame.SRCALPHA)
        sheet.fill((*colour, 0))
        centre = (x - rect.x) * fine
        pygame.draw.polygon(
            sheet,
            colour,
            [
                (centre - 0.8 * size * fine, 0),
                (centre + 0.8 * size * fine, 0),
                (centre, size * fine),
            ],
        )
        to.blit(pygame.transform.smoothscale(sheet, rect.size), rect)

    return Item(("pennant", round(x * 4), colour), rect, draw)
