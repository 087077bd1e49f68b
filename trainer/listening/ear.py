"""The ear: a process of its own for each interface, so that what hangs or falls is only it.

It asks its library for messages every `POLL` seconds, stamps them with the time they arrived
(`time.monotonic`, the same for all processes of a machine), has them sound and tells them; it
watches the list of ports and opens and closes those it is told to. Nothing else ever runs here.
"""

from __future__ import annotations

import faulthandler
import gc
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from math import inf
from queue import Empty, SimpleQueue

from trainer.apart import Line, hurry
from trainer.apart.haste import Haste
from trainer.apart.passage import Row, send
from trainer.listening.assigning import Told
from trainer.listening.chosen_ports import Channels
from trainer.listening.interfaces import Interface, InterfaceError, OpenPort, whole_name
from trainer.listening.interfaces import keyboards as without_the_systems_own
from trainer.listening.libraries import interface, titles
from trainer.listening.stamps import Stamps
from trainer.listening.touch import Touch

POLL = 0.001  # seconds between two readings while a port is open
IDLE = 0.02  # the same while none is
LOOK_EVERY = 0.1  # seconds between two looks at the list of ports, each a sign of life
TRY_EVERY = 3.0  # seconds between two tries of what cannot be had
HANGS = 1.5  # seconds that a look may take
ENTRY = "trainer.listening.ear:serve"


# ---- what the program tells it --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Begin:
    """First of all: which interface to listen to."""

    title: str


@dataclass(frozen=True, slots=True)
class SoundAs:
    """The tone of each of the 128 keys, for each manual in turn, where keys sound from here
    (`trainer.listening.touch`)."""

    meant: bytes


@dataclass(frozen=True, slots=True)
class ListenTo:
    """These ports, by their addresses, are to be open and no others; what each is told to play."""

    ports: Mapping[str, Channels]
    told: Mapping[str, Told] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class End:
    """Nobody listens any more."""


Asked = Begin | SoundAs | ListenTo | End

# ---- what it tells --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Listed:
    """The ports there are, when they change; None and why if the interface does not answer."""

    addresses: tuple[str, ...] | None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Arrived:
    """Messages in the order of their times: (seconds, address, bytes)."""

    messages: tuple[tuple[float, str, bytes], ...]


@dataclass(frozen=True, slots=True)
class Sure:
    """All that was played until then has been told."""

    until: float


@dataclass(frozen=True, slots=True)
class Opened:
    """A port is listened to; `why` says why not, where it cannot be (it is tried again)."""

    address: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Gone:
    """A port that was listened to is not there any more; `since` it was last known to be."""

    address: str
    since: float


@dataclass(frozen=True, slots=True)
class Hurries:
    """How this process is woken on a busy machine."""

    how: Haste


Said = Hurries | Listed | Arrived | Sure | Opened | Gone


class Ear:
    """One interface listened to; call `read` again and again, from one thread, and `look` when it
    `has_to_look`."""

    def __init__(self, ways_in: Interface, tell: Callable[[Said], None], touch: Touch) -> None:
        self._interface = ways_in
        self._tell = tell
        self._touch = touch
        self._wanted: tuple[str, ...] = ()
        self._open: dict[str, tuple[OpenPort, Stamps]] = {}
        self._listed: tuple[str, ...] | None = None
        self._said: Listed | None = None
        self._look_at = -inf
        self._refused: dict[str, float] = {}  # when a port was last tried in vain
        self._sure = -inf

    @property
    def listening(self) -> bool:
        """Whether a port is open."""
        return bool(self._open)

    def listen_to(self, addresses: Iterable[str]) -> None:
        """From the next step on these ports and no others."""
        self._wanted = tuple(dict.fromkeys(addresses))
        self._look_at = -inf

    def has_to_look(self, now: float) -> bool:
        """Whether it is time to look at the list of ports."""
        return now >= self._look_at

    def close(self) -> None:
        """Give everything back, while the server is there to take it."""
        for port, _ in self._open.values():
            port.close()
        self._interface.close()

    def read(self, now: float) -> None:
        """Tell what has come."""
        messages: list[tuple[float, str, bytes]] = []
        for address, (port, stamps) in self._open.items():
            found = port.arrived()
            times = stamps.read(now if not found else time.monotonic(), [s for s, _ in found])
            messages += [(t, address, data) for t, (_, data) in zip(times, found, strict=True)]
        if messages:
            if len(self._open) > 1:
                messages.sort(key=lambda message: message[0])
            for at, address, data in messages:
                self._touch.feed(address, data, at)
            self._tell(Arrived(tuple(messages)))

    def look(self, now: float) -> None:
        """Look at the list of ports, open one or close some; a sign of life.

        Raises InterfaceError where the interface answered and does not any more: its clients
        cannot be closed and nothing can be had from it in this process again.
        """
        self._look_at = now + LOOK_EVERY
        first = self._listed is None
        try:
            listed = without_the_systems_own(self._interface.look())
        except InterfaceError as error:
            if not first:
                raise
            self._look_at = now + TRY_EVERY
            self._say(Listed(None, str(error)))
            return
        self._lose(self._missing(listed))
        self._listed = listed
        self._say(Listed(listed))
        opened = self._open_and_close(now)
        if not (first or opened):  # what is wanted is opened before anything else is done
            self._sure = self._interface.alive(now)
            self._tell(Sure(self._sure))

    def _say(self, listed: Listed) -> None:
        if listed != self._said:
            self._said = listed
            self._tell(listed)

    def _missing(self, listed: tuple[str, ...]) -> tuple[str, ...]:
        """The open ports that are gone. Where fewer of one name are left nobody knows which."""
        before = [whole_name(address) for address in self._listed or ()]
        names = [whole_name(address) for address in listed]
        return tuple(
            address
            for address, (port, _) in self._open.items()
            if names.count(whole_name(address)) < before.count(whole_name(address))
            or port.cut_off()
        )

    def _lose(self, addresses: tuple[str, ...]) -> None:
        for address in addresses:
            port, _ = self._open.pop(address)
            port.close()
            self._touch.lose(address, time.monotonic())
            self._wanted = tuple(a for a in self._wanted if a != address)
            self._tell(Gone(address, self._sure))
            self._said = None  # have the list told again, though the name may stand there

    def _open_and_close(self, now: float) -> bool:
        """Whether a port was opened, or tried."""
        for address in [address for address in self._open if address not in self._wanted]:
            self._open.pop(address)[0].close()
        for address in self._wanted:
            tried = self._refused.get(address, -inf)
            waits = address in self._open or address not in (self._listed or ())
            if not waits and now - tried >= TRY_EVERY:
                self._open_one(address, now)
                self._look_at = now  # one at a time: those that are open are read in between
                return True
        return False

    def _open_one(self, address: str, now: float) -> None:
        try:
            port = self._interface.open(address)
        except InterfaceError as error:
            self._refused[address] = now
            self._tell(Opened(address, str(error)))
        else:
            self._refused.pop(address, None)
            self._open[address] = port, Stamps(time.monotonic())
            self._tell(Opened(address))


def serve(line: Line) -> None:
    """The life of such a process."""
    asked: SimpleQueue[Asked] = SimpleQueue()
    line.listen(asked.put, lambda: asked.put(End()))
    begin = asked.get()
    if not isinstance(begin, Begin):
        return
    touch = Touch(_way_out(line), titles().index(begin.title))
    ear = Ear(interface(begin.title), line.tell, touch)
    gc.freeze()
    gc.disable()  # nothing here makes rings of references
    line.tell(Hurries(hurry(2)))  # it is little to do, a thousand times a second
    try:
        _listen(ear, touch, asked, line.beat)
    except InterfaceError as error:
        line.last_words(str(error))


def _way_out(line: Line) -> Callable[[Row], object]:
    """To the process that sounds; where there is none the program has keys sound."""
    return partial(send, line.handed[0]) if line.handed else lambda row: None


def _listen(ear: Ear, touch: Touch, asked: SimpleQueue[Asked], beat: Callable[[], object]) -> None:
    while not _over(ear, touch, asked):
        ear.read(now := time.monotonic())
        if ear.has_to_look(now):
            # a library that hangs holds Python's lock: only this watch can end the process
            faulthandler.dump_traceback_later(HANGS, exit=True)
            ear.look(now)
            faulthandler.cancel_dump_traceback_later()
            beat()  # also where there is nothing to tell: the interface does not answer
        time.sleep(POLL if ear.listening else IDLE)
    ear.close()


def _over(ear: Ear, touch: Touch, asked: SimpleQueue[Asked]) -> bool:
    try:
        while True:
            match asked.get_nowait():
                case ListenTo(ports, told):
                    ear.listen_to(ports)
                    touch.listen_to(ports, time.monotonic(), told)
                case SoundAs(meant):
                    touch.sound_as(meant)
                case End():
                    return True
    except Empty:
        return False
