"""How a pipe and a string sound, as data: ranks of harmonics with an attack, decay and release.

A stop is made of ranks; each rank is one period of a waveform (held at several band limits, so
that high notes do not alias) read at the note's frequency. One interpreter, the mixer, plays both
the organ, whose ranks hold, and the plucked string, whose upper ranks die first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import pi, sin

import numpy as np
from numpy.typing import NDArray

RATE = 48_000  # frames a second
TABLE = 4096  # samples in one period
_LIMITS = (1, 2, 4, 8, 16, 32)  # band limits: the highest harmonic a table holds
_HIGHEST = 16_000.0  # Hz; harmonics above it are left out


@dataclass(frozen=True, slots=True)
class Rank:
    """`harmonics` maps harmonic number to amplitude; times in seconds, `decay` in 1/s (0 holds).

    `decay` is for middle c and grows with the square root of the frequency.
    """

    harmonics: tuple[tuple[int, float], ...]
    attack: float
    decay: float
    release: float


@dataclass(frozen=True, slots=True)
class Stop:
    name: str
    title: str
    ranks: tuple[Rank, ...]


def _plucked(numbers: range, decay: float) -> Rank:
    """Harmonics of a string plucked at a seventh of its length."""
    series = tuple((n, 0.8 * sin(n * pi / 7) / n) for n in numbers)
    return Rank(series, attack=0.002, decay=decay, release=0.09)


STOPS: dict[str, Stop] = {
    stop.name: stop
    for stop in (
        Stop(
            "organ",
            "stopped 8' with a soft 4'",
            (
                Rank(((1, 0.62), (3, 0.13), (5, 0.035), (7, 0.012)), 0.035, 0.0, 0.07),
                Rank(((2, 0.16), (4, 0.07), (6, 0.03), (8, 0.012)), 0.018, 0.0, 0.05),
            ),
        ),
        Stop(
            "plucked",
            "plucked string 8'",
            (
                _plucked(range(1, 4), 0.9),
                _plucked(range(4, 10), 2.2),
                _plucked(range(10, 31), 5.5),
            ),
        ),
    )
}
WOOD = Rank(((1, 0.5), (3, 0.12), (7, 0.06)), attack=0.001, decay=55.0, release=0.02)


@lru_cache(maxsize=1)
def _banks() -> tuple[NDArray[np.float32], dict[tuple[Rank, int], int]]:
    """All tables, shape (rows, TABLE), and the row of each (rank, band limit)."""
    phase = 2 * np.pi * np.arange(TABLE) / TABLE
    rows: list[NDArray[np.float32]] = []
    where: dict[tuple[Rank, int], int] = {}
    for rank in (WOOD, *(rank for stop in STOPS.values() for rank in stop.ranks)):
        for limit in _LIMITS:
            wave = np.zeros(TABLE)
            for number, amplitude in rank.harmonics:
                if number <= limit:
                    wave += amplitude * np.sin(number * phase)
            where[rank, limit] = len(rows)
            rows.append(wave.astype(np.float32))
    return np.stack(rows), where


def tables() -> NDArray[np.float32]:
    """The waveforms, shape (rows, TABLE), amplitude 1 = full scale."""
    return _banks()[0]


def row(rank: Rank, hertz: float) -> int:
    """Which row of `tables()` plays `rank` at that frequency without aliasing."""
    fitting = [limit for limit in _LIMITS if limit * hertz <= _HIGHEST]
    return _banks()[1][rank, fitting[-1] if fitting else _LIMITS[0]]
