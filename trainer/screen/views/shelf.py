"""The library: a piece is found by typing a few letters of what one knows of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pygame

from trainer.errors import TrainerError
from trainer.score.exercise import Exercise
from trainer.screen.drawing.forme import Forme
from trainer.screen.parts.widgets import (
    Do,
    Field,
    Rows,
    foot_of,
    set_actions,
    set_heading,
)
from trainer.screen.room import Keys, Room
from trainer.screen.sheet.board import Board
from trainer.screen.sheet.engraver import Sheet
from trainer.theory.key import key_in_words

if TYPE_CHECKING:
    from trainer.score.index import Entry
    from trainer.score.library import Library

KEYS = ("C", "G", "F", "D", "Bb", "A", "Eb", "E", "Ab", "B", "Db", "F#")
MINOR_KEYS = ("a", "e", "d", "b", "g", "f#", "c", "c#", "f", "g#", "bb", "eb")


@dataclass(frozen=True, slots=True)
class Volume:
    """One line of the shelf, and all that can be typed to find it."""

    entry: Entry
    words: str


class ShelfView:
    """A field, the list of what fits, and the beginning of the chosen piece, engraved."""

    lively = False
    typing = True

    def __init__(
        self,
        room: Room,
        library: Callable[[], Library],
        practise: Callable[[Exercise], None],
    ) -> None:
        self.room = room
        self._library = library
        self._practise = practise
        self.field = Field()
        self.rows = Rows()
        self._volumes: tuple[Volume, ...] | None = None
        self._fits: tuple[Volume, ...] = ()
        self._filtered: str | None = None
        self._trouble = ""
        self._board = Board(room.engraver)
        self._shown = ""  # what the preview shows, or is being fetched for
        self._previewed: Exercise | None = None
        self._key = 0
        self._look()

    def _look(self) -> None:
        def work() -> tuple[Volume, ...]:
            entries = self._library().entries()
            return tuple(Volume(entry, _words(entry)) for entry in entries)

        def keep(volumes: tuple[Volume, ...]) -> None:
            self._volumes = tuple(sorted(volumes, key=lambda v: (v.entry.level, v.entry.title)))
            self._filtered = None

        self.room.errands.ask(work, keep, self._complain)

    def _complain(self, error: TrainerError) -> None:
        self._trouble = str(error)

    def step(self, now: float) -> None:
        while (delivery := self.room.engraver.take()) is not None:
            self._board.receive(delivery)
        wanted = " ".join(self.field.text.casefold().split())
        if self._volumes is not None and wanted != self._filtered:
            self._filtered = wanted
            parts = wanted.split()
            self._fits = tuple(
                volume for volume in self._volumes if all(part in volume.words for part in parts)
            )
            self.rows.chosen = 0
            self.rows.top = 0
            self.rows.resize(len(self._fits))
        name = self._name()
        if name and name != self._shown:
            self._shown = name
            self.room.errands.ask(lambda: self._library().find(name), self._preview, self._complain)

    def _preview(self, exercise: Exercise) -> None:
        self._previewed = exercise
        self._trouble = ""

    @property
    def chosen(self) -> Entry | None:
        return self._fits[self.rows.chosen].entry if self._fits else None

    def _name(self) -> str:
        entry = self.chosen
        if entry is None:
            return ""
        if entry.error:
            return ""
        if entry.key == "any":
            return f"{entry.id}@{(*KEYS, *MINOR_KEYS)[self._key]}"
        return entry.id

    def close(self) -> None:
        return

    def key(self, event: pygame.event.Event) -> bool:
        if self.rows.key(event):
            return True
        if event.type == pygame.KEYDOWN:
            match event.key:
                case pygame.K_ESCAPE:
                    if self.field.text:
                        self.field.text, self.field.caret = "", 0
                    else:
                        self.room.back()
                    return True
                case pygame.K_RETURN | pygame.K_KP_ENTER:
                    self._open(self.rows.chosen)
                    return True
                case pygame.K_TAB:
                    count = len(KEYS) + len(MINOR_KEYS)
                    back = event.mod & pygame.KMOD_SHIFT
                    self._key = (self._key + (-1 if back else 1)) % count
                    return True
        return self.field.key(event)

    def mouse(self, event: pygame.event.Event) -> bool:
        if event.type == pygame.MOUSEWHEEL:
            self.rows.scroll(-3 * event.y)
            return True
        return False

    def _open(self, row: int) -> None:
        if not self._fits:
            return
        entry = self._fits[row].entry
        if entry.error:
            self._trouble = entry.error
            return
        name = self._name()
        self.room.errands.ask(lambda: self._library().find(name), self._practise, self._complain)

    def keys(self) -> Keys:
        return (
            ("letters", "narrow the list: title, tune, key, metre, figures, step"),
            ("↑ ↓", "choose"),
            ("enter", "practise"),
            ("tab", "a drill in the next key, with shift in the one before"),
            ("escape", "clear the field, then back"),
        )

    def set(self, forme: Forme, now: float) -> None:
        em, measure = forme.em, forme.measure
        count = len(self._fits)
        beside = "" if self._volumes is None else f"{count} of {len(self._volumes)}"
        top = set_heading(forme, "Library", beside)
        left, width = measure.margin, measure.width - 2 * measure.margin
        self.field.set(
            forme,
            left,
            top + 2.0 * em,
            width,
            "type what you know of it: a title, a key, 6 5, step 9",
        )
        foot = foot_of(forme)
        preview = min(12.5 * em, 0.36 * measure.height)
        rows = pygame.Rect(
            left, round(top + 3.0 * em), width, round(foot - 2 * em - preview - top - 3.4 * em)
        )
        if self._volumes is None:
            forme.text("The shelf is being read …", left, rows.y + em, face="italic", role="soft")
        elif not self._fits:
            words = f"Nothing has all of “{self.field.text.strip()}”."
            forme.text(words, left, rows.y + 1.2 * em, face="italic", role="soft", room=width)
        self.rows.set(forme, rows, 1.65 * em, self._row, self._open)
        self._set_preview(forme, pygame.Rect(left, round(rows.bottom + em), width, round(preview)))
        entry = self.chosen
        actions = [Do("enter", "practise", lambda: self._open(self.rows.chosen))]
        if entry is not None and entry.key == "any":
            key = (*KEYS, *MINOR_KEYS)[self._key]
            spelled = key_in_words(f"{key} {'major' if key[0].isupper() else 'minor'}")
            actions.append(Do("tab", f"in {spelled}", self._next_key))
        actions.append(Do("escape", "back", self.room.back))
        set_actions(forme, foot, actions)

    def _next_key(self) -> None:
        self._key = (self._key + 1) % (len(KEYS) + len(MINOR_KEYS))

    def _row(self, forme: Forme, row: int, rect: pygame.Rect, chosen: bool) -> None:
        em = forme.em
        entry = self._fits[row].entry
        y = rect.y + 0.7 * rect.height
        right = rect.right - 0.5 * em
        if entry.error:
            forme.text(
                entry.error,
                rect.x + 0.5 * em,
                y,
                face="italic",
                role="mark",
                room=rect.width - em,
            )
            return
        title_room = 0.38 * rect.width
        forme.text(entry.title or entry.id, rect.x + 0.5 * em, y, room=title_room)
        x = rect.x + 0.5 * em + title_room + em
        key = "any key" if entry.key == "any" else key_in_words(entry.key)
        forme.text(key, x, y, face="italic", role="soft", room=7 * em)
        forme.text(entry.metre, x + 7.2 * em, y, face="italic", role="soft", room=3 * em)
        step = f"step {entry.level}" if entry.level else ""
        step_rect = forme.text(step, right, y, face="italic", role="soft", align="right")
        tags = " · ".join(entry.tags)
        begin = x + 10 * em
        forme.text(
            tags,
            begin,
            y,
            face="italic",
            role="soft",
            room=max(0, (step_rect.x if step else right) - begin - em),
        )

    def _set_preview(self, forme: Forme, area: pygame.Rect) -> None:
        exercise = self._previewed
        forme.rule(area.x, area.y, area.right, role="rule")
        if self._trouble:
            forme.lines(
                self._trouble, area.x, area.y + 1.6 * forme.em, area.width, role="mark", at_most=3
            )
            return
        if exercise is None or not self._fits:
            return
        theme, player = self.room.type.theme, self.room.settings.player
        share = min(forme.measure.width / 1920, forme.measure.height / 1080)
        space = float(max(6, min(round(9 * share**0.85 * player.text_scale), area.height // 27)))
        brace = round(46 / 18 * space)
        sheet = Sheet(exercise, area.width + brace, area.height, (space,), theme.ink, theme.paper)
        place = area.move(-brace, round(0.4 * forme.em))
        place.width += brace
        self._board.show(sheet, place)
        if self._board.systems:
            self._board.top = 0
            first = self._board.systems[0]
            if first.height <= area.height + forme.em:
                self._board.set(forme, None, only_first=True)


def _words(entry: Entry) -> str:
    step = f"step {entry.level}" if entry.level else ""
    parts = (
        entry.title,
        entry.id,
        entry.tune,
        entry.key,
        key_in_words(entry.key),
        entry.metre,
        step,
        *entry.tags,
        *entry.figurings,
        *entry.sequences,
        *entry.cadences,
    )
    return " ".join(parts).casefold()
