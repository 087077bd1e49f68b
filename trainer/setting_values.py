"""What may stand in a setting, as values: each kind checks a TOML value and reads typed text."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from trainer.listening.assigning import EXAMPLE, assignments


class Kind(Protocol):
    """`check` takes a TOML value and `read` a text from the command line; both raise ValueError
    whose message says what may stand there."""

    def check(self, value: object) -> Any: ...

    def read(self, text: str) -> object: ...


class Choice:
    """One of a few words."""

    def __init__(self, *words: str) -> None:
        self.words = words

    def check(self, value: object) -> str:
        if isinstance(value, str) and value in self.words:
            return value
        raise ValueError(f"choose one of {', '.join(self.words)}")

    def read(self, text: str) -> object:
        return text


class Parts:
    """Any of a few words, in their own order, without repeats."""

    def __init__(self, *words: str) -> None:
        self.words = words

    def check(self, value: object) -> tuple[str, ...]:
        if isinstance(value, list) and all(item in self.words for item in value):
            return tuple(word for word in self.words if word in value)
        raise ValueError(f"list any of {', '.join(self.words)}, or none")

    def read(self, text: str) -> object:
        if text.strip() in ("", "none"):
            return []
        return [part.strip() for part in text.split(",")]


@dataclass(frozen=True, slots=True)
class Number:
    """A number from `low` to `high`."""

    low: float
    high: float
    whole: bool = False

    def check(self, value: object) -> float | int:
        if isinstance(value, int | float) and not isinstance(value, bool):
            fits = self.low <= value <= self.high
            if fits and self.whole and value == int(value):
                return int(value)
            if fits and not self.whole:
                return float(value)
        raise ValueError(
            f"give a {'whole ' if self.whole else ''}number from {self.low:g} to {self.high:g}"
        )

    def read(self, text: str) -> object:
        try:
            return float(text)
        except ValueError:
            return text


@dataclass(frozen=True, slots=True)
class Switch:
    """On or off; `true` or `false` in the file."""

    def check(self, value: object) -> bool:
        if isinstance(value, bool):
            return value
        raise ValueError("write true or false")

    def read(self, text: str) -> object:
        return {
            "true": True,
            "on": True,
            "yes": True,
            "false": False,
            "off": False,
            "no": False,
        }.get(text.strip().lower(), text)


@dataclass(frozen=True, slots=True)
class Text:
    """Any text on one line."""

    def check(self, value: object) -> str:
        if isinstance(value, str) and "\n" not in value:
            return value
        raise ValueError("write a text in quotes, on one line")

    def read(self, text: str) -> object:
        return "" if text.strip() == "none" else text


class Keyboards:
    """What each keyboard plays, as `trainer.listening.assigning` reads it."""

    def check(self, value: object) -> str:
        if isinstance(value, str):
            assignments(value)
            return value
        raise ValueError(f"write a text in quotes, as {EXAMPLE!r}")

    def read(self, text: str) -> object:
        return "" if text.strip() == "none" else text


_SWITCH = {"true": True, "on": True, "yes": True, "false": False, "off": False, "no": False}
_HEADER = re.compile(r"\s*\[\s*(.+?)\s*\]\s*(?:#.*)?$")
_WORD = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[^\s."'=]+)\s*(\.?)""")


def line_of(text: str, keys: Sequence[str]) -> int:
    """The line (from 1) on which the value `keys` stands in a TOML text; its table's line where
    the value stands inside one line of it; 1 if neither is found."""
    wanted = tuple(keys)
    table: tuple[str, ...] = ()
    best, found = 0, 1
    for number, line in enumerate(text.splitlines(), 1):
        header = _HEADER.fullmatch(line)
        words = _words(header[1] if header else line)
        here = words if header else (*table, *words)
        if header:
            table = words
        if words and len(here) > best and here == wanted[: len(here)]:
            best, found = len(here), number
    return found


def _words(text: str) -> tuple[str, ...]:
    """The dotted key at the beginning of a line."""
    words: list[str] = []
    position = 0
    while match := _WORD.match(text, position):
        word = match[1]
        words.append(word[1:-1] if word[0] in "\"'" else word)
        position = match.end()
        if not match[2]:
            break
    return tuple(words)
