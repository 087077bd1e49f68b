"""Has keys sound from where they arrive, past the program, which hears of them a little later.

Each interface is listened to in a process of its own, and keyboards of another one are not known
here: what is told bears the process's number, so that who has the tones sound knows whether a pitch
is held elsewhere as well (`trainer.sound.touches`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from trainer.apart.passage import PEDAL, Row
from trainer.listening.assigning import NOTHING_TOLD, Told, plays
from trainer.listening.chosen_ports import Channels, octaves
from trainer.listening.events import KeyEvent, Pedal
from trainer.listening.held import Held
from trainer.listening.manuals import Manual
from trainer.listening.midi import ByteReader
from trainer.listening.tones import Tones


class Touch:
    """Tells `sound` when a tone begins (1) or ends (0), with twice the `number` of the process that
    listens added; which, and how hard it is struck; and the same of the pedal. Before `sound_as`
    nothing is to sound."""

    def __init__(self, sound: Callable[[Row], object], number: int = 0) -> None:
        self._sound = sound
        self._number = number
        self._meant = b""
        self._held = Held()
        self._readers: dict[str, ByteReader] = {}
        self._tones = Tones(self._begin, self._end, self._tone)

    def sound_as(self, meant: bytes) -> None:
        """From now on a key has the tone that stands in its place, 128 for each manual in turn."""
        self._meant = meant

    def listen_to(
        self, ports: Mapping[str, Channels], now: float, told: Mapping[str, Told] = NOTHING_TOLD
    ) -> None:
        """To these ports and channels, which play what they are `told`; what another holds is let
        go."""
        for address in self._readers.keys() - ports.keys():
            self.lose(address, now)
        for address, channels in ports.items():
            reader = self._readers.get(address)
            if reader is None:
                reader = self._readers[address] = ByteReader(self._held, address)
            reader.octaves = octaves(channels)
            reader.plays = plays(told.get(address, {}))

    def feed(self, address: str, data: bytes, time: float) -> None:
        """What has arrived at a port."""
        if (reader := self._readers.get(address)) is not None:
            self._play(reader.feed(data, time))

    def lose(self, address: str, now: float) -> None:
        """A port is gone."""
        if (reader := self._readers.pop(address, None)) is not None:
            self._play(reader.release_all(now))

    def _play(self, events: list[KeyEvent]) -> None:
        if self._meant:
            for event in events:
                if isinstance(event, Pedal):
                    self._sound((event.time, 2 * self._number + event.down, PEDAL, 0))
                self._tones.play(event)

    def _begin(self, tone: int, velocity: int, time: float) -> None:
        self._sound((time, 2 * self._number + 1, tone, velocity))

    def _end(self, tone: int, time: float) -> None:
        self._sound((time, 2 * self._number, tone, 0))

    def _tone(self, key: int, manual: Manual) -> int:
        return self._meant[128 * manual + key]
