"""A MIDI library made of paper in place of rtmidi, and ears that listen to it in a thread."""

from __future__ import annotations

import contextlib
import re
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from queue import Empty, SimpleQueue
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from trainer import midi_library
from trainer.apart import Passage
from trainer.listening import keyboard
from trainer.listening.ear import IDLE, POLL, Ear, ListenTo, Said
from trainer.listening.interfaces import InterfaceError
from trainer.listening.libraries import interface
from trainer.listening.touch import Touch


class PaperMidi(ModuleType):
    """As much of rtmidi as is used. Only the interfaces in `working` can be had (JACK: as on a
    machine without /dev/snd/seq); `fails` as if the server had gone, `stands_still` as if it hung.
    """

    class InvalidParameterError(Exception):
        """What rtmidi raises for a port that is not there."""

    API_LINUX_ALSA, API_UNIX_JACK, API_MACOSX_CORE, API_WINDOWS_MM = 2, 3, 1, 4

    def __init__(self) -> None:
        super().__init__("rtmidi")
        self.version = SimpleNamespace(version="0")
        self.names: list[str] = []
        self.working = {self.API_UNIX_JACK}
        self.opened: list[str] = []
        self.fails = self.stands_still = False
        self.leaving: list[str] = []  # each goes away while the ports are listed once
        self.busy: set[str] = set()  # ports that cannot be opened
        self.clients: list[Any] = []
        self.deaf: list[Any] = []  # clients that the server never wakes
        self.born_deaf = 0  # so many of those that listen next
        paper = self

        class Client:
            """Of either kind; those that listen have a `queue_size_limit`."""

            def __init__(self, api: int, name: str = "", queue_size_limit: int = 0) -> None:
                self.listens = queue_size_limit > 0
                if api not in paper.working or paper.fails:
                    raise SystemError("error creating client object")
                self.queue: deque[tuple[list[int], float]] = deque()
                self.hears: set[str] = set()  # ports it is connected with
                self.waits: str | None = None  # its own port, that others connect
                self.offers: str | None = None
                self.last: float | None = None
                paper.clients.append(self)

            def get_ports(self) -> list[str]:
                if paper.fails:
                    raise SystemError("the server is gone")
                if paper.leaving:
                    paper.names.remove(paper.leaving.pop(0))
                    raise PaperMidi.InvalidParameterError("the 'portNumber' argument is invalid")
                return [*paper.names, *(c.offers for c in paper.clients if c.offers)]

            def ignore_types(self, **_: bool) -> None: ...

            def open_port(self, number: int, name: str = "") -> None:
                port = self.get_ports()[number]
                if port in paper.busy:
                    raise SystemError("another program has it")
                paper.opened.append(port)
                self.hears = {port}

            def open_virtual_port(self, name: str) -> None:
                if not self.listens:
                    self.offers = f"mittelstimme:{name}"
                    return
                self.waits = f"mittelstimme:{name}"
                if paper.born_deaf:
                    paper.born_deaf -= 1
                    paper.deaf.append(self)

            def get_message(self) -> tuple[list[int], float] | None:
                return self.queue.popleft() if self.queue else None

            def send_message(self, data: list[int]) -> None:
                assert self.offers is not None
                if not paper.stands_still:
                    paper.play(self.offers, data)

            def close_port(self) -> None:
                self.waits = self.offers = None
                self.hears.clear()

            def delete(self) -> None:
                if self in paper.clients:
                    paper.clients.remove(self)

        self.MidiIn = self.MidiOut = Client

    def get_compiled_api(self) -> list[int]:
        return [self.API_LINUX_ALSA, self.API_UNIX_JACK]

    def get_rtmidi_version(self) -> str:
        return "0"

    def play(self, port: str, data: list[int]) -> None:
        """A message at a port."""
        now = time.monotonic()
        for client in self.clients:
            if client not in self.deaf and port in client.hears:
                after = 0.0 if client.last is None else now - client.last
                client.last = now
                client.queue.append((data, after))

    def put_in_again(self, port: str) -> None:
        """Out and in so quickly that the list of ports shows nothing of it."""
        for client in self.clients:
            client.hears.discard(port)

    def listened_to(self, port: str, within: float = 60.0) -> None:
        """Wait until somebody listens to a port."""
        until(lambda: any(port in client.hears for client in self.clients), within)


class PaperJack(ModuleType):
    """As much of JACK-Client as is used: what the clients of `midi` are connected to."""

    def __init__(self, midi: PaperMidi) -> None:
        super().__init__("jack")

        class Client:
            def __init__(self, name: str, no_start_server: bool = False) -> None: ...

            def get_ports(self, pattern: str, **_: bool) -> list[Any]:
                waiting = [client.waits for client in midi.clients if client.waits]
                return [SimpleNamespace(name=w) for w in waiting if re.search(pattern, w)]

            def get_all_connections(self, name: str) -> list[Any]:
                to = [client.waits for client in midi.clients if name in client.hears]
                return [SimpleNamespace(name=waits) for waits in to if waits] or [
                    SimpleNamespace(name=heard)
                    for client in midi.clients
                    if client.waits == name
                    for heard in sorted(client.hears)
                ]

            def connect(self, source: str, name: str) -> None:
                if source in midi.busy:
                    raise RuntimeError("another program has it")
                (client,) = (client for client in midi.clients if client.waits == name)
                client.hears.add(source)

            def disconnect(self, source: Any, name: str) -> None:
                (client,) = (client for client in midi.clients if client.waits == name)
                client.hears.discard(source.name)

            def close(self) -> None: ...

        self.Client = Client


def until(holds: Callable[[], bool], within: float = 60.0) -> None:
    """Wait for something that another thread brings about."""
    deadline = time.monotonic() + within
    while not holds():
        assert time.monotonic() < deadline, "it did not come about"
        time.sleep(0.002)


class Here:
    """An ear without a process of its own: the same loop in a thread."""

    def __init__(
        self,
        title: str,
        told: Callable[[Said], None],
        lost: Callable[[str], None],
        passage: Passage | None = None,
    ) -> None:
        self.ear = Ear(interface(title), told, Touch(lambda row: None))
        self._lost = lost
        self._asked: SimpleQueue[Any] = SimpleQueue()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True, name=f"ear {title}")
        self._thread.start()

    def send(self, message: Any) -> bool:
        self._asked.put(message)
        return True

    def end(self, within: float = 1.0) -> bool:
        self._over.set()
        self._thread.join(within)
        return True

    def _run(self) -> None:
        try:
            while not self._over.is_set():
                with contextlib.suppress(Empty):
                    while True:
                        request = self._asked.get_nowait()
                        if isinstance(request, ListenTo):
                            self.ear.listen_to(request.ports)
                self.ear.read(now := time.monotonic())
                if self.ear.has_to_look(now):
                    self.ear.look(now)
                time.sleep(POLL if self.ear.listening else IDLE)
            self.ear.close()
        except InterfaceError as error:
            self._lost(str(error))


@contextlib.contextmanager
def paper_in_place(monkeypatch: pytest.MonkeyPatch) -> Iterator[PaperMidi]:
    """Paper in place of the library, and no processes."""
    library = PaperMidi()
    monkeypatch.setitem(sys.modules, "rtmidi", library)
    monkeypatch.setitem(sys.modules, "jack", PaperJack(library))
    monkeypatch.setattr(keyboard, "start_ear", Here)
    midi_library.library.cache_clear()
    yield library
    midi_library.library.cache_clear()
