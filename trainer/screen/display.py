"""The display: whether there is one to draw on, and what happens when it dies.

Where SDL finds no display it falls back to drivers that draw where nobody sees it. And where the X
server dies, X's own library ends the program at once from inside: it must leave by its way out.
"""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")

import pygame

from trainer.errors import InputError

if TYPE_CHECKING:
    from trainer.conducting.way_out import WayOut

DRIVER = "SDL_VIDEODRIVER"
UNSEEN = ("dummy", "offscreen", "evdev")  # drivers of SDL that show nothing
DIED = 1  # the status with which programs end whose display died

_kept: list[object] = []  # what X's library calls must live as long as the program


def open_display() -> None:
    """Open it, or do nothing if it is. Raises InputError where there is none to be seen; whoever
    names a driver for SDL is taken to mean it."""
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


def heed_its_death(way: WayOut) -> None:
    """When the X server dies, put everything away before the program ends."""
    if pygame.display.get_driver() != "x11":
        return
    try:
        library = ctypes.CDLL("libX11.so.6")  # the one that SDL has loaded
    except OSError:
        return
    handler = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p)

    def died(_display: int | None) -> int:
        way.break_off("the display is gone; what was played is in the log", DIED)
        return 0

    _kept.append(handler(died))
    library.XSetIOErrorHandler(_kept[-1])
