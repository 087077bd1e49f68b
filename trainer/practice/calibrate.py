"""The constant offset of a player and a keyboard: how late taps with the tactus arrive.

It holds all that is constant: the port's and the driver's delay, the delay of the tactus on its way
to the ear, and the player's own habit of being early or late. What is left after it is taken off is
what a timing judgement should be about.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from trainer.errors import InputError
from trainer.practice.effects import TactusBeat

FEWEST = 8  # taps below which nothing is known
STEADY = 0.040  # seconds of deviation (1.4826 times the median one) above which it is not constant


@dataclass(frozen=True, slots=True)
class Offset:
    """`seconds` (positive: taps arrive late) is the median over `taps`, `deviation` 1.4826 times
    their median distance from it, in seconds."""

    seconds: float
    deviation: float
    taps: int

    @property
    def steady(self) -> bool:
        return self.deviation <= STEADY


def tactus(tempo: float, beats: int) -> tuple[TactusBeat, ...]:
    """An even tactus in fours; `start` in seconds from its first beat."""
    return tuple(TactusBeat(number * 60.0 / tempo, number % 4 == 0) for number in range(beats))


def offset(taps: Sequence[float], first: float, tempo: float, beats: int, skip: int = 4) -> Offset:
    """Match taps to the nearest beat of a tactus whose first beat is at clock time `first`.

    The first `skip` beats are for listening; of two taps at one beat the nearer counts. Offsets up
    to half a beat are told apart. Raises InputError with fewer than `FEWEST` taps.
    """
    beat = 60.0 / tempo
    nearest: dict[int, float] = {}
    for tap in taps:
        number = round((tap - first) / beat)
        error = tap - first - number * beat
        if skip <= number < beats and abs(error) < abs(nearest.get(number, beat)):
            nearest[number] = error
    errors = list(nearest.values())
    if len(errors) < FEWEST:
        raise InputError(
            f"{len(errors)} taps came with the tactus, {FEWEST} are needed",
            remedy="tap one key on every beat, from the fifth beat on",
        )
    middle = median(errors)
    return Offset(middle, 1.4826 * median(abs(e - middle) for e in errors), len(errors))
