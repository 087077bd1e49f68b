"""Engraving beside the loop: a process of its own, because verovio and resvg hold Python's lock.

The window asks for an exercise at a size and goes on; a thread receives finished systems, each an
opaque picture on the paper's colour with its geometry, and the window takes them at a frame.
"""

from __future__ import annotations

import contextlib
import io
import os
import pickle
import signal
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import trainer
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
    _process: subprocess.Popen[bytes] | None = None

    def begin(self) -> None:
        """Start the process, by Python's own module path, whatever the program was started by."""
        root = str(Path(trainer.__file__).resolve().parent.parent)
        paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
        self._process = subprocess.Popen(
            [sys.executable, "-c", "from trainer.screen.sheet.engraver import serve; serve()"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        )
        threading.Thread(
            target=self._receive, args=(self._process,), daemon=True, name="pages"
        ).start()

    def ask(self, sheet: Sheet) -> int:
        """Have a sheet engraved; returns the number its deliveries will carry. Older requests
        that are not finished are dropped. A process that has died is started again."""
        self._number += 1
        if not self.alive:
            self.begin()
        assert self._process is not None and self._process.stdin is not None
        try:
            pickle.dump((self._number, sheet), self._process.stdin)
            self._process.stdin.flush()
        except OSError as error:
            self.deliveries.append(Failed(self._number, f"the page cannot be engraved: {error}"))
        return self._number

    def take(self) -> Delivery | None:
        """The next delivery, None if there is none yet. Never waits."""
        return self.deliveries.popleft() if self.deliveries else None

    @property
    def alive(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def close(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.terminate()
            process.wait(timeout=5)
            assert process.stdin is not None and process.stdout is not None
            with contextlib.suppress(OSError):
                process.stdin.close()

    def _receive(self, process: subprocess.Popen[bytes]) -> None:
        assert process.stdout is not None
        with process.stdout as pipe:
            while True:
                try:
                    delivery = pickle.load(pipe)
                except (EOFError, OSError, ValueError, pickle.UnpicklingError):
                    break
                self.deliveries.append(delivery)
        if self._process is process:  # not closed by us
            why = "the page could not be engraved: its process ended"
            self.deliveries.append(Failed(self._number, why))


def serve() -> None:
    """The process's own loop: engrave the newest request, then draw system after system."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the window closes it
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints must not get among the answers
    requests: SimpleQueue[tuple[int, Sheet] | None] = SimpleQueue()

    def read() -> None:
        while True:
            try:
                requests.put(pickle.load(sys.stdin.buffer))
            except (EOFError, OSError, pickle.UnpicklingError):
                requests.put(None)
                return

    def send(delivery: Delivery) -> None:
        pickle.dump(delivery, answers)
        answers.flush()

    threading.Thread(target=read, daemon=True).start()
    with contextlib.suppress(BrokenPipeError):
        while (request := requests.get()) is not None:
            while not requests.empty() and (newer := requests.get()) is not None:
                request = newer
            _answer(send, requests.empty, *request)
    os._exit(0)  # the reading thread still holds stdin: there is nothing else to put away


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
