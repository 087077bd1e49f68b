"""MIDI ports: found while the program runs, opened, lost, opened again.

RtMidi does not report a port that went away and does not recover it (thestk/rtmidi issues 169,
191, 215; SpotlightKid/python-rtmidi 98), so the list of names is watched: when the name is gone
the port is closed and listening goes on for its return. The list is asked for from the thread
that calls `Keyboard.watch`, never from another one, which has failed on ALSA. Making a client can
raise (ALSA without /dev/snd/seq, JACK without a server); such an interface is passed over.
"""

from __future__ import annotations

import contextlib
import os
import re
import sys
import time as clocks
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import inf

from trainer.errors import InputError
from trainer.listening.events import KeyEvent, ListeningEvent, PortFound, PortLost
from trainer.listening.midi import ByteReader

WATCH_EVERY = 0.4  # seconds between two looks at the list of names
TRY_EVERY = 5.0  # seconds between two tries of an interface that does not answer
CLIENT = "mittelstimme"
_NOT_KEYBOARDS = re.compile(r"midi through|^mittelstimme|announce|\bRtMidi\b", re.IGNORECASE)
_ADDRESS = re.compile(r"\s+\d+:\d+$")  # ALSA's client and port numbers change at every plugging in


@dataclass(frozen=True, slots=True)
class Port:
    """An input port: `name` without changing numbers, `interface` such as ALSA or JACK."""

    name: str
    interface: str


def ports() -> tuple[Port, ...]:
    """The input ports of every interface of this machine that answers now."""
    found: list[Port] = []
    for api, interface in _interfaces():
        client = _client(api)
        if client is None:
            continue
        with _closing(client):
            names = _names(client)
        found += [Port(name, interface) for name in names if not _NOT_KEYBOARDS.search(name)]
    return tuple(dict.fromkeys(found))


def choose(wanted: str | None, names: tuple[str, ...]) -> str | None:
    """The port meant by `wanted`: its full name, else a part of it, capitals alike.

    Without `wanted` the first one. None if there is none; InputError if a part fits several.
    """
    if wanted is None:
        return names[0] if names else None
    if wanted in names:
        return wanted
    fits = [name for name in names if wanted.casefold() in name.casefold()]
    if len(fits) > 1:
        raise InputError(
            f"--input {wanted!r} fits {len(fits)} ports: {', '.join(fits)}",
            remedy="give more of the name",
        )
    return fits[0] if fits else None


class Keyboard:
    """Listens to one port, by name or to whichever there is, through loss and return.

    `put` receives every event, `at_once` the key events only; both are called in the MIDI thread
    where the event arises, so `at_once` is the place to start a tone. `clock` gives seconds.
    """

    def __init__(
        self,
        put: Callable[[ListeningEvent], None],
        *,
        wanted: str | None = None,
        at_once: Callable[[KeyEvent], None] | None = None,
        clock: Callable[[], float] = clocks.monotonic,
    ) -> None:
        self._put = put
        self._wanted = wanted
        self._at_once = at_once
        self._clock = clock
        self._reader = ByteReader()
        self._clients: dict[int, object] = {}  # one for each interface that answers
        self._failed: dict[int, float] = {}  # when an interface was last tried in vain
        self._open: tuple[int, object, str] | None = None
        self._looked = -inf
        self._known: str | None = None  # the port listened to last, preferred when several return

    @property
    def name(self) -> str | None:
        """The port that is open, None while there is none."""
        return None if self._open is None else self._open[2]

    def watch(self) -> None:
        """Look at the list of names, if it is time to; open, close, reopen. Call it often."""
        now = self._clock()
        if now - self._looked < WATCH_EVERY:
            return
        self._looked = now
        if self._open is not None:
            api, client, name = self._open
            if name in self._listed(api):
                return
            self._lose(client, name)
        self._find()

    def close(self) -> None:
        """Stop listening and give the clients back."""
        if self._open is not None:
            _shut(self._open[1])
            self._open = None
        for api in list(self._clients):
            _shut(self._clients.pop(api))

    def _lose(self, client: object, name: str) -> None:
        _shut(client)
        self._open = None
        now = self._clock()
        for event in self._reader.release_all(now):
            self._hand_on(event)
        self._put(PortLost(now, name))

    def _find(self) -> None:
        for api, _ in _interfaces():
            names = self._listed(api)
            if not names:
                continue
            prefer = self._known if self._known in names else None
            name = prefer or choose(self._wanted, names)
            if name is not None and self._listen(api, name):
                return

    def _listed(self, api: int) -> tuple[str, ...]:
        """The names an interface lists, through a client kept for it (made anew if it failed)."""
        client = self._clients.get(api)
        if client is None:
            if self._looked - self._failed.get(api, -inf) < TRY_EVERY:
                return ()
            client = _client(api)
            if client is None:
                self._failed[api] = self._looked
                return ()
        try:
            names = _names(client)
        except Exception:  # the server behind the client went away
            self._clients.pop(api, None)
            _shut(client)
            return ()
        if _keeps_its_list(api):
            self._clients[api] = client
        else:
            _shut(client)
        return tuple(name for name in names if not _NOT_KEYBOARDS.search(name))

    def _listen(self, api: int, name: str) -> bool:
        client = _client(api)
        if client is None:
            return False
        with contextlib.suppress(Exception):
            names = _names(client)
            if name in names:
                client.ignore_types(sysex=True, timing=True, active_sense=True)  # type: ignore[attr-defined]
                client.set_callback(self._callback)  # type: ignore[attr-defined]
                with _quiet():
                    client.open_port(names.index(name), name="keys")  # type: ignore[attr-defined]
                self._open = (api, client, name)
                self._known = name
                self._put(PortFound(self._clock(), name))
                return True
        _shut(client)
        return False

    def _callback(self, message: tuple[list[int], float], data: object = None) -> None:
        now = self._clock()
        for event in self._reader.feed(message[0], now):
            self._hand_on(event)

    def _hand_on(self, event: KeyEvent) -> None:
        if self._at_once is not None:
            self._at_once(event)
        self._put(event)


def _interfaces() -> list[tuple[int, str]]:
    import rtmidi

    titles = {
        rtmidi.API_LINUX_ALSA: "ALSA",
        rtmidi.API_UNIX_JACK: "JACK",
        rtmidi.API_MACOSX_CORE: "CoreMIDI",
        rtmidi.API_WINDOWS_MM: "Windows MM",
    }
    return [(api, titles[api]) for api in rtmidi.get_compiled_api() if api in titles]


def _keeps_its_list(api: int) -> bool:
    """On Windows a client goes on listing what was there when it was made (python-rtmidi 59)."""
    import rtmidi

    return bool(api != rtmidi.API_WINDOWS_MM)


def _client(api: int) -> object | None:
    import rtmidi

    try:
        with _quiet():
            return rtmidi.MidiIn(api, name=CLIENT)  # type: ignore[no-any-return]
    except Exception:  # rtmidi raises its own SystemError and others, by interface
        return None


def _names(client: object) -> tuple[str, ...]:
    names: list[str] = client.get_ports()  # type: ignore[attr-defined]
    return tuple(_ADDRESS.sub("", name) for name in names)


def _shut(client: object) -> None:
    with contextlib.suppress(Exception), _quiet():
        client.close_port()  # type: ignore[attr-defined]
        client.delete()  # type: ignore[attr-defined]


@contextlib.contextmanager
def _closing(client: object) -> Iterator[None]:
    try:
        yield
    finally:
        _shut(client)


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep what the C libraries of ALSA and JACK print on stderr away from the player's screen."""
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    sys.stderr.flush()
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
