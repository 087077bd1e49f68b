"""The first page: what one can do here, as the contents of a book."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pygame

from trainer.screen.drawing.forme import Forme
from trainer.screen.parts.widgets import Do, Rows, foot_of, set_actions
from trainer.screen.room import Keys, Room


@dataclass(frozen=True, slots=True)
class Door:
    """The letter that opens it, its name, a line on what is behind it, and the opening."""

    letter: str
    name: str
    words: str
    open: Callable[[], None]


class FrontView:
    """A title and a few doors; each says in a line what is behind it."""

    lively = False

    def __init__(self, room: Room, doors: Callable[[], tuple[Door, ...]]) -> None:
        self.room = room
        self._doors = doors
        self._rows = Rows()

    def step(self, now: float) -> None:
        return

    def close(self) -> None:
        return

    def key(self, event: pygame.event.Event) -> bool:
        if self._rows.key(event):
            return True
        if event.type != pygame.KEYDOWN:
            return False
        doors = self._doors()
        if event.key in (pygame.K_RETURN, pygame.K_SPACE, pygame.K_KP_ENTER):
            self._open(self._rows.chosen)
        elif event.key in (pygame.K_ESCAPE, pygame.K_q):
            self.room.back()
        else:
            for number, door in enumerate(doors):
                if event.unicode.lower() == door.letter:
                    self._rows.choose(number)
                    self._open(number)
                    return True
            return False
        return True

    def _open(self, row: int) -> None:
        self._doors()[row].open()

    def mouse(self, event: pygame.event.Event) -> bool:
        return False

    def keys(self) -> Keys:
        letters = ((door.letter, door.name) for door in self._doors())
        return (("↑ ↓", "choose"), ("enter", "open"), *letters, ("escape", "leave the program"))

    def set(self, forme: Forme, now: float) -> None:
        em, measure = forme.em, forme.measure
        doors = self._doors()
        self._rows.resize(len(doors))
        width = min(measure.width - 2 * measure.margin, round(34 * em))
        left = (measure.width - width) / 2
        pitch = min(3.1 * em, (measure.height - 12 * em) / len(doors))
        block = 6.2 * em + pitch * len(doors)
        top = max(2.6 * em, 0.44 * (measure.height - block - 2 * em) + em)
        middle = measure.width / 2
        forme.text("Mittelstimme", middle, top + 1.2 * em, size=3.0, align="centre")
        forme.text(
            "a practice room for thoroughbass",
            middle,
            top + 3.0 * em,
            face="italic",
            size=1.1,
            role="soft",
            align="centre",
        )
        self._ornament(forme, middle, top + 4.5 * em)
        area = pygame.Rect(round(left), round(top + 6.2 * em), width, round(pitch * len(doors)) + 2)

        def row(forme: Forme, number: int, rect: pygame.Rect, chosen: bool) -> None:
            door = doors[number]
            y = rect.y + 0.66 * rect.height
            shown = forme.text(door.name, rect.x + 0.6 * em, y, size=1.25)
            forme.text(
                door.words,
                rect.right - 0.6 * em,
                y,
                face="italic",
                role="soft",
                align="right",
                room=rect.right - shown.right - 3 * em,
            )

        self._rows.set(forme, area, pitch, row, self._open)
        self._notice(forme)
        set_actions(
            forme,
            foot_of(forme),
            (
                Do("enter", "open", lambda: self._open(self._rows.chosen)),
                Do("escape", "leave", self.room.back),
            ),
        )

    def _notice(self, forme: Forme) -> None:
        """What went wrong and does not belong to one view."""
        measure = forme.measure
        forme.text(
            self.room.notice,
            measure.width / 2,
            foot_of(forme) - 2 * forme.em,
            face="italic",
            role="mark",
            align="centre",
            room=measure.width - 2 * measure.margin,
        )

    def _ornament(self, forme: Forme, x: float, y: float) -> None:
        """A small figuring instead of a printer's flower."""
        em = forme.em
        for number, code in enumerate((0xEA5B, 0xEA55, 0xEA52)):
            forme.sign(code, x - 1.35 * em + number * em, y + 0.35 * em, 0.8 * em, "soft")
        forme.rule(x - 6 * em, y, x - 2.2 * em, role="rule")
        forme.rule(x + 2.2 * em, y, x + 6 * em, role="rule")
