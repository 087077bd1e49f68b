"""An engine and its time, for tests: requests wait for the next block, blocks come in time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trainer.sound.engine import Engine
from trainer.sound.rendering import BLOCK
from trainer.sound.requests import Choice, Request
from trainer.sound.tone import RATE


class Asked:
    """The engine's second 0 is time 0; with `loud` its quiet start is left out."""

    def __init__(self, choice: Choice, *, loud: bool = False) -> None:
        self.engine = Engine(choice)
        self.mixer = self.engine.mixer
        self._requests: list[Request] = []
        if loud:
            self.mixer._level = choice.volume

    def take(self, *requests: Request) -> None:
        self._requests += requests

    def block(self) -> NDArray[np.float64]:
        requests, self._requests = self._requests, []
        now = self.mixer.frame / RATE
        return self.engine.block(BLOCK, now, requests).astype(np.float64)

    def sound(self, seconds: float) -> NDArray[np.float64]:
        return np.concatenate([self.block() for _ in range(round(seconds * RATE / BLOCK))])
