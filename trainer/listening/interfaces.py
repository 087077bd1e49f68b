"""The small surface behind which a MIDI library stands.

An interface is one way into the machine's MIDI (ALSA, JACK, CoreMIDI, ...). Everything here is
called from one thread of a process of its own (`trainer.listening.ear`), never from the program's:
any of it may hang, and some of it ends the process when a server dies.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Protocol

CLIENT = "mittelstimme"  # under this name we stand in the lists of others
_TWIN = "#"
_NOT_KEYBOARDS = re.compile(r"midi through|^mittelstimme|announce|\bRtMidi\b", re.IGNORECASE)
_CHANGING = {  # what a name has at its end that changes from one plugging in to the next
    "ALSA": re.compile(r"\s+\d+:\d+$"),  # numbers of client and port
    "Windows MM": re.compile(r"\s+\d+$"),  # place in the list; from memory of RtMidi's source
}


class InterfaceError(Exception):
    """The interface is not there, or not any more; says why in one line."""


class OpenPort(Protocol):
    """A port that is listened to."""

    def arrived(self) -> Sequence[tuple[float, bytes]]:
        """The messages that have come since the last call, each with the seconds from the arrival
        of the one before it to its own. Raises InterfaceError."""

    def cut_off(self) -> bool:
        """Whether nothing comes from it any more, though a port of its name is listed; asked at
        every look."""

    def close(self) -> None: ...


class Interface(Protocol):
    """One way into the machine's MIDI."""

    def look(self) -> tuple[str, ...]:
        """The addresses of the ports there are now, in the system's order.

        Raises InterfaceError.
        """

    def alive(self, now: float) -> float:
        """Until when all that was played has certainly arrived, at the latest `now`; call it about
        every `trainer.listening.ear.LOOK_EVERY` seconds.

        Raises InterfaceError for a dead server.
        """

    def open(self, address: str) -> OpenPort:
        """Listen to a port. Raises InterfaceError where it cannot be had."""

    def close(self) -> None:
        """Give back what is not an open port; may hang where a server does."""


def addresses(names: Iterable[str]) -> tuple[str, ...]:
    """An address for each of a system's names, in their order: the whole name; where it stands
    there a second time, with its number."""
    seen: Counter[str] = Counter()
    found: list[str] = []
    for name in names:
        seen[name] += 1
        found.append(name if seen[name] == 1 else f"{name}{_TWIN}{seen[name]}")
    return tuple(found)


def whole_name(address: str) -> str:
    """The system's name for an address."""
    name, twin, number = address.rpartition(_TWIN)
    return name if twin and name and number.isdigit() and int(number) > 1 else address


def plain_name(address: str, title: str) -> str:
    """The name of a port without what changes at every plugging in."""
    name = whole_name(address)
    return _CHANGING[title].sub("", name) if title in _CHANGING else name


def keyboards(found: Iterable[str]) -> tuple[str, ...]:
    """Those addresses where somebody may play: not the system's own, not ours."""
    return tuple(address for address in found if not _NOT_KEYBOARDS.search(address))
