"""What makes one legal realization better than another: a price list.

Prices are whole numbers without unit; only their proportions matter. Source: common practice (the
advice every thoroughbass tutor gives: keep common tones, move the other voices by the smallest
step and against the bass, full chords, an easy hand); the proportions are our own judgement.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.theory.fault import Weight


@dataclass(frozen=True, slots=True)
class Taste:
    """Prices of a voicing, of a step to the next, and of the rules that are broken and allowed.

    `completion` is paid for each place a completion stands below the best one of its figuring,
    at most five places, `unlisted` besides for one that is not in the table, which lacks what the
    figuring implies (the 6 of a 4 3); `hollow` besides for a chord of only one or two different
    notes, the bass counted: mostly a triad without its fifth, right where the voices want it, bare
    where a full chord is at hand. `thin` is paid for each pair of neighbouring voices on one key.
    `motion` is what an upper voice pays by the number of semitones it moves (the last price for
    more).
    `with_bass` is paid for each upper voice that moves in the bass's direction, `all_one_way`
    besides when all four do. `gives_up` is paid for each upper voice that leaves a key the next
    chord has in no voice though it may. `far` is paid for each semitone a free top voice stands
    outside the comfortable compass `easy` (MIDI numbers). A broken rule costs by its weight.
    """

    completion: int = 2
    unlisted: int = 8
    hollow: int = 6
    thin: int = 3
    motion: tuple[int, ...] = (0, 1, 1, 3, 3, 5, 7, 7, 9, 10, 11, 12, 13, 16)
    with_bass: int = 1
    all_one_way: int = 6
    gives_up: int = 3
    far: int = 2
    easy: tuple[int, int] = (64, 74)
    gross: int = 200
    weak: int = 24
    remark: int = 4

    def of(self, weight: Weight | None) -> int:
        """The price of a broken rule; nothing where the school does not mind it."""
        return 0 if weight is None else int(getattr(self, weight))

    @property
    def motion_prices(self) -> NDArray[np.int64]:
        """By semitones, long enough for any keyboard."""
        prices = np.full(128, self.motion[-1], np.int64)
        prices[: len(self.motion)] = self.motion
        return prices


TASTE = Taste()
