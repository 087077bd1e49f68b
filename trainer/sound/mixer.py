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
_MOVING = 0.06  # seconds in which a sounding note moves to another tuning or stop
_CEILING = 0.5  # full scale 1.0: the loudest sample that ever leaves the program (-6 dB)
_KNEE = 0.45  # where the ceiling begins to be felt, so that no wave is cut off at it
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
        self._phase = np.zeros(_SLOTS)  # at frame `_from`
        self._from = np.zeros(_SLOTS, np.int64)
        self._step = np.zeros(_SLOTS)
        self._bend = np.zeros(_SLOTS)  # what `_step` differed by before `_from`
        self._gain = np.zeros(_SLOTS)
        self._start = np.full(_SLOTS, _NEVER, np.int64)
        self._stop = np.full(_SLOTS, _NEVER, np.int64)
        self._attack = np.ones(_SLOTS)
        self._decay = np.zeros(_SLOTS)
        self._release = np.ones(_SLOTS)
        self._level = 0.0  # volume reached so far: a quiet start
        self._limit = 1.0
        self._moved = 0  # the frame at which all sounding notes have come to their tuning

    def key_on(self, key: int, *, at: int, source: str = "player") -> None:
        """Begin a note on MIDI note `key` at frame `at`; the same key again is struck anew."""
        self.key_off(key, at=at, source=source)
        self._sound(Voice(source, key), at)

    def key_off(self, key: int, *, at: int, source: str = "player") -> None:
        """End the note on `key` at frame `at`, with its release."""
        wanted = Voice(source, key)
        for slot, voice in enumerate(self._voices):
            if voice == wanted and self._stop[slot] == _NEVER:
                self._stop[slot] = max(at, int(self._start[slot]))

    def retune(self, stop: str, temperament: str, standard: float) -> None:
        """Another tone or tuning from the next frame on. What sounds moves over without a corner:
        to another pitch as a pipe that is tuned, to another stop by fading into it."""
        held = [s for s in np.flatnonzero(self._stop == _NEVER) if self._tuned(int(s))]
        other = stop != self.stop
        self.stop, self.temperament, self.standard = stop, temperament, standard
        self._moved = self.frame + round(_MOVING * RATE)
        if other:
            self._fade_over(held)
        else:
            for slot in held:
                self._bend_over(int(slot))

    @property
    def moving(self) -> bool:
        """Whether some note may not have come to its tuning yet."""
        return self.frame < self._moved

    def click(self, *, at: int, accent: bool) -> None:
        """One beat of the tactus at frame `at`."""
        voice, gain = Voice("tactus", int(accent)), 0.5 if accent else 0.3
        self._begin(voice, WOOD, _CLICKS[accent], at, gain, WOOD.attack)

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

    def _tuned(self, slot: int) -> bool:
        voice = self._voices[slot]
        return voice is not None and voice.source != "tactus"

    def _fade_over(self, held: list[np.intp]) -> None:
        begun = {self._voices[slot]: int(self._start[slot]) for slot in held}
        for slot in held:
            self._stop[slot] = self.frame
            self._release[slot] = _MOVING * RATE
            if self._start[slot] >= self.frame:
                self._free(int(slot))
        for voice, start in begun.items():
            assert voice is not None
            # the old falls as the new rises: together they are never more than one of them
            self._sound(voice, max(start, self.frame), rising=_MOVING)

    def _bend_over(self, slot: int) -> None:
        voice = self._voices[slot]
        assert voice is not None
        old = self._step[slot]
        passed = self.frame - self._from[slot]
        self._phase[slot] += passed * old + self._bend[slot] * _bent(passed)
        self._from[slot] = self.frame
        hertz = frequency(voice.key, self.temperament, self.standard)
        self._step[slot] = hertz * TABLE / RATE
        self._bend[slot] = old - self._step[slot]

    def _sound(self, voice: Voice, at: int, rising: float = 0.0) -> None:
        hertz = frequency(voice.key, self.temperament, self.standard)
        for rank in STOPS[self.stop].ranks:
            self._begin(voice, rank, hertz, at, 0.28, max(rank.attack, rising))

    def _begin(
        self, voice: Voice, rank: Rank, hertz: float, at: int, gain: float, attack: float
    ) -> None:
        slot = self._vacant()
        self._voices[slot] = voice
        self._row[slot] = row(rank, hertz) * TABLE
        self._start[slot] = self._from[slot] = max(at, self.frame)
        self._phase[slot] = self._bend[slot] = 0.0
        self._step[slot] = hertz * TABLE / RATE
        self._gain[slot] = gain
        self._stop[slot] = _NEVER
        self._attack[slot] = attack * RATE
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
        passed = (now - self._from[active, None]).astype(np.float64)
        phase = self._phase[active, None] + passed * self._step[active, None]
        if self._bend[active].any():
            phase += self._bend[active, None] * _bent(passed)
        phase %= TABLE
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
        wanted = min(1.0, _KNEE / peak) if peak > 0 else 1.0
        recovering = min(1.0, self._limit + len(block) / RATE)  # back up within a second
        target = min(wanted, recovering)
        ramp = np.linspace(self._limit, target, len(block))
        self._limit = target
        return _under_the_ceiling(block * ramp)


def _under_the_ceiling(block: NDArray[np.float64]) -> NDArray[np.float64]:
    """What is over the knee is bent to stay below the ceiling; cut off there, it would click."""
    size = np.abs(block)
    if size.max(initial=0.0) <= _KNEE:
        return block
    room = _CEILING - _KNEE
    bent = np.minimum(size, _KNEE) + room * np.tanh(np.maximum(size - _KNEE, 0.0) / room)
    return np.copysign(np.minimum(bent, _CEILING), block)


def _smooth(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """0 below 0, 1 above 1, and between them a curve without corners."""
    clipped = np.clip(x, 0.0, 1.0)
    result: NDArray[np.float64] = clipped * clipped * (3.0 - 2.0 * clipped)
    return result


def _bent(passed: NDArray[np.float64]) -> NDArray[np.float64]:
    """Frames for which the old pitch has still counted, `passed` frames after a change: all of
    them before it, then ever less of each, as much as `_smooth` has left; none after `_MOVING`."""
    whole = _MOVING * RATE
    x = np.clip(passed / whole, 0.0, 1.0)
    result: NDArray[np.float64] = np.minimum(passed, whole) - whole * (x**3 - x**4 / 2)
    return result
