"""The pictures of the window in `assets/screens`, made anew: `python -m tests.documents.screens`.

The real views are opened at 1600x900 and played by the demo player; look at what has come out.
"""

from __future__ import annotations

from pathlib import Path

from tests.screen.hands import Hands, open_app, open_hands, practise, somebody  # first: no display

import pygame  # isort: skip
from trainer.practice.demo import PERFECT
from trainer.practice.slips import Slip
from trainer.score.library import Library
from trainer.screen.views.after import AfterView

PLACE = Path(__file__).parents[2] / "assets" / "screens"
SIZE = (1600, 900)
PIECE = "window-to-the-river"
SLIPS = (Slip("wrong", 3), Slip("fifths", 6), Slip("late", 4))


def keep(hands: Hands, name: str) -> None:
    pygame.image.save(hands.surface, str(PLACE / f"{name}.png"))


def playing(ground: str, place: int) -> None:
    """A pass under way and, on light ground, the page after it."""
    hands = open_hands(SIZE, somebody(ground=ground))
    exercise = Library().find(PIECE)
    view = practise(hands, exercise, slips=SLIPS, manner=PERFECT, tempo=72)
    hands.settle()
    hands.press(pygame.K_SPACE, " ")
    hands.until(lambda: view.shell.session.current == place)
    hands.frame(6)
    keep(hands, f"playing-{ground}")
    if ground == "light":
        hands.until(lambda: hands.window.room.view is not view)
        hands.settle()
        after = hands.window.room.view
        assert isinstance(after, AfterView)
        while after.fault is None or after.fault.rule != "missing-third":
            hands.press(pygame.K_RIGHT)
        hands.press(pygame.K_p, "p")
        hands.settle()
        keep(hands, "after-light")
    hands.close()


def doors() -> None:
    """The first page and the library."""
    hands = open_hands(SIZE, somebody())
    app = open_app(hands)
    hands.settle()
    keep(hands, "front")
    app.shelf()
    hands.settle()
    hands.write("minor")
    hands.settle()
    keep(hands, "library")
    hands.close()


if __name__ == "__main__":
    playing("light", 10)
    playing("dark", 8)
    doors()
