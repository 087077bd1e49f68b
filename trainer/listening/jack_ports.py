"""Ports of a JACK server, through RtMidi, each with proof that it is heard.

JACK goes on listing what it listed last when its server has died, a keyboard that leaves and comes
back under its name between two looks leaves no trace in the list but is connected no more, and on
a busy machine a client opened just after another was closed may be connected and never be woken
(seen with jackd 1.9.21). So a message is sent round through the server again and again, to the
client that looks and to every open port, and JACK-Client tells what is connected. A client of a
dead server cannot be closed either (libjack falls): the process has to end.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Sequence
from typing import Any

from trainer.listening.interfaces import CLIENT, InterfaceError, OpenPort
from trainer.listening.rtmidi_ports import PORT, TRIES, Port, RtMidi, names, opened, shut

DEAF = 7  # times in a row that a message sent round may be missing before the server is dead
WITHIN = 0.4  # seconds until a port just opened has to have heard something
AGAIN = 2  # tries to open one that hears
_EACH = 0.005  # seconds between two messages sent meanwhile; a period of the server's lasts as long
_STOP_CHANGE = 0xC0  # program change: no key, carries a number, and no library drops it


class Jack:
    """The interface of that name. Clients that listened are kept for the next port."""

    def __init__(self) -> None:
        self._midi = RtMidi("JACK")
        self._round: _Round | None = None
        self._spare: list[tuple[Port, str]] = []
        self._clients = 0

    def look(self) -> tuple[str, ...]:
        return self._midi.look()

    def alive(self, now: float) -> float:
        return self._going_round().sent_round(now)

    def open(self, address: str) -> OpenPort:
        going_round = self._going_round()
        for _ in range(AGAIN):
            client, name = self._spare.pop() if self._spare else self._new(going_round)
            port = _Heard(client, name, address, going_round, self._spare)
            if port.hears():
                return port
            client.close()
        raise InterfaceError(f"JACK lets nothing through from {address}")

    def close(self) -> None:
        for client, _ in self._spare:
            client.close()
        if self._round is not None:
            self._round.close()
        self._midi.close()

    def _new(self, going_round: _Round) -> tuple[Port, str]:
        """A client that listens to nothing yet, and its port by its whole name."""
        self._clients += 1
        own = f"{PORT} {self._clients}"
        client = self._midi.waiting(own)
        return client, going_round.whole_name(own)

    def _going_round(self) -> _Round:
        if self._round is None:
            self._round = _Round(self._midi)
        return self._round


class _Round:
    """A message that goes round: out at a port of our own, through the server, and in again."""

    def __init__(self, midi: RtMidi) -> None:
        name = f"round {os.getpid()}"  # other programs of ours may send round too
        try:
            import jack  # where there is no libjack this raises OSError

            self._in = midi.looking()
            self._out = midi.speaking(name)
            for _ in range(TRIES):
                if opened(self._in, lambda there: _ending(there, f":{name}"), "round"):
                    break
                self._in.close_port()
            else:
                raise InterfaceError("the ports go on changing")
            there = names(self._in)
            self._name = there[_ending(there, f":{name}")]
            self._cables: Any = jack.Client(f"{CLIENT}-cables", no_start_server=True)
        except Exception as error:  # kinds of their own
            raise InterfaceError(f"nothing can be sent round: {error}") from None
        self.number = 0  # of messages sent
        self._sent: dict[int, float] = {}
        self._until = time.monotonic()
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
        self.send(now)
        return self._until

    def send(self, now: float) -> None:
        """One more, to whoever is connected."""
        self.number += 1
        self._sent[self.number % 128] = now
        self._out.send_message([_STOP_CHANGE, self.number % 128])

    def whole_name(self, own: str) -> str:
        """Of an input port of this process. Raises InterfaceError."""
        found = self._cables.get_ports(f":{own}$", is_midi=True, is_input=True)
        if not found:
            raise InterfaceError(f"JACK does not list our port {own}")
        return str(found[0].name)

    def connects(self, address: str, own: str) -> bool:
        """Whether the port of that address is connected to one of ours."""
        try:
            return own in [port.name for port in self._cables.get_all_connections(address)]
        except Exception:  # it is gone: the list of ports tells
            return False

    def connect(self, own: str, address: str) -> None:
        """Have a port of ours hear that one, and what goes round. Raises InterfaceError."""
        try:
            self._cables.connect(address, own)
            self._cables.connect(self._name, own)
        except Exception as error:
            raise InterfaceError(f"{address} cannot be opened: {error}") from None

    def disconnect(self, own: str) -> None:
        """Have a port of ours hear nothing."""
        with contextlib.suppress(Exception):
            for port in self._cables.get_all_connections(own):
                self._cables.disconnect(port, own)

    def close(self) -> None:
        with contextlib.suppress(Exception):
            self._cables.close()
        shut(self._out)


def _ending(there: Sequence[str], end: str) -> int:
    """The place of the port whose name ends so. Raises ValueError."""
    return [port[-len(end) :] for port in there].index(end)


class _Heard:
    """A port that is listened to, what goes round left out."""

    def __init__(
        self,
        client: Port,
        own: str,
        address: str,
        going_round: _Round,
        spare: list[tuple[Port, str]],
    ) -> None:
        self._client = client
        self._own = own
        self._address = address
        self._round = going_round
        self._spare = spare
        self._waiting: list[tuple[float, bytes]] = []
        self._skipped = 0.0  # seconds, of messages left out
        self._heard = going_round.number  # sent when something last arrived

    def hears(self) -> bool:
        """Connect it, and wait until something arrives. Raises InterfaceError."""
        self._round.connect(self._own, self._address)
        limit = time.monotonic() + WITHIN
        before = self._heard = self._round.number
        while not self._round.connects(self._address, self._own) or self._heard == before:
            if time.monotonic() > limit:
                return False  # a connection is there from the server's next period on
            self._round.send(time.monotonic())
            time.sleep(_EACH)
            self._waiting = list(self.arrived())
        return True

    def arrived(self) -> Sequence[tuple[float, bytes]]:
        found, self._waiting = self._waiting, []  # those that came while it was tried
        for after, data in self._client.arrived():
            self._heard = self._round.number
            self._skipped += after
            if data[0] != _STOP_CHANGE:
                found.append((self._skipped, data))
                self._skipped = 0.0
        return found

    def cut_off(self) -> bool:
        silent = self._round.number - self._heard >= DEAF
        return silent or not self._round.connects(self._address, self._own)

    def close(self) -> None:
        self._round.disconnect(self._own)
        if self._round.number - self._heard < DEAF:
            self._client.arrived()  # nobody's any more
            self._spare.append((self._client, self._own))
        else:
            self._client.close()
