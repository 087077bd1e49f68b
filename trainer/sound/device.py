"""The computer's own audio device, through SDL: asks the engine for block after block."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np

from trainer.sound.engine import Engine
from trainer.sound.rendering import BLOCK
from trainer.sound.requests import Request, Stop
from trainer.sound.tone import RATE

RELEASE = 0.12  # seconds: the longest there is
RETURNS = 0.05  # seconds in which the device's thread has come back from a block it was given


class Device:
    """Sounds what an engine makes of requests, until it is closed; `failure` is what ended it, if
    anything. `requests` tells what has come; it is asked before each block."""

    def __init__(self, engine: Engine, requests: Callable[[], Iterable[Request]]) -> None:
        """Open the default device; raises OSError if there is none."""
        self.failure: Exception | None = None
        self._engine = engine
        self._requests = requests
        self._ending = self._leaving = False
        self._left = threading.Event()
        self._device: Any = None
        self._device = _opened(self._block)

    def close(self) -> None:
        """Let the releases sound out, then end the device.

        SDL calls for a block under a lock of the device, and a block needs Python's lock: were the
        device paused from here while its thread waits for that, both would wait for ever. So the
        device's own thread pauses it; once it is paused it asks for no block and can be closed,
        when that thread has come out of Python. A device that has stopped asking is left to the
        end of the process: its thread may be waiting anywhere.
        """
        self._ending = True
        time.sleep(RELEASE)
        self._leaving = True
        if self._left.wait(0.2):
            time.sleep(RETURNS)
            self._device.close()

    def _block(self, _device: object, memory: Any) -> None:
        block = np.ndarray(len(memory) // 4, np.float32, memory)
        block[:] = 0
        if self._leaving:
            if not self._left.is_set():
                self._device.pause(1)
                self._left.set()
        elif self.failure is None:
            try:
                requests = (Stop(),) if self._ending else self._requests()
                block[:] = self._engine.block(len(block), time.monotonic(), requests)
            except Exception as error:
                self.failure = error


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
    sys.setswitchinterval(0.0005)  # seconds: the device's thread must not wait for the others
    device.pause(0)
    return device
