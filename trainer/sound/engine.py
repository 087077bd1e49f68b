"""Requests with their times on one side, blocks of samples on the other; knows no device."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from trainer.sound.mixer import Mixer
from trainer.sound.rendering import BLOCK, Schedule
from trainer.sound.requests import Choice, KeyOff, KeyOn, Play, Request, Stop
from trainer.sound.tone import RATE

LEAD = BLOCK  # frames between a request and its sound: constant, so that playing feels even


class Clock:
    """Tells which frame a monotonic time falls on, from the times blocks were asked for.

    A block is never asked for early, only late, so the earliest asking counts; it may drift
    upward by 50 parts in a million, more than two quartz clocks differ.
    """

    def __init__(self) -> None:
        self._zero: float | None = None
        self._last = 0.0

    def asked(self, frame: int, now: float) -> None:
        zero = now - frame / RATE
        if self._zero is None or zero - self._zero > 0.25:  # first block, or after a suspension
            self._zero = zero
        else:
            self._zero = min(self._zero + (now - self._last) * 50e-6, zero)
        self._last = now

    def frame(self, at: float) -> int:
        return 0 if self._zero is None else round((at - self._zero) * RATE)


class Engine:
    """The sound as it goes on; to be used from one thread."""

    def __init__(self, choice: Choice) -> None:
        self.mixer = _mixer(choice)
        self._schedule: Schedule | None = None
        self._clock = Clock()
        self._wanted: Choice | None = None

    def block(
        self, frames: int, now: float, requests: Iterable[Request] = ()
    ) -> NDArray[np.float32]:
        """Do what was asked for meanwhile; then the next samples, shape (frames,), asked for at
        `time.monotonic()` = `now`."""
        self._clock.asked(self.mixer.frame, now)
        for request in requests:
            self._do(request)
        self._retune()
        if self._schedule is not None:
            self._schedule.feed(self.mixer, self.mixer.frame + frames)
        return self.mixer.render(frames)

    def frame(self, at: float) -> int:
        """The frame on which a request made at `time.monotonic()` = `at` is to be heard."""
        return self._clock.frame(at) + LEAD

    def _do(self, request: Request) -> None:
        match request:
            case KeyOn(key, _, at):
                self.mixer.key_on(key, at=self.frame(at))
            case KeyOff(key, at):
                self.mixer.key_off(key, at=self.frame(at))
            case Play(steps, at):
                self.mixer.silence(at=self.mixer.frame, source="track")
                self._schedule = Schedule(steps, self.frame(at), self.mixer.frame)
            case Stop():
                self._schedule = None
                self.mixer.silence(at=self.mixer.frame)
            case Choice():
                self._choose(request)

    def _choose(self, choice: Choice) -> None:
        self.mixer.volume = _volume(choice)
        if not choice.silent:
            self._wanted = choice

    def _retune(self) -> None:
        """What sounds moves over; where it is still moving the next change waits, and only the
        last of several that wait is done."""
        if self._wanted is not None and not self.mixer.moving:
            wanted, self._wanted = self._wanted, None
            self.mixer.retune(wanted.sound, wanted.temperament, wanted.standard)


def _mixer(choice: Choice) -> Mixer:
    if choice.silent:
        return Mixer(volume=0.0)
    return Mixer(
        stop=choice.sound,
        temperament=choice.temperament,
        standard=choice.standard,
        volume=_volume(choice),
    )


def _volume(choice: Choice) -> float:
    return 0.0 if choice.silent else min(1.0, max(0.0, choice.volume))
