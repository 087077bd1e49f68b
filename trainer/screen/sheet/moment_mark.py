"""The mark over the moment that is played: it glides, and jumps only where that is wished."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pygame

from trainer.practice.session import Session
from trainer.screen.drawing.forme import Forme
from trainer.screen.drawing.painter import Painted
from trainer.screen.drawing.theme import Colour
from trainer.screen.sheet.board import Board

GLIDE = 0.16  # seconds from moment to moment when nothing is timed
SIZE = 0.035  # of the window's height: how high a pennant is where there is room for it
_FINE = 4  # sub-pixels a pixel


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
        spot, free = self.board.spot(at, at), self.board.free_around(at)
        if spot is None or free is None:
            return
        space = spot[2].space
        x = self.x(session, now, reduced=reduced) + 0.59 * space
        wished = max(2 * space, SIZE * forme.measure.height)
        colour = forme.type.theme.mark
        ceiling, ink_top, ink_bottom, floor = free
        above = round(min(wished, ink_top - ceiling - 0.5 * space))
        below = round(min(wished, floor - ink_bottom - 0.2 * space))
        if above > 0:
            _pennant(forme, x, ink_top - 0.5 * space - above, above, colour, down=True)
        if below > 0:
            _pennant(forme, x, ink_bottom + 0.2 * space, below, colour, down=False)

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


def _pennant(forme: Forme, x: float, y: float, size: int, colour: Colour, *, down: bool) -> None:
    """The little triangle whose point is at x to a quarter of a pixel, its upper edge at y."""
    left, top = math.floor(x - 0.8 * size) - 1, math.floor(y)
    part = round((x - math.floor(x)) * _FINE)
    centre = (math.floor(x) - left) * _FINE + part
    key = ("pennant", size, part, centre, colour, down)

    def draw() -> Painted:
        high, wide = size * _FINE, 0.8 * size * _FINE
        sheet = pygame.Surface((2 * centre + 2 * _FINE, high), pygame.SRCALPHA)
        sheet.fill((*colour, 0))
        base, point = (0, high) if down else (high, 0)
        corners = [(centre - wide, base), (centre + wide, base), (centre, point)]
        pygame.draw.polygon(sheet, colour, corners)
        size_now = (sheet.get_width() // _FINE, size)
        return Painted(pygame.transform.smoothscale(sheet, size_now), 0, 0)

    kept = forme.type.painter.kept(key, draw)
    forme.painted(Painted(kept.surface, left, top), key)
