"""Renders sounding notes to samples, block by block: no clock, no device, no thread.

All ranks that sound are rows of arrays, so that a block costs a handful of NumPy calls whatever
the number of voices. Starts and ends fall on their exact frame, not on a block.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.sound.tone import RATE, STOPS, TABLE, WOOD, Rank, row, tables
from trainer.sound.tuning import frequency

_SLOTS = 96  # ranks that can sound at once; the oldest give way
_NEVER = np.iinfo(np.int64).max // 4
_CEILING = 0.5  # full scale 1.0: the loudest sample that ever leaves the program (-6 dB)
_MIDDLE_C = 261.63  # Hz
_CLICKS = {True: 1480.0, False: 987.0}  # Hz of the tactus, accented and not


@dataclass(frozen=True, slots=True)
class Voice:
    """What a note was started with: who plays it, and on which key."""

    source: str
    key: int


class Mixer:
    """The state of all sounding ranks. `frame` counts the frames rendered so far."""

    def __init__(
        self,
        *,
        stop: str = "organ",
        temperament: str = "equal",
        standard: float = 440.0,
        volume: float = 0.3,
    ) -> None:
        self.stop = stop
        self.temperament = temperament
        self.standard = standard
        self.volume = volume
        self.frame = 0
        self._tables = tables().ravel()
        self._voices: list[Voice | None] = [None] * _SLOTS
        self._row = np.zeros(_SLOTS, np.int64)
        self._phase = np.zeros(_SLOTS)
        self._step = np.zeros(_SLOTS)
        self._gain = np.zeros(_SLOTS)
        self._start = np.full(_SLOTS, _NEVER, np.int64)
        self._stop = np.full(_SLOTS, _NEVER, np.int64)
        self._attack = np.ones(_SLOTS)
        self._decay = np.zeros(_SLOTS)
        self._release = np.ones(_SLOTS)
        self._level = 0.0  # volume reached so far: a quiet start
        self._limit = 1.0

    def key_on(self, key: int, *, at: int, source: str = "player", stop: str | None = None) -> None:
        """Begin a note on MIDI note `key` at frame `at`; the same key again is struck anew."""
        self.key_off(key, at=at, source=source)
        hertz = frequency(key, self.temperament, self.standard)
        for rank in STOPS[stop or self.stop].ranks:
            self._begin(Voice(source, key), rank, hertz, at, 0.28)

    def key_off(self, key: int, *, at: int, source: str = "player") -> None:
        """End the note on `key` at frame `at`, with its release."""
        wanted = Voice(source, key)
        for slot, voice in enumerate(self._voices):
            if voice == wanted and self._stop[slot] == _NEVER:
                self._stop[slot] = max(at, int(self._start[slot]))

    def click(self, *, at: int, accent: bool) -> None:
        """One beat of the tactus at frame `at`."""
        self._begin(Voice("tactus", int(accent)), WOOD, _CLICKS[accent], at, 0.5 if accent else 0.3)

    def silence(self, *, at: int, source: str | None = None) -> None:
        """End everything (of one source) at frame `at`; what has not begun never does."""
        for slot, voice in enumerate(self._voices):
            if voice is not None and source in (None, voice.source):
                self._stop[slot] = min(int(self._stop[slot]), max(at, int(self._start[slot])))
                if self._start[slot] >= at:
                    self._free(slot)

    def render(self, frames: int) -> NDArray[np.float32]:
        """The next `frames` samples, shape (frames,), within ±0.5 of full scale."""
        now = np.arange(self.frame, self.frame + frames)
        active = np.flatnonzero(self._start < self.frame + frames)
        mixed = self._mix(active, now) if active.size else np.zeros(frames)
        self.frame += frames
        for slot in active:
            over = self.frame > self._stop[slot] + self._release[slot]
            faded = self._decay[slot] * (self.frame - self._start[slot]) > 9.0
            if over or faded:
                self._free(int(slot))
        return self._limited(mixed * self._swell(frames)).astype(np.float32)

    @property
    def sounding(self) -> int:
        """How many ranks are in use."""
        return sum(voice is not None for voice in self._voices)

    def _begin(self, voice: Voice, rank: Rank, hertz: float, at: int, gain: float) -> None:
        slot = self._vacant()
        self._voices[slot] = voice
        self._row[slot] = row(rank, hertz) * TABLE
        self._phase[slot] = 0.0
        self._step[slot] = hertz * TABLE / RATE
        self._gain[slot] = gain
        self._start[slot] = max(at, self.frame)
        self._stop[slot] = _NEVER
        self._attack[slot] = rank.attack * RATE
        brightness = np.sqrt(hertz / _MIDDLE_C) if rank is not WOOD else 1.0
        self._decay[slot] = rank.decay * brightness / RATE
        self._release[slot] = rank.release * RATE

    def _vacant(self) -> int:
        for slot, voice in enumerate(self._voices):
            if voice is None:
                return slot
        return int(np.argmin(self._start))

    def _free(self, slot: int) -> None:
        self._voices[slot] = None
        self._start[slot] = _NEVER
        self._stop[slot] = _NEVER

    def _mix(self, active: NDArray[np.intp], now: NDArray[np.int64]) -> NDArray[np.float64]:
        age = (now - self._start[active, None]).astype(np.float64)  # (ranks, frames)
        begun = np.maximum(age, 0.0)
        phase = (self._phase[active, None] + begun * self._step[active, None]) % TABLE
        whole = phase.astype(np.int64)
        part = phase - whole
        base = self._row[active, None]
        left = self._tables[base + whole]
        right = self._tables[base + (whole + 1) % TABLE]
        rising = _smooth(begun / self._attack[active, None])
        gone = (now - self._stop[active, None]) / self._release[active, None]
        falling = 1.0 - _smooth(gone)
        envelope = rising * falling * np.exp(-self._decay[active, None] * begun)
        envelope *= self._gain[active, None] * (age >= 0)
        mixed: NDArray[np.float64] = ((left + part * (right - left)) * envelope).sum(axis=0)
        return mixed

    def _swell(self, frames: int) -> NDArray[np.float64]:
        """The volume, moving to its setting no faster than full scale in a second."""
        reach = frames / RATE
        target = self._level + float(np.clip(self.volume - self._level, -reach, reach))
        curve = np.linspace(self._level, target, frames, endpoint=False)
        self._level = target
        return curve

    def _limited(self, block: NDArray[np.float64]) -> NDArray[np.float64]:
        peak = float(np.abs(block).max(initial=0.0))
        wanted = min(1.0, _CEILING / peak) if peak > 0 else 1.0
        recovering = min(1.0, self._limit + len(block) / RATE)  # back up within a second
        target = min(wanted, recovering)
        ramp = np.linspace(self._limit, target, len(block))
        self._limit = target
        return np.clip(block * ramp, -_CEILING, _CEILING)


def _smooth(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """0 below 0, 1 above 1, and between them a curve without corners."""
    clipped = np.clip(x, 0.0, 1.0)
    result: NDArray[np.float64] = clipped * clipped * (3.0 - 2.0 * clipped)
    return result
