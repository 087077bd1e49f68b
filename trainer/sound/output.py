"""What the rest of the program asks of whatever sounds."""

from __future__ import annotations

from typing import Protocol

from trainer.sound.requests import Choice
from trainer.sound.track import Track


class Output(Protocol):
    """No call ever waits, whatever the device does, but `close`, which is limited in time; all
    may be called from any thread. `about` is one line for the status bar."""

    about: str

    def key_on(self, key: int, velocity: int = 64, at: float | None = None) -> None:
        """Sound MIDI note `key`, struck at `time.monotonic()` = `at`; None: now."""

    def key_off(self, key: int, at: float | None = None) -> None:
        """End it, with its release. What is older than what was done last with it is left."""

    def play(self, track: Track, at: float) -> None:
        """Play `track` with its second 0 at `time.monotonic()` = `at`; replaces one that plays."""

    def stop(self) -> None:
        """End the track and every note."""

    def retune(self, choice: Choice) -> None:
        """Another tone, tuning, volume or instrument; what sounds goes on in it."""

    def close(self) -> None:
        """Silence and release the device."""


class Silence:
    """An output for a player without sound."""

    def __init__(self, about: str = "no sound") -> None:
        self.about = about

    def key_on(self, key: int, velocity: int = 64, at: float | None = None) -> None:
        return

    def key_off(self, key: int, at: float | None = None) -> None:
        return

    def play(self, track: Track, at: float) -> None:
        return

    def stop(self) -> None:
        return

    def retune(self, choice: Choice) -> None:
        return

    def close(self) -> None:
        return
