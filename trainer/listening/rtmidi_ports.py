"""Ports through RtMidi.

RtMidi fills its own queue, in the thread in which messages arrive, without Python's lock; a Python
callback there would make a server's real-time thread wait for that lock, and the server's buffer
is overwritten meanwhile (SpotlightKid/python-rtmidi pull request 185).

It does not report a port that went away and does not recover it (thestk/rtmidi issues 169, 191,
215; SpotlightKid/python-rtmidi 98), so the list of names is looked at. JACK goes on listing what it
listed last when its server has died: there a message is sent round through the server again and
again. A client of a dead server cannot be closed either (libjack falls): the process has to end.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Sequence
from typing import Any

from trainer.listening.interfaces import CLIENT, InterfaceError, OpenPort, addresses

QUEUE = 65536  # messages RtMidi may keep for us while nobody asks for them
TRIES = 5  # to open a port while others come and go
DEAF = 7  # times in a row that a message sent round may be missing before the server is dead
_FEW = 64  # the same of a port at which hardly anything comes
_STOP_CHANGE = 0xC0  # program change: no key, carries a number, and no library drops it


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
        self._round: _Round | None = None

    def look(self) -> tuple[str, ...]:
        if self._looking is not None and self._title == "Windows MM":
            _shut(self._looking)  # it would list what was there when it was made (issue 59)
            self._looking = None
        if self._looking is None:
            self._looking = self._client(_FEW)
        return addresses(_names(self._looking))

    def alive(self, now: float) -> float:
        if self._title != "JACK":
            return now  # it has just given its list
        if self._round is None:
            self._round = _Round(self._looking, _apis()[self._title], now)
        return self._round.sent_round(now)

    def open(self, address: str) -> OpenPort:
        for _ in range(TRIES):
            client = self._client(QUEUE)
            try:
                if self._opened(client, address):
                    return _Port(client)
            except Exception as error:  # by interface RtMidi raises kinds of its own; or ValueError
                _shut(client)
                raise InterfaceError(f"{address} cannot be opened: {error}") from None
            _shut(client)
        raise InterfaceError(f"the ports go on changing while {address} is opened")

    def _opened(self, client: Any, address: str) -> bool:
        """Whether it is open; one port more or less just then, and it may be another one."""
        names = _names(client)
        client.ignore_types(sysex=True, timing=True, active_sense=True)
        client.open_port(addresses(names).index(address), name="keys")
        return _names(client) == names

    def close(self) -> None:
        if self._round is not None:
            self._round.close()
        elif self._looking is not None:
            _shut(self._looking)

    def _client(self, queue: int) -> Any:
        import rtmidi

        try:
            return rtmidi.MidiIn(_apis()[self._title], name=CLIENT, queue_size_limit=queue)
        except Exception as error:  # ALSA without a sequencer, JACK without a server
            raise InterfaceError(" ".join(str(error).split())) from None


class _Port:
    def __init__(self, client: Any) -> None:
        self._client = client

    def arrived(self) -> Sequence[tuple[float, bytes]]:
        take = self._client.get_message
        found: list[tuple[float, bytes]] = []
        while (message := take()) is not None:
            found.append((message[1], bytes(message[0])))
        return found

    def close(self) -> None:
        _shut(self._client)


class _Round:
    """A message that goes round: out at a port of our own, through the server, and in again."""

    def __init__(self, client: Any, api: int, now: float) -> None:
        import rtmidi

        name = f"round {os.getpid()}"  # other programs of ours may send round too
        try:
            self._in = client
            self._out = rtmidi.MidiOut(api, name=CLIENT)
            self._out.open_virtual_port(name)
            own = [n for n, port in enumerate(_names(client)) if port.endswith(f":{name}")]
            client.open_port(own[0], name="round")
        except Exception as error:
            raise InterfaceError(f"nothing can be sent round: {error}") from None
        self._number = 0
        self._sent: dict[int, float] = {}
        self._until = now
        self._missing = 0

    def sent_round(self, now: float) -> float:
        """When what came back last was sent; everything played before that has arrived."""
        came = False
        while (message := self._in.get_message()) is not None:
            number = message[0][1]
            if number in self._sent:
                self._until = self._sent[number]
                self._sent = {n: sent for n, sent in self._sent.items() if sent > self._until}
                came = True
        # looks are counted, not seconds: a machine that slept has not been waiting
        self._missing = 0 if came or not self._sent else self._missing + 1
        if self._missing >= DEAF:
            raise InterfaceError("the JACK server passes nothing on any more")
        self._number = (self._number + 1) % 128
        self._sent[self._number] = now
        self._out.send_message([_STOP_CHANGE, self._number])
        return self._until

    def close(self) -> None:
        _shut(self._out)
        _shut(self._in)


def _names(client: Any) -> list[str]:
    try:
        names: list[str] = client.get_ports()
    except Exception as error:  # by interface RtMidi raises kinds of its own
        raise InterfaceError(" ".join(str(error).split())) from None
    return names


def _shut(client: Any) -> None:
    with contextlib.suppress(Exception):
        client.close_port()
        client.delete()
