"""The few things one works with: lists, a field to write in, a line of actions.

Kept libraries of widgets were looked at first. The one that is kept up for pygame (pygame-gui)
needs pygame-ce, which cannot be installed beside pygame, and draws boxes and bevels where a page
has lines of text; so these are written here, and nothing more than is used.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import pygame

from trainer.screen.drawing.forme import POINTING_HAND, Action, Forme

DrawRow = Callable[[Forme, int, pygame.Rect, bool], None]


@dataclass
class Rows:
    """A list of `count` rows, one of them chosen, as many in sight as there is room for."""

    count: int = 0
    chosen: int = 0
    top: int = 0
    in_sight: int = 1

    def resize(self, count: int) -> None:
        self.count = count
        self.chosen = max(0, min(self.chosen, count - 1))
        self._follow()

    def key(self, event: pygame.event.Event) -> bool:
        """Up and down, a page, the ends; False for any other key."""
        page = max(1, self.in_sight - 1)
        moves = {
            pygame.K_UP: self.chosen - 1,
            pygame.K_DOWN: self.chosen + 1,
            pygame.K_PAGEUP: self.chosen - page,
            pygame.K_PAGEDOWN: self.chosen + page,
            pygame.K_HOME: 0,
            pygame.K_END: self.count - 1,
        }
        if event.type != pygame.KEYDOWN or event.key not in moves:
            return False
        self.choose(moves[event.key])
        return True

    def choose(self, row: int) -> None:
        self.chosen = max(0, min(row, self.count - 1))
        self._follow()

    def scroll(self, by: int) -> None:
        """The wheel moves what is in sight, not what is chosen."""
        self.top = max(0, min(self.top + by, self.count - self.in_sight))

    def set(
        self,
        forme: Forme,
        area: pygame.Rect,
        pitch: float,
        draw: DrawRow,
        act: Callable[[int], None],
    ) -> None:
        """The rows in sight within an area; a click on the chosen one acts, on another chooses.

        The chosen row lies on a bed and a hand points to it.
        """
        self.in_sight = max(1, int(area.height // pitch))
        self.top = max(0, min(self.top, self.count - self.in_sight))
        for place in range(min(self.in_sight, self.count - self.top)):
            row = self.top + place
            rect = pygame.Rect(area.x, round(area.y + place * pitch), area.width, round(pitch))
            chosen = row == self.chosen
            if chosen:
                forme.bed(rect)
                forme.text(
                    POINTING_HAND, rect.x - 0.35 * forme.em, rect.y + 0.68 * pitch, align="right"
                )
            draw(forme, row, rect, chosen)
            forme.place(rect, self._click(row, act))
        if self.count > self.in_sight:
            self._bar(forme, area)

    def _click(self, row: int, act: Callable[[int], None]) -> Action:
        def click() -> None:
            if self.chosen == row:
                act(row)
            else:
                self.choose(row)

        return click

    def _bar(self, forme: Forme, area: pygame.Rect) -> None:
        """How far down one is: a thin line beside the rows."""
        x = area.right + 0.5 * forme.em
        forme.column(x, area.y, area.bottom)
        length = max(forme.em, area.height * self.in_sight / self.count)
        y = area.y + (area.height - length) * self.top / max(1, self.count - self.in_sight)
        forme.column(x - 1, y, y + length, role="soft", thickness=3)

    def _follow(self) -> None:
        if self.chosen < self.top:
            self.top = self.chosen
        elif self.chosen >= self.top + self.in_sight:
            self.top = self.chosen - self.in_sight + 1
        self.top = max(0, self.top)


@dataclass
class Field:
    """A line to write in."""

    text: str = ""
    caret: int = 0
    longest: int = 200

    def key(self, event: pygame.event.Event) -> bool:
        """Text typed and the keys that mend it; False for any other key."""
        if event.type == pygame.TEXTINPUT:
            self._insert(event.text)
            return True
        if event.type != pygame.KEYDOWN:
            return False
        control = event.mod & (pygame.KMOD_CTRL | pygame.KMOD_META)
        match event.key:
            case pygame.K_BACKSPACE if control:
                kept = self.text[: self.caret].rstrip().rpartition(" ")[0]
                self.text = kept + self.text[self.caret :]
                self.caret = len(kept)
            case pygame.K_BACKSPACE:
                if self.caret:
                    self.text = self.text[: self.caret - 1] + self.text[self.caret :]
                    self.caret -= 1
            case pygame.K_DELETE:
                self.text = self.text[: self.caret] + self.text[self.caret + 1 :]
            case pygame.K_LEFT:
                self.caret = max(0, self.caret - 1)
            case pygame.K_RIGHT:
                self.caret = min(len(self.text), self.caret + 1)
            case pygame.K_u if control:
                self.text, self.caret = "", 0
            case _:
                return False
        return True

    def _insert(self, text: str) -> None:
        clean = "".join(c for c in text if c.isprintable())
        if len(self.text) + len(clean) <= self.longest:
            self.text = self.text[: self.caret] + clean + self.text[self.caret :]
            self.caret += len(clean)

    def set(
        self,
        forme: Forme,
        x: float,
        baseline: float,
        room: float,
        hint: str,
        *,
        active: bool = True,
    ) -> None:
        """The text on a rule, its caret, or a hint where nothing is written."""
        em = forme.em
        size = 1.15
        if self.text:
            shown = self.text
            while shown and forme.width(shown, size=size) > room - em:
                shown = shown[1:]
            forme.text(shown, x, baseline, size=size)
            before = shown[: max(0, self.caret - (len(self.text) - len(shown)))]
        else:
            forme.text(hint, x, baseline, face="italic", size=size, role="soft", room=room)
            before = ""
        if active:
            at = x + forme.width(before, size=size)
            forme.column(at, baseline - 0.85 * em, baseline + 0.25 * em, role="ink", thickness=2)
        forme.rule(x, baseline + 0.45 * em, x + room, role="soft")


@dataclass(frozen=True, slots=True)
class Do:
    """Something that can be done: the key, what it does, and the doing."""

    key: str
    words: str
    act: Action


def set_actions(forme: Forme, baseline: float, actions: Sequence[Do]) -> None:
    """A line of what can be done, each with its key, by hand and by mouse; `?` at its end."""
    em, measure = forme.em, forme.measure
    size = 0.85
    end = forme.width("? keys", face="italic", size=0.8) + em
    room = measure.width - 2 * measure.margin - end
    widths = [
        forme.width(f"{do.key} ", face="italic", size=size) + forme.width(do.words, size=size)
        for do in actions
    ]
    shown = len(actions)
    while shown > 1 and sum(widths[:shown]) + 0.7 * em * (shown - 1) > room:
        shown -= 1  # what has no room is still on its key, and in the overlay
    free = (room - sum(widths[:shown])) / max(1, shown)
    gap = min(1.6 * em, max(0.7 * em, free))
    x = float(measure.margin)
    for do in actions[:shown]:
        key = forme.text(f"{do.key} ", x, baseline, face="italic", size=size, role="soft")
        words = forme.text(do.words, key.right, baseline, size=size)
        forme.place(words.union(key).inflate(round(0.6 * em), round(0.5 * em)), do.act)
        x = words.right + gap
    forme.text(
        "? keys",
        measure.width - measure.margin,
        baseline,
        face="italic",
        size=0.8,
        role="soft",
        align="right",
        action=lambda: post_key(pygame.K_QUESTION, "?"),
    )


def fitting(forme: Forme, words: str, room: float, sizes: tuple[float, ...]) -> float:
    """The largest of some sizes at which a line of italics has room, else the smallest."""
    return next((s for s in sizes if forme.width(words, face="italic", size=s) <= room), sizes[-1])


def post_key(key: int, character: str = "") -> None:
    """The same as if the key had been pressed."""
    details: dict[str, Any] = {"key": key, "unicode": character, "mod": 0, "scancode": 0}
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, details))


def set_heading(forme: Forme, title: str, beside: str = "") -> float:
    """The head of a page: its title, a line beside it, a rule; returns where the page begins."""
    em, measure = forme.em, forme.measure
    baseline = 2.7 * em
    right = measure.width - measure.margin
    title_rect = forme.text(title, measure.margin, baseline, size=1.9)
    forme.text(
        beside,
        right,
        baseline,
        face="italic",
        role="soft",
        align="right",
        room=right - title_rect.right - 2 * em,
    )
    forme.rule(measure.margin, baseline + 0.75 * em, right, role="soft")
    return baseline + 0.75 * em


def foot_of(forme: Forme) -> int:
    """The baseline of the line of actions."""
    return forme.measure.height - round(0.95 * forme.em)
