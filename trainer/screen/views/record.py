"""The log: minutes by day, tempo by piece, fluency by figuring and key, faults by rule, takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import pygame

from trainer.errors import TrainerError
from trainer.screen.drawing.forme import Forme
from trainer.screen.parts.log_drawings import draw_faults, draw_fluency, draw_minutes, draw_tempi
from trainer.screen.parts.widgets import Do, Rows, foot_of, set_actions, set_heading
from trainer.screen.room import Keys, Room

if TYPE_CHECKING:
    from trainer.journal.store import TakeSummary
    from trainer.review.queries import Day, FaultCount, Fluency, TempoPoint, Totals


@dataclass(frozen=True, slots=True)
class Record:
    """What the log says of one player, read at once."""

    totals: Totals
    days: tuple[Day, ...]
    tempi: tuple[TempoPoint, ...]
    fluency: tuple[Fluency, ...]
    faults: tuple[FaultCount, ...]
    takes: tuple[TakeSummary, ...]


PAGES = ("minutes", "tempo", "figurings", "faults", "takes")


class RecordView:
    """One page at a time; left and right turn them."""

    lively = False

    def __init__(
        self,
        room: Room,
        read: Callable[[], Record],
        see: Callable[[str], None],
        today: date,
    ) -> None:
        """`read` reads the log (beside the loop); `see` shows one take again."""
        self.room = room
        self._see = see
        self._today = today
        self._record: Record | None = None
        self._trouble = ""
        self.page = 0
        self.rows = Rows()

        def keep(record: Record) -> None:
            self._record = record
            self.rows.resize(len(record.takes))

        def complain(error: TrainerError) -> None:
            self._trouble = str(error)

        room.errands.ask(read, keep, complain)

    def step(self, now: float) -> None:
        return

    def close(self) -> None:
        return

    def mouse(self, event: pygame.event.Event) -> bool:
        if event.type == pygame.MOUSEWHEEL:
            self.rows.scroll(-3 * event.y)
            return True
        return False

    def keys(self) -> Keys:
        takes: Keys = (("↑ ↓", "choose a take"), ("enter", "see and hear it again"))
        shown: Keys = takes if PAGES[self.page] == "takes" else ()
        return (("← →", "turn the page"), ("1 to 5", "a page"), *shown, ("escape", "back"))

    def key(self, event: pygame.event.Event) -> bool:
        if event.type != pygame.KEYDOWN:
            return False
        if PAGES[self.page] == "takes" and self.rows.key(event):
            return True
        if event.key in (pygame.K_RIGHT, pygame.K_LEFT, pygame.K_TAB):
            self.turn(-1 if event.key == pygame.K_LEFT else 1)
        elif pygame.K_1 <= event.key <= pygame.K_5:
            self.page = event.key - pygame.K_1
        elif event.key in (pygame.K_RETURN, pygame.K_KP_ENTER) and PAGES[self.page] == "takes":
            self._open(self.rows.chosen)
        elif event.key == pygame.K_ESCAPE:
            self.room.back()
        else:
            return False
        return True

    def turn(self, by: int) -> None:
        self.page = (self.page + by) % len(PAGES)

    def _open(self, row: int) -> None:
        if self._record is not None and self._record.takes:
            self._see(self._record.takes[row].id)

    def set(self, forme: Forme, now: float) -> None:
        em, measure = forme.em, forme.measure
        record = self._record
        top = set_heading(forme, "Log", "" if record is None else _sum_in_words(record))
        self._tabs(forme, top)
        foot = foot_of(forme)
        area = pygame.Rect(
            measure.margin,
            round(top + 3.4 * em),
            measure.width - 2 * measure.margin,
            round(foot - 2 * em - top - 3.4 * em),
        )
        if record is None:
            words = self._trouble or "The log is being read …"
            forme.lines(
                words,
                area.x,
                area.y + em,
                area.width,
                face="italic",
                role="mark" if self._trouble else "soft",
            )
        elif not record.totals.takes:
            forme.text(
                "Nothing has been played yet.", area.x, area.y + em, face="italic", role="soft"
            )
        else:
            self._page(forme, record, area)
        actions = [Do("← →", "turn the page", lambda: self.turn(1))]
        if PAGES[self.page] == "takes":
            actions.append(Do("enter", "see it again", lambda: self._open(self.rows.chosen)))
        set_actions(forme, foot, (*actions, Do("escape", "back", self.room.back)))

    def _tabs(self, forme: Forme, top: float) -> None:
        em = forme.em
        x = float(forme.measure.margin)
        for number, name in enumerate(PAGES):
            here = number == self.page
            rect = forme.text(
                name,
                x,
                top + 1.7 * em,
                face="upright" if here else "italic",
                role="ink" if here else "soft",
                action=lambda n=number: self._go(n),  # type: ignore[misc]
            )
            if here:
                forme.rule(rect.x, top + 2.05 * em, rect.right, role="ink", thickness=2)
            x = rect.right + 1.8 * em

    def _go(self, page: int) -> None:
        self.page = page

    def _page(self, forme: Forme, record: Record, area: pygame.Rect) -> None:
        match PAGES[self.page]:
            case "minutes":
                draw_minutes(forme, record.days, self._today, area)
            case "tempo":
                draw_tempi(forme, record.tempi, area)
            case "figurings":
                draw_fluency(forme, record.fluency, area)
            case "faults":
                draw_faults(forme, record.faults, area)
            case _:
                self._takes(forme, record, area)

    def _takes(self, forme: Forme, record: Record, area: pygame.Rect) -> None:
        em = forme.em
        place = area.move(round(0.6 * em), 0)
        place.width -= round(2 * em)

        def row(forme: Forme, number: int, rect: pygame.Rect, chosen: bool) -> None:
            take = record.takes[number]
            y = rect.y + 0.7 * rect.height
            when = f"{take.started.astimezone():%d %b %Y, %H:%M}"
            forme.text(when, rect.x + 0.5 * em, y, face="italic", role="soft")
            x = rect.x + 11 * em
            tempo = "untimed" if take.tempo is None else f"{take.tempo:g} beats a minute"
            right = rect.right - 0.5 * em
            state = "" if take.state == "finished" else take.state
            said = " · ".join(part for part in (tempo, state) if part)
            beside = forme.text(said, right, y, face="italic", role="soft", align="right")
            forme.text(take.exercise_id, x, y, room=beside.x - x - em)

        self.rows.set(forme, place, 1.62 * em, row, self._open)


def _sum_in_words(record: Record) -> str:
    minutes = record.totals.seconds / 60
    takes = record.totals.takes
    days = len(record.days)
    return (
        f"{takes} {'take' if takes == 1 else 'takes'} on {days} {'day' if days == 1 else 'days'}, "
        f"{minutes:.0f} minutes"
    )
