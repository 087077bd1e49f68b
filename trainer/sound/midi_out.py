"""An instrument on a MIDI port instead of our own tone."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from trainer.errors import InputError
from trainer.sound.instruments import outputs
from trainer.sound.requests import Choice, KeyOff, KeyOn, Play, Request, Stop
from trainer.sound.track import ACCENT, BEAT, OFF, ON, Step, remaining

_CLICK_CHANNEL = 9  # General MIDI percussion (channel 10)
_CLICK_KEYS = {ACCENT: 76, BEAT: 77}  # General MIDI high and low wood block
_CLICK_SECONDS = 0.05

_CLICK_OFF = 4  # a step that only an instrument has


class MidiInstrument:
    """Sends notes to a port: keys as they are asked for, a track as its times come.

    Nothing here waits or keeps time: who drives it calls `perform` when that says so.
    """

    def __init__(self, port: Any) -> None:
        self._port = port
        self._sounding: dict[int, int] = {}  # key -> how many hold it
        self._held: list[int] = []  # keys the track holds
        self._steps: list[Step] = []
        self._next = 0
        self._volume = 0.5

    @staticmethod
    def open(name: str) -> tuple[MidiInstrument, str]:
        """The first output port whose name contains `name`, and its name; raises InputError."""
        import mido

        found, troubles = outputs()
        for way, output in found:
            if name.lower() in output.lower():
                try:
                    return MidiInstrument(mido.Backend(way).open_output(output)), output
                except Exception as error:  # the libraries raise kinds of their own
                    raise InputError(f"{output} cannot be opened ({error})") from error
        known = ", ".join(output for _, output in found)
        why = "" if known else "".join(f" ({trouble})" for trouble in troubles)
        raise InputError(
            f"no MIDI output named {name!r}{why}", remedy=f"there are: {known or 'none'}"
        )

    def do(self, request: Request, now: float) -> None:
        """Do at once what is asked for; of a track what is past is left out."""
        match request:
            case KeyOn(key, velocity, _):
                self._on(key, velocity)
            case KeyOff(key, _):
                self._off(key)
            case Play(steps, at):
                self._end_track()
                self._steps, self._next = _steps(steps, at, now), 0
            case Stop():
                self._end_track()
                for key in list(self._sounding):
                    self._sounding[key] = 1
                    self._off(key)
            case Choice(volume=volume):
                self._volume = min(1.0, max(0.0, volume))

    def perform(self, now: float) -> float | None:
        """Send what is due of the track; when there is more, None if there is none."""
        while self._next < len(self._steps):
            at, kind, key, velocity = self._steps[self._next]
            if at > now:
                return at
            self._next += 1
            self._perform(kind, key, velocity)
        return None

    def close(self) -> None:
        self.do(Stop(), 0.0)
        self._port.close()

    def _perform(self, kind: int, key: int, velocity: int) -> None:
        if kind == ON:
            self._held.append(key)
            self._on(key, velocity)
        elif kind == OFF:
            self._held.remove(key)
            self._off(key)
        else:
            word = "note_off" if kind == _CLICK_OFF else "note_on"
            self._send(word, key, velocity, channel=_CLICK_CHANNEL)

    def _on(self, key: int, velocity: int) -> None:
        self._sounding[key] = self._sounding.get(key, 0) + 1
        self._send("note_on", key, max(1, round(velocity * min(1.0, 2 * self._volume))))

    def _off(self, key: int) -> None:
        holders = self._sounding.pop(key, 0) - 1
        if holders > 0:
            self._sounding[key] = holders
        else:
            self._send("note_off", key, 0)

    def _end_track(self) -> None:
        self._steps, self._next = [], 0
        while self._held:
            self._off(self._held.pop())

    def _send(self, kind: str, key: int, velocity: int, channel: int = 0) -> None:
        import mido

        self._port.send(mido.Message(kind, channel=channel, note=key, velocity=velocity))


def _steps(steps: Iterable[Step], at: float, now: float) -> list[Step]:
    """The steps by the clock; each beat is a note of a wood block."""
    found: list[Step] = []
    for second, what, key, velocity in remaining(steps, now - at):
        if what in _CLICK_KEYS:
            key = _CLICK_KEYS[what]
            found.append((at + second, what, key, 70))
            found.append((at + second + _CLICK_SECONDS, _CLICK_OFF, key, 0))
        else:
            found.append((at + second, what, key, velocity))
    return sorted(found)
