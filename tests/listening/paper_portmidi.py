"""PortMidi made of paper, as pygame gives it, and the process that makes its list."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import Any

# a device: interface, name, whether an input, whether an output, whether open
Info = tuple[bytes, bytes, int, int, int]


class PaperPortMidi(ModuleType):
    """As much of `pygame.midi` as is used. `plugged` are the devices there are; the library knows
    those there were when it was initialized, and stamps what it is given in milliseconds.

    The structure of events is that of pygame 2.6.1, `pygame.midi.Input.read`.
    """

    def __init__(self, *plugged: str) -> None:
        super().__init__("pygame.midi")
        self.plugged = list(plugged)
        self.known: list[Info] | None = None
        self.inputs: list[Any] = []  # that are open
        self.taken: set[str] = set()  # by other programs
        self.begun = 0
        paper = self

        class Input:
            def __init__(self, number: int, size: int) -> None:
                assert paper.known is not None and size > 0
                self.name = paper.known[number][1].decode()
                if self.name in paper.taken:
                    raise RuntimeError("PortMidi: `Host error'")
                self.waiting: list[list[Any]] = []
                self.overflowed = False
                paper.inputs.append(self)

            def read(self, most: int) -> list[list[Any]]:
                if self.overflowed:
                    raise RuntimeError("PortMidi: `Buffer overflow'")
                read, self.waiting = self.waiting[:most], self.waiting[most:]
                return read

            def close(self) -> None:
                paper.inputs.remove(self)

        self.Input = Input

    def init(self) -> None:
        if self.known is None:
            self.begun += 1
            through: Info = (b"ALSA", b"Midi Through Port-0", 0, 1, 0)
            self.known = [through, *((b"ALSA", n.encode(), 1, 0, 0) for n in self.plugged)]

    def quit(self) -> None:
        assert not self.inputs, "ended under an open port"
        self.known = None

    def get_count(self) -> int:
        assert self.known is not None
        return len(self.known)

    def get_device_info(self, number: int) -> Info:
        assert self.known is not None
        return self.known[number]

    def play(self, name: str, milliseconds: int, *data: int) -> None:
        """A message at an open port, filled up to four bytes as PortMidi does."""
        for port in self.inputs:
            if port.name == name:
                port.waiting.append([[*data, *[0] * (4 - len(data))], milliseconds])


class PaperList:
    """The process that makes the list again and again, by hand."""

    def __init__(
        self,
        entry: str,
        told: Callable[[tuple[str, ...]], None],
        lost: Callable[[str], None],
        *,
        patience: float,
    ) -> None:
        self.told, self.lost = told, lost
        self.ended = False

    def end(self) -> None:
        self.ended = True
