"""The program in its window as it is, with a note of when each key event came where.

    python -m tests.faults.measured_midi FOLDER ARGUMENT ...     the arguments of the program

The notes are written into FOLDER at the end, seconds of `time.monotonic` as doubles, one for each
message or key event in order: `stamped`, when the listening process says it arrived; `touched`,
when it lay in the passage to the process that sounds, and `piped`, in the system's pipe to the
program; `sounded`, when the program too had asked for its tone, and `queued`, when it lay in the
program's own queue. `drawn` and `engraved` are when something new was shown, and when a sheet came
from the engraver. `keys` is what `measured_sound` notes of every key that sounded. Lines on
standard input have the window do something; what has happened is told in lines on standard output.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.faults import measured_sound
from tests.faults.measured_ear import MEASURES, Notes
from trainer.apart import Process
from trainer.conducting import chosen_sound, sources
from trainer.journal import writer
from trainer.listening import keyboard
from trainer.listening.events import KeyEvent, ListeningEvent, PortFound, PortLost
from trainer.screen import window
from trainer.screen.sheet.engraver import Engraved
from trainer.sound import apart

LONG = 900.0  # seconds that anything may take at the end


class Noted(keyboard.Keyboard):
    """The program's end of listening."""

    def __init__(
        self,
        put: Callable[[ListeningEvent], None],
        *,
        at_once: Callable[[KeyEvent], None] | None = None,
        **more: Any,
    ) -> None:
        assert at_once is not None
        self.sounded, self.queued = Notes("sounded"), Notes("queued")

        def put_and_note(event: ListeningEvent) -> None:
            put(event)
            if isinstance(event, PortFound | PortLost):
                say(f"{type(event).__name__} {event.name}")
            else:
                self.queued.times.append(time.monotonic())

        def sound_and_note(event: KeyEvent) -> None:
            at_once(event)
            self.sounded.times.append(time.monotonic())

        super().__init__(put_and_note, at_once=sound_and_note, **more)

        OPENED.append(self)

    def put_away(self) -> None:
        """Have every process end by itself and write what it noted."""
        for side in self._sides.values():
            if isinstance(side.apart, Process):
                side.apart.leave()
                side.apart.wait(LONG)
        for notes in (self.sounded, self.queued, DRAWN, ENGRAVED):
            notes.write()

    def _fallen(self, side: Any, why: str) -> None:
        say(f"Port interface {side.title} fell: {why}")
        super()._fallen(side, why)


class Sounding(apart.SoundApart):
    """The program's end of the sound."""

    def __init__(self, *what: Any) -> None:
        super().__init__(*what)
        OPENED.append(self)

    def put_away(self) -> None:
        """Have the process end by itself and write what it noted."""
        if self._process is not None:
            self._process.leave()
            self._process.wait(LONG)


class Told(writer.Writer):
    """The log, which says when a take begins, and at its end when all that was played is in it; how
    it is judged, and what would have been better, is not waited for."""

    def begin(self, take: Any) -> str:
        found = super().begin(take)
        say(f"began {found}")
        return found

    def end(self, *what: Any) -> None:
        self.flush(LONG)
        say("ended")
        super().end(*what)


class Drawing(window.Stage):
    """What shows the views, with the times at which it showed something new."""

    def show(self, items: Any) -> Any:
        touched = super().show(items)
        if touched:
            if not DRAWN.times:
                say("drawn")
            DRAWN.times.append(time.monotonic())
        return touched


class Engraving(window.Engraver):
    """What engraves, with the times at which a whole sheet was given back."""

    def take(self) -> Any:
        delivery = super().take()
        if isinstance(delivery, Engraved):
            ENGRAVED.times.append(time.monotonic())
        return delivery


DRAWN, ENGRAVED = Notes("drawn"), Notes("engraved")
OPENED: list[Noted | Sounding] = []


def say(line: str) -> None:
    print(line, flush=True)


def obey() -> None:
    """Do what standard input asks of the window, until it ends."""
    import pygame

    keys = {"space": pygame.K_SPACE, "escape": pygame.K_ESCAPE}
    for line in sys.stdin:
        word, *numbers = line.split()
        if word in keys:
            event = pygame.event.Event(pygame.KEYDOWN, key=keys[word], unicode="", mod=0)
        elif word == "leave":
            for opened in OPENED:
                opened.put_away()
            event = pygame.event.Event(pygame.QUIT)
        else:
            width, height = map(int, numbers)
            event = pygame.event.Event(pygame.VIDEORESIZE, w=width, h=height)
        pygame.event.post(event)


def run(folder: str, *arguments: str) -> None:
    from trainer.commands import main as program

    os.environ[MEASURES] = folder
    os.environ[measured_sound.MEASURES] = str(Path(folder) / "keys")
    apart.ENTRY = "tests.faults.measured_sound:serve"
    keyboard.ENTRY = "tests.faults.measured_ear:serve"
    chosen_sound.SoundApart = Sounding  # type: ignore[misc]
    sources.Keyboard = Noted  # type: ignore[misc]
    writer.Writer = Told  # type: ignore[misc]
    window.Stage = Drawing  # type: ignore[misc]
    window.Engraver = Engraving  # type: ignore[misc]
    threading.Thread(target=obey, daemon=True).start()
    sys.argv[1:] = arguments
    program()


if __name__ == "__main__":
    run(*sys.argv[1:])
