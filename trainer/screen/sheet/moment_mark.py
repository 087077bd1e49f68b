"""The mark over the moment that is played: it glides, and jumps only where that is wished."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pygame

from trainer.practice.session import Session
from trainer.screen.drawing.forme import Forme
from trainer.screen.drawing.stage import Item
from trainer.screen.drawing.theme import Colour
from trainer.screen.sheet.board import Board

GLIDE = 0.16  # seconds from moment to moment when nothing is timed


@dataclass
class MomentMark:
    """Drawn over a board; remembers where it is gliding from."""

    board: Board
    _glide: tuple[float, float, float, int] | None = None  # from x, to x, since, moment

    def forget(self) -> None:
        """Begin anew: the next place is not glided to."""
        self._glide = None

    def set(self, forme: Forme, session: Session, now: float, *, reduced: bool) -> None:
        """A pennant above the system and one below its figures, pointing at each other: what they
        point at stays free, and they are seen from the corner of the eye."""
        at = session.current
        spot = self.board.spot(at, at)
        if spot is None:
            return
        _, top, geometry = spot
        system = geometry.systems[0]
        x = self.x(session, now, reduced=reduced) + 0.59 * system.space
        tip = round(max(1.25 * system.space, 0.55 * forme.em))
        above = top + max(0.0, system.top - 0.5 * system.space - tip)
        below = top + system.bottom + 0.2 * system.space
        colour = forme.type.theme.mark
        forme.items.append(_pennant(x, above, tip, colour, down=True))
        forme.items.append(_pennant(x, below, tip, colour, down=False))

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


def _pennant(x: float, y: float, size: int, colour: Colour, *, down: bool) -> Item:
    """The little triangle whose point is at x, its upper edge at y."""
    rect = pygame.Rect(math.floor(x - size) - 1, math.floor(y), 2 * size + 3, size + 1)

    def draw(to: pygame.Surface) -> None:
        fine = 4
        sheet = pygame.Surface((rect.width * fine, rect.height * fine), pygame.SRCALPHA)
        sheet.fill((*colour, 0))
        centre = (x - rect.x) * fine
        base, point = (0, size * fine) if down else (size * fine, 0)
        corners = [
            (centre - 0.8 * size * fine, base),
            (centre + 0.8 * size * fine, base),
            (centre, point),
        ]
        pygame.draw.polygon(sheet, colour, corners)
        to.blit(pygame.transform.smoothscale(sheet, rect.size), rect)

    return Item(("pennant", round(x * 4), colour, down), rect, draw)
