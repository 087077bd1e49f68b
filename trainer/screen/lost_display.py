"""What happens when the display dies: X's own library would end the program at once from inside,
and it must leave by its way out."""

from __future__ import annotations

import ctypes
from typing import TYPE_CHECKING

import pygame

if TYPE_CHECKING:
    from trainer.conducting.way_out import WayOut

DIED = 1  # the status with which programs end whose display died

_kept: list[object] = []  # what X's library calls must live as long as the program


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
