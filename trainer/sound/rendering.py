"""A track handed to the mixer in time, and rendered to samples or a file without a device."""

from __future__ import annotations

import wave
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from trainer.sound.mixer import Mixer
from trainer.sound.tone import RATE
from trainer.sound.track import ACCENT, OFF, ON, Step, Track, remaining

BLOCK = 256  # frames rendered at a time, 5.3 ms


class Schedule:
    """A track laid on the mixer's frames: each step is handed over just before its block.

    `begin` is the frame of the track's second 0, `now` the one the mixer has come to.
    """

    def __init__(self, steps: Iterable[Step], begin: int, now: int) -> None:
        left = remaining(steps, (now - begin) / RATE)
        self._events = [(begin + round(at * RATE), what, key) for at, what, key, _ in left]
        self._next = 0

    @property
    def done(self) -> bool:
        return self._next == len(self._events)

    def feed(self, mixer: Mixer, upto: int) -> None:
        """Hand over what begins or ends before frame `upto`."""
        while not self.done and self._events[self._next][0] < upto:
            frame, what, key = self._events[self._next]
            self._next += 1
            if what == OFF:
                mixer.key_off(key, at=frame, source="track")
            elif what == ON:
                mixer.key_on(key, at=frame, source="track")
            else:
                mixer.click(at=frame, accent=what == ACCENT)


def rendered(track: Track, mixer: Mixer, *, tail: float = 0.5) -> NDArray[np.float32]:
    """The whole track, then `tail` seconds; shape (frames,), full scale 1.0."""
    schedule = Schedule(track.steps, mixer.frame, mixer.frame)
    blocks = []
    for _ in range(int((track.length + tail) * RATE / BLOCK) + 1):
        schedule.feed(mixer, mixer.frame + BLOCK)
        blocks.append(mixer.render(BLOCK))
    return np.concatenate(blocks)


def write_wave(path: Path, samples: NDArray[np.float32]) -> None:
    """Write samples (shape (frames,), full scale 1.0) as 16-bit mono."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
