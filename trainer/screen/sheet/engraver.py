"""Engraving beside the loop: a process of its own, because verovio and resvg hold Python's lock.

The window asks for an exercise at a size and goes on; a thread receives finished systems, each an
opaque picture on the paper's colour with its geometry, and the window takes them at a frame.
"""

from __future__ import annotations

import io
import os
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from queue import SimpleQueue
from typing import Any

from trainer.apart import Line, Process
from trainer.engraving.geometry import Geometry
from trainer.errors import TrainerError
from trainer.score.exercise import Exercise
from trainer.theory.voicing import Voicing

Colour = tuple[int, int, int]

ENTRY = "trainer.screen.sheet.engraver:serve"


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
    _process: Process | None = None

    def begin(self) -> None:
        """Start the process. Raises OSError where the system allows no more."""
        if self._process is not None:
            self._process.leave()  # it has died, and need not be told of any more
        self._process = Process(ENTRY, self.deliveries.append, self._failed)

    def ask(self, sheet: Sheet) -> int:
        """Have a sheet engraved; returns the number its deliveries will carry. Older requests
        that are not finished are dropped. A process that has died is started again."""
        self._number += 1
        try:
            if not self.alive:
                self.begin()
        except OSError as error:
            self._failed(str(error))
            return self._number
        assert self._process is not None
        if not self._process.send((self._number, sheet)):
            self._failed("its process takes no more")
        return self._number

    def take(self) -> Delivery | None:
        """The next delivery, None if there is none yet. Never waits."""
        return self.deliveries.popleft() if self.deliveries else None

    @property
    def alive(self) -> bool:
        return self._process is not None and self._process.alive

    def close(self) -> None:
        """End the process; takes a second at most."""
        process, self._process = self._process, None
        if process is not None:
            process.end()

    def _failed(self, why: str) -> None:
        self.deliveries.append(Failed(self._number, f"the page could not be engraved: {why}"))


def serve(line: Line) -> None:
    """The process's own loop: engrave the newest request, then draw system after system."""
    requests: SimpleQueue[tuple[int, Sheet]] = SimpleQueue()
    line.listen(requests.put, lambda: os._exit(0))  # nobody will see a page that is unfinished
    while True:
        request = requests.get()
        while not requests.empty():
            request = requests.get()
        _answer(line.tell, requests.empty, *request)


def _answer(
    send: Callable[[Delivery], None], newest: Callable[[], bool], number: int, sheet: Sheet
) -> None:
    from trainer.engraving.page import Page

    try:
        pages: Sequence[Page] = _engraved(sheet)
    except (TrainerError, AssertionError) as error:
        send(Failed(number, str(error)))
        return
    send(Engraved(number, tuple(page.geometry for page in pages)))
    for index, page in enumerate(pages):
        if not newest():
            return
        size, pixels = picture(page.svg, page.geometry, sheet.ink, sheet.paper)
        send(Pictured(number, index, size, pixels))


SMALLEST_SPACE = 5.0  # pixels between staff lines below which nobody can read


def _engraved(sheet: Sheet) -> Sequence[Any]:
    """The largest size that fits; sizes that surely do not are passed over.

    Where not even one system fits at the smallest of the sizes, it is made smaller still.
    """
    pages: Sequence[Any] = ()
    square = 0.0  # height of all systems at a space of one pixel: it grows with the square
    space = sheet.spaces[-1]
    for space in sheet.spaces:
        if square * space**2 > 1.1 * sheet.height and space != sheet.spaces[-1]:
            continue
        pages = _systems(sheet, space)
        high = sum(page.geometry.height for page in pages)
        if high <= sheet.height:
            return pages
        square = high / space**2
    while max(page.geometry.height for page in pages) > sheet.height and space > SMALLEST_SPACE:
        space = max(SMALLEST_SPACE, space - 1)
        pages = _systems(sheet, space)
    return pages


def _systems(sheet: Sheet, space: float) -> Sequence[Any]:
    from trainer.engraving.page import engrave_systems

    return engrave_systems(
        sheet.exercise, sheet.width, space_px=space, middle=sheet.middle, figures=sheet.figures
    )


def picture(
    svg: str, geometry: Geometry, ink: Colour, paper: Colour
) -> tuple[tuple[int, int], bytes]:
    """A system as RGB pixels."""
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
