"""Ports through RtMidi.

RtMidi fills its own queue, in the thread in which messages arrive, without Python's lock; a Python
callback there would make a server's real-time thread wait for that lock, and the server's buffer
is overwritten meanwhile (SpotlightKid/python-rtmidi pull request 185).

It does not report a port that went away and does not recover it (thestk/rtmidi issues 169, 191,
215; SpotlightKid/python-rtmidi 98), so the list of names is looked at. JACK needs more than that:
`trainer.listening.jack_ports`.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Sequence
from typing import Any

from trainer.listening.interfaces import CLIENT, InterfaceError, addresses

PORT = f"keys {os.getpid()}"  # a port of ours that listens; other programs of ours have theirs
QUEUE = 65536  # messages RtMidi may keep for us while nobody asks for them
TRIES = 5  # to open a port while others come and go
_FEW = 256  # the same of a port at which hardly anything comes


def _apis() -> dict[str, int]:
    import rtmidi

    known = {
        rtmidi.API_LINUX_ALSA: "ALSA",
        rtmidi.API_UNIX_JACK: "JACK",
        rtmidi.API_MACOSX_CORE: "CoreMIDI",
        rtmidi.API_WINDOWS_MM: "Windows MM",
    }
    return {known[api]: api for api in rtmidi.get_compiled_api() if api in known}


def titles() -> tuple[str, ...]:
    """The interfaces this build of RtMidi knows, in its order."""
    return tuple(_apis())


class RtMidi:
    """One interface. A client is kept for looking at the list, one more for every open port."""

    def __init__(self, title: str) -> None:
        self._title = title
        self._looking: Any = None

    def look(self) -> tuple[str, ...]:
        if self._looking is not None and self._title == "Windows MM":
            shut(self._looking)  # it would list what was there when it was made (issue 59)
            self._looking = None
        return addresses(names(self.looking()))

    def looking(self) -> Any:
        """The client that looks; its own port, where it has opened one, listens to little."""
        if self._looking is None:
            self._looking = self._client(_FEW)
        return self._looking

    def speaking(self, name: str) -> Any:
        """A client that sends at a port of its own. Raises a kind of the interface's own."""
        import rtmidi

        client = rtmidi.MidiOut(_apis()[self._title], name=CLIENT)
        client.open_virtual_port(name)
        return client

    def waiting(self, name: str) -> Port:
        """A client with a port of its own that somebody connects. Raises InterfaceError."""
        client = self._client(QUEUE)
        try:
            client.open_virtual_port(name)
        except Exception as error:  # a kind of the interface's own
            raise InterfaceError(f"no port can be had: {error}") from None
        return Port(client)

    def alive(self, now: float) -> float:
        return now  # it has just given its list

    def open(self, address: str) -> Port:
        for _ in range(TRIES):
            client = self._client(QUEUE)
            try:
                if opened(client, lambda there: addresses(there).index(address), PORT):
                    return Port(client)
            except Exception as error:  # by interface RtMidi raises kinds of its own; or ValueError
                shut(client)
                raise InterfaceError(f"{address} cannot be opened: {error}") from None
            shut(client)
        raise InterfaceError(f"the ports go on changing while {address} is opened")

    def close(self) -> None:
        if self._looking is not None:
            shut(self._looking)

    def _client(self, queue: int) -> Any:
        import rtmidi

        try:
            client = rtmidi.MidiIn(_apis()[self._title], name=CLIENT, queue_size_limit=queue)
        except Exception as error:  # ALSA without a sequencer, JACK without a server
            raise InterfaceError(" ".join(str(error).split())) from None
        client.ignore_types(sysex=True, timing=True, active_sense=True)
        return client


class Port:
    """A client that listens to one port."""

    def __init__(self, client: Any) -> None:
        self._client = client

    def arrived(self) -> Sequence[tuple[float, bytes]]:
        take = self._client.get_message
        found: list[tuple[float, bytes]] = []
        while (message := take()) is not None:
            found.append((message[1], bytes(message[0])))
        return found

    def cut_off(self) -> bool:
        return False  # where it comes back it has another address

    def close(self) -> None:
        shut(self._client)


def names(client: Any) -> list[str]:
    """The ports it could open, in the system's order. Raises InterfaceError."""
    import rtmidi

    for _ in range(TRIES):
        try:
            found: list[str] = client.get_ports()
        except rtmidi.InvalidParameterError:
            continue  # counted first, then named one by one: one of them went away meanwhile
        except Exception as error:  # by interface RtMidi raises kinds of its own
            raise InterfaceError(" ".join(str(error).split())) from None
        return found
    raise InterfaceError("the ports go on changing while they are listed")


def opened(client: Any, wanted: Callable[[Sequence[str]], int], name: str) -> bool:
    """Whether the port is open that was `wanted` of those listed; one port more or less just
    then, and it may be another one. Raises InterfaceError, ValueError and kinds of RtMidi's own."""
    there = names(client)
    client.open_port(wanted(there), name=name)
    return names(client) == there


def shut(client: Any) -> None:
    """Give it back, whether it has opened something or not."""
    with contextlib.suppress(Exception):
        client.close_port()
        client.delete()
