"""The practice room: what all views share, and which of them is open."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

import pygame

from trainer.screen.drawing.forme import Forme, Type
from trainer.screen.drawing.lettering import Lettering
from trainer.screen.drawing.painter import Painter
from trainer.screen.drawing.theme import THEMES, Measure
from trainer.screen.errands import Errands
from trainer.screen.sheet.engraver import Engraver

if TYPE_CHECKING:
    from trainer.settings import Settings

Keys = tuple[tuple[str, str], ...]  # what is pressed, and what it does


class View(Protocol):
    """One view. `lively` views are drawn at every frame, others when something has happened."""

    lively: bool

    def step(self, now: float) -> None:
        """Let time go by; take what has come in."""

    def set(self, forme: Forme, now: float) -> None:
        """Describe itself."""

    def key(self, event: pygame.event.Event) -> bool:
        """A key pressed or let go, or text typed; False if it means nothing here."""

    def mouse(self, event: pygame.event.Event) -> bool:
        """A button or the wheel where no place of the forme answered."""

    def keys(self) -> Keys:
        """What can be pressed here, for the overlay."""

    def close(self) -> None:
        """The view is left for good."""


@dataclass
class Room:
    """Settings, type and engraver; the views lie on one another, the last one is seen."""

    settings: Settings
    type: Type
    engraver: Engraver
    errands: Errands
    save: Callable[[Settings], None]
    views: list[View] = field(default_factory=list)
    leaving: bool = False
    notice: str = ""  # one line that outlives a view, such as a log that cannot be written

    @property
    def view(self) -> View:
        return self.views[-1]

    def open(self, view: View) -> None:
        self.views.append(view)

    def back(self) -> None:
        """Leave the view that is seen; leaving the last one leaves the program."""
        self.views.pop().close()
        self.leaving = not self.views

    def instead(self, view: View) -> None:
        """Leave the view that is seen for another."""
        self.views.pop().close()
        self.views.append(view)

    def choose(self, settings: Settings) -> None:
        """New settings take effect at once and are kept."""
        self.settings = settings
        self.retype(self.type.measure.width, self.type.measure.height)
        self.save(settings)

    def retype(self, width: int, height: int) -> None:
        """The window has another size, the text another scale or the paper another ground."""
        player = self.settings.player
        self.type.theme = THEMES[player.ground]
        self.type.measure = Measure.of(width, height, player.text_scale)


def new_type(width: int, height: int, settings: Settings) -> Type:
    lettering = Lettering()
    player = settings.player
    return Type(
        lettering,
        Painter(lettering),
        THEMES[player.ground],
        Measure.of(width, height, player.text_scale),
    )
