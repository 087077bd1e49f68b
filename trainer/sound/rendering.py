"""A track handed to the mixer in time, and rendered to samples or a file without a device."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from trainer.sound.mixer import Mixer
from trainer.sound.tone import RATE
from trainer.sound.track import LATE, Track

BLOCK = 256  # frames rendered at a time, 5.3 ms


class Schedule:
    """A track laid on the mixer's frames: each start and end is handed over just before its block.

    `begin` is the frame of the track's second 0, `now` the one the mixer has come to: of a track
    begun in the past the notes that are over and the beats that are past are left out.
    """

    def __init__(self, track: Track, begin: int, now: int) -> None:
        # an end sorts before a start on the same frame, so that a repeated note is struck again
        events: list[tuple[int, int, int]] = []
        for note in track.notes:
            start = begin + round(note.start * RATE)
            end = start + max(1, round(note.duration * RATE))
            if end > now:
                events += [(start, 1, note.key), (end, 0, note.key)]
        beats = [(begin + round(c.start * RATE), 2 + c.accent, 0) for c in track.clicks]
        events += [beat for beat in beats if beat[0] > now - LATE * RATE]
        self._events = sorted(events)
        self._next = 0

    @property
    def done(self) -> bool:
        return self._next == len(self._events)

    def feed(self, mixer: Mixer, upto: int) -> None:
        """Hand over what begins or ends before frame `upto`."""
        while not self.done and self._events[self._next][0] < upto:
            frame, kind, key = self._events[self._next]
            self._next += 1
            if kind == 0:
                mixer.key_off(key, at=frame, source="track")
            elif kind == 1:
                mixer.key_on(key, at=frame, source="track")
            else:
                mixer.click(at=frame, accent=kind == 3)


def rendered(track: Track, mixer: Mixer, *, tail: float = 0.5) -> NDArray[np.float32]:
    """The whole track, then `tail` seconds; shape (frames,), full scale 1.0."""
    schedule = Schedule(track, mixer.frame, mixer.frame)
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
