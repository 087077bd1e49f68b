"""Where sound goes: the audio device, a MIDI instrument, or nowhere.

The device asks for a block in a thread of its own; the mixer is touched only there. Everything
else (the MIDI thread, the views) drops a request into a queue and goes on at once.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Any, Protocol

import numpy as np

from trainer.sound.mixer import Mixer
from trainer.sound.rendering import BLOCK, Schedule
from trainer.sound.tone import RATE
from trainer.sound.track import Track

_LEAD = BLOCK  # frames between a request and its sound: constant, so that playing feels even


class Output(Protocol):
    """What the rest of the program asks of any output. `about` is one line for the status bar."""

    about: str

    def key_on(self, key: int, velocity: int = 64) -> None:
        """Sound MIDI note `key` now; returns at once, may be called from any thread."""

    def key_off(self, key: int) -> None:
        """End it, with its release."""

    def play(self, track: Track, at: float) -> None:
        """Play `track` with its second 0 at `time.monotonic()` = `at`; replaces one that plays."""

    def stop(self) -> None:
        """End the track and every note."""

    def set_volume(self, volume: float) -> None:
        """0 to 1; the device output never exceeds half of full scale whatever it is."""

    def close(self) -> None:
        """Silence and release the device."""


class Silence:
    """An output for a machine, or a player, without sound."""

    def __init__(self, about: str = "no sound") -> None:
        self.about = about

    def key_on(self, key: int, velocity: int = 64) -> None:
        return

    def key_off(self, key: int) -> None:
        return

    def play(self, track: Track, at: float) -> None:
        return

    def stop(self) -> None:
        return

    def set_volume(self, volume: float) -> None:
        return

    def close(self) -> None:
        return


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


class Device:
    """The computer's own audio device, through SDL."""

    def __init__(self, mixer: Mixer, about: str) -> None:
        """Open the default device; raises OSError if there is none."""
        self.about = about
        self._mixer = mixer
        self._requests: deque[Callable[[], None]] = deque()
        self._schedules: list[Schedule] = []
        self._clock = Clock()
        self.failure: Exception | None = None
        self._leaving = False
        self._left = threading.Event()
        self._device: Any = None
        self._device = _opened(self._block)

    def key_on(self, key: int, velocity: int = 64) -> None:
        now = time.monotonic()
        self._requests.append(lambda: self._mixer.key_on(key, at=self._frame(now)))

    def key_off(self, key: int) -> None:
        now = time.monotonic()
        self._requests.append(lambda: self._mixer.key_off(key, at=self._frame(now)))

    def play(self, track: Track, at: float) -> None:
        def begin() -> None:
            self._mixer.silence(at=self._mixer.frame, source="track")
            self._schedules = [Schedule(track, self._clock.frame(at) + _LEAD)]

        self._requests.append(begin)

    def stop(self) -> None:
        def end() -> None:
            self._schedules = []
            self._mixer.silence(at=self._mixer.frame)

        self._requests.append(end)

    def set_volume(self, volume: float) -> None:
        self._mixer.volume = min(1.0, max(0.0, volume))

    def close(self) -> None:
        """Let the releases sound out, then end the device.

        SDL calls for a block under a lock of the device, and a block needs Python's lock: were the
        device paused from here while its thread waits for that, both would wait for ever. So the
        device's own thread pauses it; once it is paused it asks for no block and can be closed.
        """
        self.stop()
        time.sleep(0.12)  # the longest release
        self._leaving = True
        self._left.wait(1.0)  # a device that has stopped asking needs no pause
        self._device.close()

    def _frame(self, at: float) -> int:
        return self._clock.frame(at) + _LEAD

    def _block(self, _device: object, memory: Any) -> None:
        block = np.ndarray(len(memory) // 4, np.float32, memory)
        if self._leaving:
            block[:] = 0
            if not self._left.is_set():
                self._device.pause(1)
                self._left.set()
            return
        try:
            self._clock.asked(self._mixer.frame, time.monotonic())
            while self._requests:
                self._requests.popleft()()
            for schedule in self._schedules:
                schedule.feed(self._mixer, self._mixer.frame + len(block))
            self._schedules = [s for s in self._schedules if not s.done]
            block[:] = self._mixer.render(len(block))
        except Exception as error:  # silence, and the reason where the views show what is heard
            self.failure = error
            self.about = f"the sound has stopped ({error})"
            block[:] = 0


def open_output(
    *,
    sound: str = "organ",
    temperament: str = "equal",
    standard: float = 440.0,
    volume: float = 0.3,
    midi_port: str = "",
) -> Output:
    """The output the settings ask for; `sound` is a stop's name, or `none`.

    With `midi_port` everything goes to that instrument. Without an audio device the output is
    silent and its `about` says so; nothing is raised.
    """
    if midi_port:
        from trainer.sound.midi_out import MidiInstrument

        return MidiInstrument.open(midi_port)
    if sound == "none":
        return Silence("sound off")
    mixer = Mixer(stop=sound, temperament=temperament, standard=standard, volume=volume)
    try:
        return Device(mixer, f"{sound} · a' = {standard:g} · {temperament}")
    except OSError as error:
        return Silence(f"no audio device ({error}): playing silently")


def _opened(callback: Callable[[object, Any], None]) -> Any:
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    from pygame._sdl2 import audio, sdl2

    try:
        sdl2.init_subsystem(sdl2.INIT_AUDIO)
        names = audio.get_audio_device_names(False)
        if not names:
            raise OSError("none found")
        device = audio.AudioDevice(
            devicename=names[0],
            iscapture=False,
            frequency=RATE,
            audioformat=audio.AUDIO_F32,
            numchannels=1,
            chunksize=BLOCK,
            allowed_changes=0,
            callback=callback,
        )
    except sdl2.error as error:
        raise OSError(str(error) or "none found") from error
    sys.setswitchinterval(0.001)  # seconds: the device's thread must not wait for the views
    device.pause(0)
    return device
