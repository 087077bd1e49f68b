"""An instrument on a MIDI port instead of our own tone."""

from __future__ import annotations

import threading
import time
from typing import Any

from trainer.errors import InputError
from trainer.sound.track import Track

_CLICK_CHANNEL = 9  # General MIDI percussion (channel 10)
_CLICK_KEYS = {True: 76, False: 77}  # General MIDI high and low wood block
_CLICK_SECONDS = 0.05


class MidiInstrument:
    """Sends notes to a port; a thread sends the accompaniment at its times."""

    def __init__(self, port: Any, name: str) -> None:
        self.about = f"MIDI instrument {name}"
        self._port = port
        self._lock = threading.Lock()
        self._sounding: dict[int, int] = {}  # key -> how many hold it
        self._volume = 0.5
        self._halt = threading.Event()
        self._thread: threading.Thread | None = None

    @staticmethod
    def open(name: str) -> MidiInstrument:
        """Open the first output port whose name contains `name`; raises InputError."""
        import mido

        try:
            names: list[str] = mido.get_output_names()
        except Exception as error:
            # the ALSA client raises its library's own error where there is no sequencer
            raise InputError(f"no MIDI outputs can be listed ({error})") from error
        for found in names:
            if name.lower() in found.lower():
                return MidiInstrument(mido.open_output(found), found)
        known = ", ".join(names) or "none"
        raise InputError(f"no MIDI output named {name!r}", remedy=f"there are: {known}")

    def key_on(self, key: int, velocity: int = 64) -> None:
        self._send("note_on", key, max(1, round(velocity * min(1.0, 2 * self._volume))))

    def key_off(self, key: int) -> None:
        self._send("note_off", key, 0)

    def play(self, track: Track, at: float) -> None:
        self._end_track()
        self._halt = threading.Event()
        self._thread = threading.Thread(
            target=self._perform, args=(track, at, self._halt), name="midi-track", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        self._end_track()
        for key in list(self._sounding):
            self._send("note_off", key, 0, last=True)

    def set_volume(self, volume: float) -> None:
        self._volume = min(1.0, max(0.0, volume))

    def close(self) -> None:
        self.stop()
        self._port.close()

    def _send(self, kind: str, key: int, velocity: int, *, last: bool = False) -> None:
        import mido

        with self._lock:
            holders = 0 if last else self._sounding.get(key, 0) + (1 if kind == "note_on" else -1)
            if holders > 0:
                self._sounding[key] = holders
            else:
                self._sounding.pop(key, None)
            if kind == "note_on" or holders <= 0:
                self._port.send(mido.Message(kind, note=key, velocity=velocity))

    def _end_track(self) -> None:
        self._halt.set()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(timeout=1.0)
        self._thread = None

    def _perform(self, track: Track, at: float, halt: threading.Event) -> None:
        import mido

        messages: list[tuple[float, int, Any]] = []
        for note in track.notes:
            messages.append((note.start, 1, (True, note.key, note.velocity)))
            messages.append((note.start + note.duration, 0, (False, note.key, 0)))
        for click in track.clicks:
            key = _CLICK_KEYS[click.accent]
            for kind, delay in (("note_on", 0.0), ("note_off", _CLICK_SECONDS)):
                velocity = 70 if kind == "note_on" else 0
                message = mido.Message(kind, channel=_CLICK_CHANNEL, note=key, velocity=velocity)
                messages.append((click.start + delay, 2, message))
        held: list[int] = []
        for seconds, _, what in sorted(messages, key=lambda m: m[:2]):
            if halt.wait(max(0.0, at + seconds - time.monotonic())):
                break
            if isinstance(what, tuple):
                begins, key, velocity = what
                if begins:
                    held.append(key)
                    self.key_on(key, velocity)
                else:
                    held.remove(key)
                    self.key_off(key)
            else:
                with self._lock:
                    self._port.send(what)
        for key in held:
            self.key_off(key)
