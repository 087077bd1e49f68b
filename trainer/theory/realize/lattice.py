"""Paths through choices: at each place one choice, from place to place a cost.

Exact dynamic programming and nothing of music: the cheapest path, the k cheapest, the number of
all, and how far one can get. A place is a moment of an exercise, a choice a voicing; costs are
whole numbers, so that equal paths are equal.

Everything runs backward from the last place, so that what is known at a choice is what can still
follow it: that serves the continuation from any given hand position as well as the whole.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Costs = NDArray[np.int64]
FORBIDDEN = 1 << 60  # more than any allowed path costs; three of them still fit in 64 bits
_LIMB = 30  # bits of a count kept in one float64: sums of 2**20 such limbs are exact


@dataclass(frozen=True)
class Lattice:
    """`own[i]` is the cost of each choice at place i, shape (n_i,); an empty one has no choice.

    `step(i)` gives the cost of going from each choice at place i to each at place i + 1, shape
    (n_i, n_i+1), FORBIDDEN where one may not. It is called for descending or ascending i.
    """

    own: tuple[Costs, ...]
    step: Callable[[int], Costs]

    @property
    def places(self) -> int:
        return len(self.own)


@dataclass(frozen=True, slots=True)
class Path:
    """`choices[i]` is the index of the choice at place i (of those the path covers)."""

    cost: int
    choices: tuple[int, ...]


@dataclass(frozen=True)
class Onward:
    """What can follow: `costs[i]` is the least cost of finishing from each choice at place i,
    its own included (FORBIDDEN or more: it cannot be finished); `following[i]` the choice at
    place i + 1 that attains it.
    """

    costs: tuple[Costs, ...]
    following: tuple[NDArray[np.int32], ...]

    def path(self, place: int, choice: int) -> tuple[int, ...]:
        """The choices from `place` on, `choice` first."""
        choices = [choice]
        for following in self.following[place:]:
            choice = int(following[choice])
            choices.append(choice)
        return tuple(choices)


def onward(lattice: Lattice) -> Onward:
    """The cheapest way to finish from every choice at every place."""
    if not lattice.places:
        return Onward((), ())
    cost = lattice.own[-1]
    costs = [cost]
    following: list[NDArray[np.int32]] = []
    for place in range(lattice.places - 2, -1, -1):
        total = lattice.step(place) + cost
        if total.shape[1]:
            best = total.argmin(axis=1)
            cost = np.minimum(lattice.own[place] + total[np.arange(len(best)), best], FORBIDDEN)
        else:
            best = np.zeros(total.shape[0], np.intp)
            cost = np.full(total.shape[0], FORBIDDEN)
        costs.append(cost)
        following.append(best.astype(np.int32))
    return Onward(tuple(costs[::-1]), tuple(following[::-1]))


def cheapest(lattice: Lattice, k: int) -> tuple[Path, ...]:
    """The k cheapest paths, cheapest first, fewer where there are fewer; all different."""
    if not lattice.places or k < 1:
        return ()
    costs = lattice.own[-1][:, None]  # (choices, ranks), each row ascending
    ways: list[tuple[NDArray[np.int32], NDArray[np.int32]]] = []  # following choice, its rank
    for place in range(lattice.places - 2, -1, -1):
        step = lattice.step(place)
        ranks = costs.shape[1]
        total = (step[:, :, None] + costs).reshape(step.shape[0], -1)
        keep = min(k, total.shape[1])
        if keep < total.shape[1]:
            found = np.argpartition(total, keep - 1, axis=1)[:, :keep]
        else:
            found = np.broadcast_to(np.arange(keep), (total.shape[0], keep))
        values = np.take_along_axis(total, found, axis=1)
        order = np.argsort(values, axis=1, kind="stable")
        found = np.take_along_axis(found, order, axis=1)
        costs = np.take_along_axis(values, order, axis=1) + lattice.own[place][:, None]
        costs = np.minimum(costs, FORBIDDEN)
        ways.append(((found // ranks).astype(np.int32), (found % ranks).astype(np.int32)))
    ways.reverse()
    first = np.argsort(costs, axis=None, kind="stable")[:k]
    paths = []
    for flat in first:
        choice, rank = divmod(int(flat), costs.shape[1])
        cost = int(costs[choice, rank])
        if cost >= FORBIDDEN:
            break
        choices = [choice]
        for following, ranked in ways:
            choice, rank = int(following[choice, rank]), int(ranked[choice, rank])
            choices.append(choice)
        paths.append(Path(cost, tuple(choices)))
    return tuple(paths)


def count(lattice: Lattice) -> int:
    """The number of all paths, exact however large.

    The counts are held in limbs of 30 bits, one row of float64 a limb, so that a whole place is
    one matrix product; each product is exact, since no sum reaches 2**53.
    """
    if not lattice.places:
        return 0
    ways = (lattice.own[-1] < FORBIDDEN).astype(np.float64)[:, None]  # (choices, limbs)
    for place in range(lattice.places - 2, -1, -1):
        allowed = (lattice.step(place) < FORBIDDEN).astype(np.float64)
        ways = _carried(allowed @ ways) * (lattice.own[place] < FORBIDDEN)[:, None]
    total = ways.sum(axis=0)
    return sum(int(limb) << (_LIMB * index) for index, limb in enumerate(total))


def _carried(limbs: NDArray[np.float64]) -> NDArray[np.float64]:
    """Limbs brought back near 30 bits: one pass leaves them below 2**30 + 2**22."""
    carry = np.floor(limbs * 2.0**-_LIMB)
    if not carry.any():
        return limbs
    limbs = limbs - carry * 2.0**_LIMB
    if carry[:, -1].any():
        limbs = np.concatenate([limbs, np.zeros((limbs.shape[0], 1))], axis=1)
    limbs[:, 1:] += carry[:, : limbs.shape[1] - 1]
    return limbs


def reached(lattice: Lattice) -> Iterator[NDArray[np.bool_]]:
    """For each place in turn, which choices can be reached from the beginning."""
    here = lattice.own[0] < FORBIDDEN
    yield here
    for place in range(lattice.places - 1):
        allowed = lattice.step(place) < FORBIDDEN
        here = (here[:, None] & allowed).any(axis=0) & (lattice.own[place + 1] < FORBIDDEN)
        yield here
