"""Engraving beside the loop: a process of its own, because verovio and resvg hold Python's lock.

The window asks for an exercise at a size and goes on; a thread receives finished systems, each an
opaque picture on the paper's colour with its geometry, and the window takes them at a frame.
"""

from __future__ import annotations

import io
import multiprocessing
import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from trainer.engraving.geometry import Geometry
from trainer.errors import TrainerError
from trainer.score.exercise import Exercise
from trainer.theory.voicing import Voicing

Colour = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Sheet:
    """What is to be engraved: systems `width` pixels wide, in one of the sizes of `spaces`.

    The first of `spaces` (pixels between staff lines, largest first) at which all systems stand
    within `height` is taken, else the last. `middle` prints middle voices.
    """

    exercise: Exercise
    width: int
    height: int
    spaces: tuple[float, ...]
    ink: Colour
    paper: Colour
    middle: tuple[Voicing | None, ...] | None = None
    figures: bool = True


@dataclass(frozen=True, slots=True)
class Engraved:
    """The geometry of every system of a sheet, in the pixels of its own picture."""

    number: int  # of the request
    systems: tuple[Geometry, ...]


@dataclass(frozen=True, slots=True)
class Pictured:
    """One system's picture: `pixels` are RGB rows."""

    number: int
    system: int
    size: tuple[int, int]
    pixels: bytes


@dataclass(frozen=True, slots=True)
class Failed:
    """A sheet that could not be engraved, with one line why."""

    number: int
    why: str


Delivery = Engraved | Pictured | Failed


@dataclass
class Engraver:
    """The window's end. `begin` starts the process; requests are numbered from 1."""

    deliveries: deque[Delivery] = field(default_factory=deque)
    _number: int = 0
    _process: Any = None
    _connection: Connection | None = None

    def begin(self) -> None:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        self._process = context.Process(target=serve, args=(theirs,), daemon=True, name="engraver")
        self._process.start()
        theirs.close()
        self._connection = ours
        threading.Thread(target=self._receive, args=(ours,), daemon=True, name="pages").start()

    def ask(self, sheet: Sheet) -> int:
        """Have a sheet engraved; returns the number its deliveries will carry. Older requests
        that are not finished are dropped."""
        assert self._connection is not None
        self._number += 1
        self._connection.send((self._number, sheet))
        return self._number

    def take(self) -> Delivery | None:
        """The next delivery, None if there is none yet. Never waits."""
        return self.deliveries.popleft() if self.deliveries else None

    @property
    def alive(self) -> bool:
        return self._process is not None and self._process.is_alive()

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None
        if self._process is not None:
            self._process.terminate()
            self._process.join(timeout=2)

    def _receive(self, connection: Connection) -> None:
        while True:
            try:
                delivery = connection.recv()
            except (EOFError, OSError, TypeError):  # closed on either end
                return
            self.deliveries.append(delivery)


def serve(connection: Connection) -> None:
    """The process's own loop: engrave, then draw system after system until something newer."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the window closes it
    try:
        while True:
            number, sheet = connection.recv()
            while connection.poll():
                number, sheet = connection.recv()
            _answer(connection, number, sheet)
    except (EOFError, OSError):
        return


def _answer(connection: Connection, number: int, sheet: Sheet) -> None:
    from trainer.engraving.page import Page

    try:
        pages: Sequence[Page] = _engraved(sheet)
    except (TrainerError, AssertionError) as error:
        connection.send(Failed(number, str(error)))
        return
    connection.send(Engraved(number, tuple(page.geometry for page in pages)))
    for index, page in enumerate(pages):
        if connection.poll():
            return
        size, pixels = picture(page.svg, page.geometry, sheet.ink, sheet.paper)
        connection.send(Pictured(number, index, size, pixels))


def _engraved(sheet: Sheet) -> Sequence[Any]:
    from trainer.engraving.page import engrave_systems

    pages: Sequence[Any] = ()
    for space in sheet.spaces:
        pages = engrave_systems(
            sheet.exercise,
            sheet.width,
            space_px=space,
            middle=sheet.middle,
            figures=sheet.figures,
        )
        if sum(page.geometry.height for page in pages) <= sheet.height:
            break
    return pages


def picture(
    svg: str, geometry: Geometry, ink: Colour, paper: Colour
) -> tuple[tuple[int, int], bytes]:
    """A system as RGB pixels."""
    import os

    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    import pygame.image
    import resvg_py

    coloured = svg.replace('color="#000000"', f'color="{_hex(ink)}"', 1)
    png = resvg_py.svg_to_bytes(
        svg_string=coloured,
        width=round(geometry.width),
        background=_hex(paper),
        skip_system_fonts=True,
    )
    surface = pygame.image.load(io.BytesIO(png), "page.png")
    return surface.get_size(), pygame.image.tobytes(surface, "RGB")


def _hex(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)
