"""Any number of plausible exercise files, quickly and always the same."""

from __future__ import annotations

import random
from pathlib import Path

_LOW = ("CC", "DD", "EE", "FF", "GG", "AA", "BB", "C", "D", "E", "F", "G", "A", "B", "c")
_HIGH = ("c", "d", "e", "f", "g", "a", "b", "cc", "dd", "ee", "ff", "gg")
_FIGURES = (".", ".", ".", "6", "6", "6 5", "4 3", "7", "#", "6 4", "4 2", "9")
_HEAD = """\
!!!OTL: Tune {number}
!!!id: piece-{number}
!!!tune: {tune}
!!!level: {level}
!!!tags: {tag}, made up
**kern\t**fb\t**kern
*Ibass\t*\t*Isoprn
*k[]\t*\t*k[]
*C:\t*\t*C:
*M{beats}/4\t*\t*M{beats}/4
*MM60\t*\t*MM60
"""


def text_of(number: int, bars: int = 10) -> str:
    """A piece of `bars` bars in quarters, forty moments in ten bars of 4/4."""
    chance = random.Random(number)
    beats = chance.choice((3, 4))
    lines = [
        _HEAD.format(
            number=number,
            tune=f"Tune {number // 3}",
            level=number % 24 + 1,
            tag=chance.choice(("major", "cadence", "sequence")),
            beats=beats,
        )
    ]
    low, high = 7, 7
    for bar in range(1, bars + 1):
        lines.append(f"={bar}\t={bar}\t={bar}\n")
        for beat in range(beats):
            low = min(14, max(0, low + chance.randint(-3, 3)))
            high = min(11, max(0, high + chance.randint(-2, 2)))
            end = ";" if bar % 4 == 0 and beat == beats - 1 else ""
            figures = chance.choice(_FIGURES)
            lines.append(f"4{_LOW[low]}{end}\t{figures}\t4{_HIGH[high]}{end}\n")
    return "".join([*lines, "==\t==\t==\n*-\t*-\t*-\n"])


def fill(folder: Path, count: int) -> None:
    """Write `count` such pieces into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        (folder / f"piece-{number}.krn").write_text(text_of(number), encoding="utf-8")
