"""The keyboards one plays on: found while the program runs, several at once, lost and found again.

Each interface of the machine is listened to by a process of its own (`trainer.listening.ear`); what
it tells arrives in a thread of ours that does nothing else. There the bytes become events, tones
start and events are queued. A process that falls, hangs or says that its server is dead is ended
and started anew; what it listened to counts as lost meanwhile.
"""

from __future__ import annotations

import threading
import time as clocks
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from math import inf
from typing import Any, Protocol

from trainer.apart import Passage, Process
from trainer.apart.haste import Haste
from trainer.listening.assigning import Assignment, Told, assigned, complaint, plays
from trainer.listening.chosen_ports import Channels, Port, chosen, named, octaves, wants_all
from trainer.listening.ear import (
    ENTRY,
    Arrived,
    Begin,
    Gone,
    Hurries,
    Listed,
    ListenTo,
    Opened,
    Said,
    SoundAs,
    Sure,
)
from trainer.listening.events import KeyEvent, ListeningEvent, PortFound, PortLost
from trainer.listening.held import Held
from trainer.listening.libraries import titles
from trainer.listening.midi import ByteReader

PATIENCE = (
    8.0  # seconds without a sign of life after which a process hangs, though it watches itself
)
ANEW = 0.3  # seconds until a process that fell is started again; where it soon falls again,
LATER = 5.0  # twice as long each time, up to this
STEADY = 10.0  # seconds after which a fall is not one of a row any more
FIRST = 8.0  # seconds at most that `settle` waits; a busy machine starts a process in four


class Apart(Protocol):
    """As much of a process of our own as is used here."""

    def send(self, message: Any) -> bool: ...

    def end(self, within: float = 1.0) -> bool: ...


Start = Callable[[str, Callable[[Said], None], Callable[[str], None]], Apart]


def start_ear(
    title: str,
    told: Callable[[Said], None],
    lost: Callable[[str], None],
    passage: Passage | None = None,
) -> Apart:
    """Start listening to an interface in a process of its own; with a passage to the process that
    sounds keys sound from there."""
    handing = () if passage is None else (passage.entrance,)
    process = Process(ENTRY, told, lost, patience=PATIENCE, handing=handing)
    process.send(Begin(title))
    return process


@dataclass
class _Open:
    """A port that is listened to."""

    name: str
    reader: ByteReader
    last: float = -inf  # when something came from it


@dataclass
class _Side:
    """What is known of one interface."""

    title: str
    apart: Apart | None = None
    heard_of: bool = False  # it has told its list, or that it has none to tell
    ports: tuple[Port, ...] = ()
    why: str = ""  # it does not answer
    asked: dict[Port, Channels] = field(default_factory=dict)
    told: dict[Port, Told] = field(default_factory=dict)  # what each port is to play
    refused: dict[str, str] = field(default_factory=dict)  # address -> why it cannot be opened
    open: dict[str, _Open] = field(default_factory=dict)  # by address
    sure: float = -inf
    hurries: Haste = "usual"
    begun: float = -inf  # when its process was started last
    number: int = 0  # of its processes so far
    falls: int = 0  # in quick succession


class Keyboard:
    """Listens to ports, by name or to whichever there are, through loss and return.

    `put` receives every event, `at_once` the key events only and before; both are called in the
    thread where the event arrives, so `at_once` is the place to start a tone. Through `passage` it
    starts earlier still. `wanted` is text as `trainer.listening.chosen_ports` reads it, `manuals`
    what each keyboard plays (`trainer.listening.assigning`); `start` starts the process for an
    interface.
    """

    def __init__(
        self,
        put: Callable[[ListeningEvent], None],
        *,
        wanted: str | None = None,
        manuals: Sequence[Assignment] = (),
        at_once: Callable[[KeyEvent], None] | None = None,
        passage: Passage | None = None,
        start: Start | None = None,
    ) -> None:
        self._put = put
        self._wanted = wanted
        self._manuals = manuals
        self._complaint = ""
        self._at_once = at_once
        self._start = start or partial(start_ear, passage=passage)
        self._meant: bytes | None = None
        self._held = Held()
        self._change = threading.Condition(threading.RLock())  # guards all that follows
        self._closing = threading.Event()
        self._sides = {title: _Side(title) for title in titles()}
        self._first: str | None = None  # the interface listened to where no names are wanted
        self._names: tuple[str, ...] = ()
        for side in self._sides.values():
            self._begin(side)

    # ---- what the program asks --------------------------------------------------------------

    @property
    def names(self) -> tuple[str, ...]:
        """The ports that are listened to now."""
        return self._names

    @property
    def name(self) -> str | None:
        """The same as one text; None while there is none."""
        return ", ".join(self.names) or None

    @property
    def ports(self) -> tuple[Port, ...]:
        """All ports there are."""
        with self._change:
            return tuple(port for side in self._sides.values() for port in side.ports)

    @property
    def interfaces(self) -> tuple[tuple[str, str], ...]:
        """Each interface, and why it does not answer (empty: it does)."""
        with self._change:
            return tuple((side.title, side.why) for side in self._sides.values())

    @property
    def hurries(self) -> tuple[Haste, ...]:
        """How its processes are woken where an interface answers."""
        with self._change:
            return tuple(side.hurries for side in self._sides.values() if not side.why)

    @property
    def refused(self) -> tuple[str, ...]:
        """A line for each port that was wanted and cannot be opened."""
        with self._change:
            return tuple(why for side in self._sides.values() for why in side.refused.values())

    @property
    def why_none(self) -> str:
        """Why no port is listened to, in a line; ask once it has settled."""
        with self._change:
            if self.refused:
                return "; ".join(self.refused)
            if not self._settled():
                return "the machine is too busy: its MIDI has not answered yet"
        if wants_all(self._wanted):
            return "there is no MIDI port"
        return f"there is no MIDI port {self._wanted!r}"

    @property
    def complaint(self) -> str:
        """A line where what the keyboards are told to play does not fit those there are; ask once
        it has settled. Never waits."""
        return self._complaint

    def sure(self, now: float) -> float:
        """Until when all that was played has been handed on; `now` where nothing is listened to.
        Never waits."""
        return min([now, *(side.sure for side in self._sides.values() if side.open)])

    def settle(self, within: float = FIRST) -> None:
        """Wait until every interface has told what it has, and what is wanted of that is open."""
        with self._change:
            self._change.wait_for(self._settled, within)

    def sound_as(self, meant: bytes) -> None:
        """From now on each of the 128 keys has the tone that stands in its place, for each manual
        in turn, where keys sound through a passage."""
        with self._change:
            self._meant = meant
            for side in self._sides.values():
                self._tell_tones(side)

    def listen(self, wanted: str | None) -> None:
        """To other ports from now on."""
        with self._change:
            self._wanted, self._first = wanted, None
            self._choose()

    def assign(self, manuals: Sequence[Assignment]) -> None:
        """Other things to be played by the keyboards from now on; a key that is down stays what it
        was until it is let go."""
        with self._change:
            self._manuals = manuals
            self._choose()

    def close(self) -> None:
        """Stop listening; takes a second at most."""
        self._closing.set()
        with self._change:
            ending = [side.apart for side in self._sides.values() if side.apart is not None]
            for side in self._sides.values():
                side.apart = None
                side.open.clear()
            self._names = ()
        threads = [threading.Thread(target=apart.end, daemon=True) for apart in ending]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(1.2)

    def _settled(self) -> bool:
        sides = self._sides.values()
        return all(side.heard_of for side in sides) and all(
            port.address in side.open or port.address in side.refused
            for side in sides
            for port in side.asked
        )

    # ---- what a process tells ---------------------------------------------------------------

    def _begin(self, side: _Side) -> None:
        """Start a process for an interface; what the one before it told is void."""
        if self._closing.is_set():
            return
        side.number, side.begun = side.number + 1, clocks.monotonic()
        number = side.number

        def told(said: Said) -> None:
            with self._change:
                if not self._closing.is_set() and side.number == number:
                    self._heed(side, said)

        try:
            apart = self._start(side.title, told, lambda why: self._fallen(side, why))
        except OSError as error:  # the system allows no more processes
            self._fallen(side, str(error))
            return
        with self._change:
            if not self._closing.is_set():
                side.apart = apart
                self._tell_tones(side)
                self._ask(side)
                return
        apart.end()

    def _heed(self, side: _Side, said: Said) -> None:
        match said:
            case Arrived(messages):
                for time, address, data in messages:
                    if (port := side.open.get(address)) is not None:
                        port.last = time
                        self._hand_on(port.reader.feed(data, time))
            case Sure(until):
                side.sure = until
            case Hurries(how):
                side.hurries = how
            case Listed(addresses, why):
                side.heard_of, side.why = True, why
                side.ports = named(side.title, addresses or ())
                side.refused = {a: w for a, w in side.refused.items() if a in (addresses or ())}
                self._choose()
            case Opened(address, why):
                self._opened(side, address, why)
            case Gone(address, since):
                self._gone(side, address, since)
        if not isinstance(said, Arrived | Sure):
            self._change.notify_all()

    def _opened(self, side: _Side, address: str, why: str) -> None:
        port = next((port for port in side.asked if port.address == address), None)
        if port is None or address in side.open:  # asked for no longer, or told twice
            return
        if why:
            side.refused[address] = why
            return
        side.refused.pop(address, None)
        reader = ByteReader(self._held, f"{side.title} {address}", octaves(side.asked[port]))
        reader.plays = plays(side.told.get(port, {}))
        side.open[address] = _Open(port.name, reader)
        side.sure = clocks.monotonic()
        self._name()
        self._put(PortFound(side.sure, port.name))

    def _gone(self, side: _Side, address: str, since: float) -> None:
        side.asked = {port: how for port, how in side.asked.items() if port.address != address}
        port = side.open.pop(address, None)
        if port is None:
            return
        self._name()
        now = clocks.monotonic()
        self._hand_on(port.reader.release_all(now))
        self._put(PortLost(now, port.name, min(now, max(since, port.last)), bool(self._names)))

    def _fallen(self, side: _Side, why: str) -> None:
        with self._change:
            if self._closing.is_set():
                return
            for address in tuple(side.open):
                self._gone(side, address, side.sure)
            side.falls = side.falls + 1 if clocks.monotonic() - side.begun < STEADY else 0
            wait = min(LATER, ANEW * 2**side.falls)
            side.apart, side.heard_of = None, True
            side.ports, side.why, side.asked = (), why, {}
            self._choose()
            self._change.notify_all()
        again = threading.Timer(wait, self._begin, (side,))
        again.daemon = True
        again.start()

    # ---- what is to be open -----------------------------------------------------------------

    def _choose(self) -> None:
        """Once all interfaces have told their ports: have those that are wanted opened."""
        sides = self._sides.values()
        if not all(side.heard_of for side in sides):
            return
        ports = [port for side in sides for port in side.ports]
        kept = [port for port in ports if port.interface == self._first]
        for_all = kept or ports  # one interface is stayed with as long as it has a port
        asked = chosen(self._wanted, for_all if wants_all(self._wanted) else ports)
        self._first = next(iter(asked)).interface if asked else None
        told = assigned(self._manuals, ports)
        self._complaint = complaint(self._manuals, ports)
        for side in sides:
            mine = {port: how for port, how in asked.items() if port.interface == side.title}
            names = {port.address: port.name for port in mine}
            for address in [address for address in side.open if address not in names]:
                self._gone(side, address, clocks.monotonic())
            playing = {port: told[port] for port in mine if port in told}
            if (mine, playing) != (side.asked, side.told):
                side.asked, side.told = mine, playing
                for port, channels in mine.items():
                    if port.address in side.open:
                        reader = side.open[port.address].reader
                        reader.octaves = octaves(channels)
                        reader.plays = plays(playing.get(port, {}))
                self._ask(side)

    def _name(self) -> None:
        self._names = tuple(o.name for side in self._sides.values() for o in side.open.values())

    def _ask(self, side: _Side) -> None:
        if side.apart is not None:
            ports = {port.address: how for port, how in side.asked.items()}
            manuals = {port.address: channels for port, channels in side.told.items()}
            side.apart.send(ListenTo(ports, manuals))

    def _tell_tones(self, side: _Side) -> None:
        if side.apart is not None and self._meant is not None:
            side.apart.send(SoundAs(self._meant))

    def _hand_on(self, events: list[KeyEvent]) -> None:
        for event in events:
            if self._at_once is not None:
                self._at_once(event)
            self._put(event)
