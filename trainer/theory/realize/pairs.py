"""Neighbouring choices paired off, many moments at a time.

One moment has some twenty voicings, its successor as many: far too few for NumPy to be quick. So
the choices of all moments lie in one table, row after row, and the pairs of a run of moments are
one flat array over which every rule is worked out at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from trainer.theory.realize.lattice import Costs

Rows = NDArray[np.intp]
_BLOCK = 1 << 18  # pairs worked out at once: some tens of megabytes


@dataclass(frozen=True, slots=True)
class Pairs:
    """`before` and `after` are rows of the table of choices, `place` the moment of `before`."""

    before: Rows
    after: Rows
    place: Rows


def paired(starts: Rows, first: int, last: int) -> Pairs:
    """All pairs between the choices of moments first … last - 1 and those of their successors.

    The choices of moment i are rows starts[i] to starts[i + 1]. Pairs come moment by moment, the
    earlier choice running slower.
    """
    sizes = np.diff(starts)
    here, there = sizes[first:last], sizes[first + 1 : last + 1]
    products = here * there
    place = np.repeat(np.arange(first, last), products)
    within = np.arange(len(place)) - np.repeat(np.cumsum(products) - products, products)
    width = sizes[place + 1]
    before = within // np.maximum(width, 1)
    after = within - before * width + starts[place + 1]
    return Pairs(before + starts[place], after, place)


@dataclass
class Steps:
    """Step costs worked out in blocks of moments and kept while they are needed.

    `work` gives the cost of each of the pairs it is handed. A piece that fits in one block is
    worked out once; of a longer one a single block is held, so memory does not grow with length.
    """

    starts: Rows
    work: Callable[[Pairs], Costs]
    _first: int = field(default=0, init=False)
    _block: list[Costs] = field(default_factory=list, init=False)
    _bounds: list[int] = field(init=False)

    def __post_init__(self) -> None:
        sizes = np.diff(self.starts)
        self._bounds = [0]
        held = 0
        for place, pairs in enumerate((sizes[:-1] * sizes[1:]).tolist()):
            if held and held + pairs > _BLOCK:
                self._bounds.append(place)
                held = 0
            held += pairs
        self._bounds.append(len(sizes) - 1)

    def __call__(self, place: int) -> Costs:
        """The costs from each choice at `place` to each at the next, as the lattice wants them."""
        if not self._first <= place < self._first + len(self._block):
            index = int(np.searchsorted(self._bounds, place, side="right")) - 1
            self._first, last = self._bounds[index], self._bounds[index + 1]
            flat = self.work(paired(self.starts, self._first, last))
            sizes = np.diff(self.starts)
            here, there = sizes[self._first : last], sizes[self._first + 1 : last + 1]
            ends = np.cumsum(here * there)
            self._block = [
                part.reshape(a, b)
                for part, a, b in zip(
                    np.split(flat, ends[:-1]), here.tolist(), there.tolist(), strict=True
                )
            ]
        return self._block[place - self._first]


@lru_cache(maxsize=256)
def uncrossed(pitches: int, voices: int) -> NDArray[np.intp]:
    """Every way to give `voices` one of so many pitches each, none above its upper neighbour.

    Indices into the pitches in ascending order; shape (voices, ways), the highest voice first.
    """
    ways = np.array(list(combinations_with_replacement(range(pitches), voices)), dtype=np.intp)
    return np.ascontiguousarray(ways.reshape(-1, voices)[:, ::-1].T)
