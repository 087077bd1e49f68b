"""What can go wrong and is the user's to mend: each error is one line with place and remedy."""

from __future__ import annotations

from pathlib import Path


class TrainerError(Exception):
    """Bad input. `str()` is one line: `file:line: what is wrong; what to do`.

    `line` counts from 1; `bar` is the bar number as printed and `beat` counts from 1.0.
    """

    def __init__(
        self,
        what: str,
        *,
        file: Path | str | None = None,
        line: int | None = None,
        bar: int | None = None,
        beat: float | None = None,
        remedy: str = "",
    ) -> None:
        self.what = what
        self.file = file
        self.line = line
        self.bar = bar
        self.beat = beat
        self.remedy = remedy
        super().__init__(what)

    def at(
        self,
        *,
        file: Path | str | None = None,
        line: int | None = None,
        bar: int | None = None,
        beat: float | None = None,
    ) -> TrainerError:
        """The same error with the places filled in that it did not know itself."""
        return type(self)(
            self.what,
            file=self.file if self.file is not None else file,
            line=self.line if self.line is not None else line,
            bar=self.bar if self.bar is not None else bar,
            beat=self.beat if self.beat is not None else beat,
            remedy=self.remedy,
        )

    def __str__(self) -> str:
        place = "" if self.file is None else f"{self.file}:"
        if self.line is not None:
            place += f"{self.line}:" if place else f"line {self.line}:"
        if self.bar is not None:
            place += f"{' ' if place else ''}bar {self.bar}"
            place += f" beat {self.beat:g}:" if self.beat is not None else ":"
        text = f"{place} {self.what}" if place else self.what
        text = f"{text}; {self.remedy}" if self.remedy else text
        return " ".join(text.split())


class PitchError(TrainerError):
    """A pitch, key or interval that cannot be read or does not exist."""


class FigureError(TrainerError):
    """A figure or figuring that cannot be read, or contradicts itself."""


class ExerciseError(TrainerError):
    """An exercise file or value that is broken."""


class NoVoicingError(TrainerError):
    """A moment for which no legal voicing exists."""


class InputError(TrainerError):
    """A keyboard, port or command-line value that is not there or not usable."""


class LogError(TrainerError):
    """A log that cannot be opened, written or read."""


class SettingsError(TrainerError):
    """A settings file with a value that cannot be used."""
