"""Today's plan: what is in it and why, how far it is, and the key that begins it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import pygame

from trainer.errors import TrainerError
from trainer.screen.drawing.forme import Forme
from trainer.screen.parts.widgets import Do, Rows, foot_of, set_actions, set_heading
from trainer.screen.room import Keys, Room

if TYPE_CHECKING:
    from trainer.conducting.todays_drill import Drill


class TodayView:
    """The parts of the plan in order; the next one is pointed to."""

    lively = False

    def __init__(
        self,
        room: Room,
        find: Callable[[], Drill],
        begin: Callable[[Drill], None],
    ) -> None:
        """`find` makes the plan (beside the loop), `begin` starts it where it stands."""
        self.room = room
        self._find = find
        self._begin = begin
        self._drill: Drill | None = None
        self._trouble = ""
        self.rows = Rows()
        self.look()

    def look(self) -> None:
        """Make the plan anew from what has been played."""
        self._drill = None

        def keep(drill: Drill) -> None:
            self._drill = drill
            self.rows.resize(len(drill.plan.parts))
            following = drill.following
            if following is not None:
                self.rows.choose(drill.plan.parts.index(following.part))

        def complain(error: TrainerError) -> None:
            self._trouble = str(error)

        self.room.errands.ask(self._find, keep, complain)

    def step(self, now: float) -> None:
        return

    def close(self) -> None:
        return

    def mouse(self, event: pygame.event.Event) -> bool:
        if event.type == pygame.MOUSEWHEEL:
            self.rows.scroll(-event.y)
            return True
        return False

    def keys(self) -> Keys:
        return (("space", "begin, or go on"), ("↑ ↓", "read about a part"), ("escape", "back"))

    def key(self, event: pygame.event.Event) -> bool:
        if self.rows.key(event):
            return True
        if event.type != pygame.KEYDOWN:
            return False
        if event.key == pygame.K_ESCAPE:
            self.room.back()
        elif event.key in (pygame.K_SPACE, pygame.K_RETURN, pygame.K_KP_ENTER):
            self.begin()
        else:
            return False
        return True

    def begin(self) -> None:
        if self._drill is not None and self._drill.following is not None:
            self._begin(self._drill)

    def set(self, forme: Forme, now: float) -> None:
        em, measure = forme.em, forme.measure
        drill = self._drill
        beside = ""
        if drill is not None:
            step = drill.before.standing.step
            beside = f"step {step.number} of the course: {step.title}"
        top = set_heading(forme, "Today’s plan", beside)
        left, foot = measure.margin, foot_of(forme)
        if drill is None:
            words = self._trouble or "The plan is being made …"
            forme.lines(
                words,
                left,
                top + 2 * em,
                measure.width - 2 * left,
                face="italic",
                role="mark" if self._trouble else "soft",
            )
        else:
            self._parts(forme, drill, top, foot)
        following = None if drill is None else drill.following
        begun = drill is not None and bool(drill.since)
        actions = (
            [] if following is None else [Do("space", "go on" if begun else "begin", self.begin)]
        )
        set_actions(forme, foot, (*actions, Do("escape", "back", self.room.back)))

    def _parts(self, forme: Forme, drill: Drill, top: float, foot: float) -> None:
        em, measure = forme.em, forme.measure
        left, plan = measure.margin + round(0.6 * em), drill.plan
        width = measure.width - measure.margin - left
        spent = f"{drill.minutes_spent:.0f} of {plan.minutes:.0f} minutes are played."
        if drill.following is None:
            spent = "Today’s plan is done. That is enough for today; tomorrow it is a new one."
        forme.text(spent, left, top + 1.8 * em, face="italic", role="soft", room=width)
        pitch = min(3.3 * em, (foot - top - 4.5 * em) / max(1, len(plan.parts)))
        area = pygame.Rect(left, round(top + 2.7 * em), width, round(foot - top - 4.2 * em))

        def row(forme: Forme, number: int, rect: pygame.Rect, chosen: bool) -> None:
            part = plan.parts[number]
            y = rect.y + 0.42 * rect.height
            skipped = part.kind in drill.begun.skipped
            minutes = forme.text(
                f"{part.minutes:.0f}",
                rect.x + 2.1 * em,
                y,
                size=1.25,
                align="right",
                role="soft" if skipped else "ink",
            )
            forme.text("min", minutes.right + 0.3 * em, y, face="italic", size=0.8, role="soft")
            x = rect.x + 4.6 * em
            room = rect.right - x - em
            forme.text(part.title, x, y, size=1.15, room=room)
            if rect.height > 2.2 * em:
                forme.text(
                    part.reason, x, y + 1.25 * em, face="italic", size=0.92, role="soft", room=room
                )

        self.rows.set(forme, area, pitch, row, lambda _: self.begin())
