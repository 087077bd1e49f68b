"""MIDI bytes to key events (MIDI 1.0, complete specification, tables I to III).

A keyboard sends note-on (9n) and note-off (8n); a note-on with velocity 0 is a note-off. The
status byte may be left out while it stays the same (running status). Clock and active sensing
(F8 to FF) may stand between any two bytes and change nothing; system common messages (F0 to F7)
end the running status.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from trainer.listening.events import KeyEvent
from trainer.listening.held import Held
from trainer.listening.manuals import Manual

NOTE_OFF, NOTE_ON, CONTROL = 0x80, 0x90, 0xB0
SUSTAIN, ALL_SOUND_OFF, RESET_CONTROLLERS, ALL_NOTES_OFF = 64, 120, 121, 123
_DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}


class ByteReader:
    """Reads one port's stream of MIDI bytes in pieces of any size.

    It remembers the running status and an unfinished message; what is down, on this port and
    others, is in `held`. `octaves` tells by how many octaves a channel (0 to 15) is moved, None
    where it is not listened to, `plays` what it is told to play; others may be set.
    """

    def __init__(
        self,
        held: Held | None = None,
        port: str = "",
        octaves: Callable[[int], int | None] = lambda channel: 0,
    ) -> None:
        self._held = Held() if held is None else held
        self._port = port
        self.octaves = octaves
        self.plays: Callable[[int], Manual] = lambda channel: Manual.EVERYTHING
        self._status = 0  # 0: none in force, data bytes are passed over
        self._data: list[int] = []

    def feed(self, data: Iterable[int], time: float) -> list[KeyEvent]:
        """The events that `data` completes, all stamped with `time` (seconds)."""
        events: list[KeyEvent] = []
        for byte in data:
            if byte >= 0xF8:
                continue
            if byte >= 0x80:
                self._status = byte if byte < 0xF0 else 0
                self._data.clear()
            elif self._status:
                self._data.append(byte)
                if len(self._data) == _DATA_BYTES[self._status & 0xF0]:
                    events.extend(self._message(self._status, self._data, time))
                    self._data.clear()
        return events

    def release_all(self, time: float) -> list[KeyEvent]:
        """What a lost cable leaves to be done: every key up, the pedal up."""
        self._status = 0
        self._data.clear()
        return self._held.silence(self._port, time)

    def _message(self, status: int, data: list[int], time: float) -> list[KeyEvent]:
        kind, channel, first = status & 0xF0, status & 0x0F, data[0]
        octaves = self.octaves(channel)
        if octaves is None:
            return []
        who, manual = (self._port, channel), self.plays(channel)
        if kind == NOTE_ON and data[1] > 0:
            return self._held.press(who, first, octaves, data[1], time, manual)
        if kind in (NOTE_ON, NOTE_OFF):
            return self._held.release(who, first, octaves, time, manual)
        if kind != CONTROL:
            return []
        if first == SUSTAIN:
            return self._held.pedal(who, data[1] >= 64, time)
        if first == RESET_CONTROLLERS:
            return self._held.pedal(who, False, time)
        if first == ALL_SOUND_OFF or first >= ALL_NOTES_OFF:
            return self._held.keys_up(who, time)
        return []
