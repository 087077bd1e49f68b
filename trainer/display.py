"""Whether there is a screen to open a window on, and its opening.

Where SDL finds no display it falls back to drivers that draw where nobody sees it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from trainer.errors import InputError

DRIVER = "SDL_VIDEODRIVER"
UNSEEN = ("dummy", "offscreen", "evdev")  # drivers of SDL that show nothing


def has_display() -> bool:
    """Whether a window can be opened here, as far as the environment says."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def open_display() -> None:
    """Open it, or do nothing if it is. Raises InputError where there is none to be seen; whoever
    names a driver for SDL is taken to mean it."""
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    import pygame

    try:
        with _only_seen():
            pygame.display.init()
    except pygame.error as error:
        raise _missing(str(error)) from None
    if not os.environ.get(DRIVER) and pygame.display.get_driver() in UNSEEN:
        pygame.display.quit()
        raise _missing("nothing answers")


@contextmanager
def _only_seen() -> Iterator[None]:
    """Have SDL try the displays that the environment names and no others."""
    names = {"DISPLAY": "x11", "WAYLAND_DISPLAY": "wayland"}
    drivers = ",".join(driver for name, driver in names.items() if os.environ.get(name))
    if not drivers or os.environ.get(DRIVER) or sys.platform in ("win32", "darwin"):
        yield
        return
    os.environ[DRIVER] = drivers
    try:
        yield
    finally:
        del os.environ[DRIVER]


def _missing(why: str) -> InputError:
    named = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY") or ""
    return InputError(
        f"the display {named} cannot be used ({why})",
        remedy="use --view terminal, or set DISPLAY right",
    )
