"""What is said between the program and the process that sounds: small values, both ways."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.sound.track import Step


@dataclass(frozen=True, slots=True)
class Choice:
    """What the player has chosen to hear; `sound` is a stop's name, or `none`.

    `standard` is a' in Hz, `volume` 0 to 1. With `midi_port`, a part of a port's name, that
    instrument sounds instead of a stop.
    """

    sound: str = "organ"
    temperament: str = "equal"
    standard: float = 440.0
    volume: float = 0.3
    midi_port: str = ""

    @property
    def silent(self) -> bool:
        return self.sound == "none" and not self.midi_port

    @property
    def about(self) -> str:
        """One line for the status bar."""
        if self.midi_port:
            return f"MIDI instrument {self.midi_port}"
        if self.silent:
            return "sound off"
        return f"{self.sound} · a' = {self.standard:g} · {self.temperament}"


@dataclass(frozen=True, slots=True)
class KeyOn:
    """The player's key, a MIDI note number, at `time.monotonic()` = `at`.

    `ear` is the number of the process that has told of it, None for the program, which knows of
    all keyboards.
    """

    key: int
    velocity: int
    at: float
    ear: int | None = None


@dataclass(frozen=True, slots=True)
class KeyOff:
    key: int
    at: float
    ear: int | None = None


@dataclass(frozen=True, slots=True)
class Play:
    """The steps of a track with its second 0 at `time.monotonic()` = `at`; replaces one that
    plays."""

    steps: tuple[Step, ...]
    at: float


@dataclass(frozen=True, slots=True)
class Stop:
    """The end of the track and of every note."""


@dataclass(frozen=True, slots=True)
class PedalMoved:
    """The sustain pedal of the keyboards that the process `ear` listens to goes down or up."""

    down: bool
    ear: int


Request = Choice | KeyOn | KeyOff | PedalMoved | Play | Stop


@dataclass(frozen=True, slots=True)
class Opened:
    """The answer where sound can be made; `name` is that of the MIDI instrument, if it is one."""

    name: str = ""


@dataclass(frozen=True, slots=True)
class Refused:
    """The answer where none can be made."""

    what: str
    remedy: str = ""
