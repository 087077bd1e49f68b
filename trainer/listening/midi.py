"""MIDI bytes to key events (MIDI 1.0, complete specification, tables I to III).

A keyboard sends note-on (9n) and note-off (8n); a note-on with velocity 0 is a note-off. The
status byte may be left out while it stays the same (running status). Clock and active sensing
(F8 to FF) may stand between any two bytes and change nothing; system common messages (F0 to F7)
end the running status.
"""

from __future__ import annotations

from collections.abc import Iterable

from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal

NOTE_OFF, NOTE_ON, CONTROL = 0x80, 0x90, 0xB0
SUSTAIN, ALL_SOUND_OFF, RESET_CONTROLLERS, ALL_NOTES_OFF = 64, 120, 121, 123
_DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}


class ByteReader:
    """Reads a stream of MIDI bytes in pieces of any size, all channels alike.

    It remembers the running status, an unfinished message and which keys are down.
    """

    def __init__(self) -> None:
        self._status = 0  # 0: none in force, data bytes are passed over
        self._data: list[int] = []
        self._down: dict[tuple[int, int], None] = {}  # (channel, key), in the order pressed
        self._pedal = False

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
        events: list[KeyEvent] = [KeyUp(time, key) for _, key in self._down]
        if self._pedal:
            events.append(Pedal(time, False))
        self._down.clear()
        self._pedal = False
        self._status = 0
        self._data.clear()
        return events

    def _message(self, status: int, data: list[int], time: float) -> list[KeyEvent]:
        kind, channel, first = status & 0xF0, status & 0x0F, data[0]
        if kind == NOTE_ON and data[1] > 0:
            self._down[channel, first] = None
            return [KeyDown(time, first, data[1])]
        if kind in (NOTE_ON, NOTE_OFF):
            self._down.pop((channel, first), None)
            if any(key == first for _, key in self._down):  # still held on another manual
                return []
            return [KeyUp(time, first)]
        if kind != CONTROL:
            return []
        if first == SUSTAIN:
            return self._set_pedal(data[1] >= 64, time)
        if first == RESET_CONTROLLERS:
            return self._set_pedal(False, time)
        if first == ALL_SOUND_OFF or first >= ALL_NOTES_OFF:
            keys = [key for at, key in self._down if at == channel]
            self._down = {held: None for held in self._down if held[0] != channel}
            return [KeyUp(time, key) for key in keys]
        return []

    def _set_pedal(self, down: bool, time: float) -> list[KeyEvent]:
        if down == self._pedal:  # half-pedal values stream in; only the change counts
            return []
        self._pedal = down
        return [Pedal(time, down)]
