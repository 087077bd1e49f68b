"""Ports through PortMidi, as pygame brings it, for Pythons that have no python-rtmidi.

PortMidi makes its list once, when it is initialized. So another process initializes it again and
again and tells what it found; here that is done anew only to open a port that is not in our own
list, while nothing arrives at those that are open. PortMidi stamps whole milliseconds.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Sequence
from typing import Any

from trainer.apart import Line, Process
from trainer.listening.interfaces import InterfaceError, OpenPort, addresses

QUEUE = 16384  # events PortMidi may keep for us
AT_ONCE = 1024  # events it gives at most at a time
QUIET = 0.3  # seconds without a message after which nobody is taken to play
LOOK_AGAIN = 0.5  # seconds between two looks of the process that makes the list
FIRST_LIST = 1.0  # seconds we wait for the first one; it may come later
SILENT = 8.0  # seconds after which that process hangs
_SYSEX, _SYSEX_END, _REAL_TIME = 0xF0, 0xF7, 0xF8
LIST = "trainer.listening.portmidi_ports:serve"


class PortMidi:
    """All of PortMidi's devices as one interface."""

    def __init__(self) -> None:
        self._listed: tuple[str, ...] | None = None
        self._trouble = ""
        self._list = Process(LIST, self._take, self._fail, patience=SILENT)
        self._own: tuple[str, ...] = ()  # the list of our own PortMidi
        self._ports: dict[str, _Port] = {}

    def look(self) -> tuple[str, ...]:
        deadline = time.monotonic() + FIRST_LIST
        while self._listed is None and not self._trouble and time.monotonic() < deadline:
            time.sleep(0.01)
        if self._trouble:
            raise InterfaceError(self._trouble)
        return self._listed or ()

    def alive(self, now: float) -> float:
        return now

    def open(self, address: str) -> OpenPort:
        if address not in self._own or self._own != self._listed:
            self._begin_anew()
        port = _Port(self, address)
        port.begin(self._number(address))
        self._ports[address] = port
        return port

    def close(self) -> None:
        self._list.end()

    def forget(self, address: str) -> None:
        """The port has been closed."""
        self._ports.pop(address, None)

    def _begin_anew(self) -> None:
        """Have a new list of our own; open ports are opened again."""
        import pygame.midi

        if any(port.busy(time.monotonic()) for port in self._ports.values()):
            raise InterfaceError("another keyboard is being played just now")
        for port in self._ports.values():
            port.end()
        pygame.midi.quit()
        pygame.midi.init()
        self._own = _inputs()
        for address, port in self._ports.items():
            if address in self._own:  # else it is missed at the next look
                port.begin_again(self._number(address))

    def _number(self, address: str) -> int:
        """PortMidi's number of an input."""
        import pygame.midi

        infos = map(pygame.midi.get_device_info, range(pygame.midi.get_count()))
        numbers = [number for number, info in enumerate(infos) if info[2]]
        try:
            return numbers[self._own.index(address)]
        except (ValueError, IndexError):
            raise InterfaceError(f"{address} is not there") from None

    def _take(self, listed: tuple[str, ...]) -> None:
        self._listed = listed

    def _fail(self, why: str) -> None:
        self._trouble = f"PortMidi: {why}"


class _Port:
    def __init__(self, owner: PortMidi, address: str) -> None:
        self._owner = owner
        self._address = address
        self._input: Any = None
        self._last = -1  # PortMidi's time of the last message, in ms
        self._heard = 0.0
        self._trouble: InterfaceError | None = None

    def begin(self, number: int) -> None:
        import pygame.midi

        try:
            self._input = pygame.midi.Input(number, QUEUE)
        except Exception as error:  # the library raises plain kinds of its own
            raise InterfaceError(f"{self._address} cannot be opened: {error}") from None

    def begin_again(self, number: int) -> None:
        """The same after the library has begun anew; where it cannot be, whoever reads is told."""
        try:
            self.begin(number)
        except InterfaceError as error:
            self._trouble = error

    def end(self) -> None:
        with contextlib.suppress(Exception):
            self._input.close()
        self._input = None

    def busy(self, now: float) -> bool:
        return now - self._heard < QUIET

    def arrived(self) -> Sequence[tuple[float, bytes]]:
        found: list[tuple[float, bytes]] = []
        if self._trouble is not None:
            raise self._trouble
        if self._input is None:
            return found
        try:
            while events := self._input.read(AT_ONCE):
                for data, at in events:
                    after = 0.0 if self._last < 0 else (at - self._last) / 1000
                    self._last = at
                    found.append((after, message(data)))
        except Exception as error:  # its queue has overflowed, or the device is gone
            raise InterfaceError(f"{self._address} cannot be read: {error}") from None
        if found:
            self._heard = time.monotonic()
        return found

    def cut_off(self) -> bool:
        return False  # whoever has another list has it looked at anew

    def close(self) -> None:
        self.end()
        self._owner.forget(self._address)


def message(data: Sequence[int]) -> bytes:
    """The bytes of one of PortMidi's events, which always holds four.

    A message of the system's own comes in pieces of four bytes; the reader passes them over, as it
    does what follows the end of a message.
    """
    status = data[0]
    if status < 0x80 or status in (_SYSEX, _SYSEX_END):
        return bytes(data)
    if status >= _REAL_TIME:
        return bytes(data[:1])
    two = 0xC0 <= status < 0xE0 or status in (0xF1, 0xF3)
    return bytes(data[: 2 if two else 3])


def _inputs() -> tuple[str, ...]:
    import pygame.midi

    infos = map(pygame.midi.get_device_info, range(pygame.midi.get_count()))
    names = [info[1] for info in infos if info[2]]
    return addresses(name.decode(errors="replace") for name in names)


def serve(line: Line) -> None:
    """The life of the process that makes the list, again and again."""
    import pygame.midi

    line.listen(lambda message: None, lambda: os._exit(0))
    while True:
        pygame.midi.init()
        line.tell(_inputs())
        pygame.midi.quit()
        time.sleep(LOOK_AGAIN)
