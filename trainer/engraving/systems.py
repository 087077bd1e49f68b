"""Where systems begin: by phrase where the page allows it, evenly filled where it does not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

STRETCH = 4.0  # cost of a system half empty, against
DIVIDED_PHRASE = 0.7  # one that ends within a phrase, and
DIVIDED_BAR = 0.15  # one that ends within a bar (only ever at the end of a phrase)
UNEVEN = 3.0  # one full beside an empty one
CROWDED = 40.0


@dataclass(frozen=True, slots=True)
class Place:
    """A score time at which a system may begin: its place across an endless system, in units."""

    onset: Fraction
    x: float
    phrase: bool
    barline: bool


def system_starts(
    places: Sequence[Place], end: float, width: float, first_indent: float, clef: float
) -> frozenset[Fraction]:
    """The score times at which systems begin, without the first.

    `places` are in order, the first being the beginning; `end` is where the endless system ends
    and `width` what one system holds, both in the same unit. `first_indent` is taken by clef,
    signature and metre at the beginning (inside the first place's reach), `clef` by clef and
    signature in each later system.
    """
    edges = [place.x for place in places] + [end]
    last = len(edges) - 1

    def filled(start: int, stop: int) -> float:
        return (edges[stop] - edges[start]) / (width - (first_indent if start == 0 else clef))

    def alone(start: int, stop: int) -> float:
        """The cost of one system, whatever stands before it."""
        fill = filled(start, stop)
        cost = CROWDED * (fill - 1) if fill > 1 else STRETCH * (1 - fill) ** 2
        if stop < last:
            cost += 0 if places[stop].phrase else DIVIDED_PHRASE
            cost += 0 if places[stop].barline else DIVIDED_BAR
        return cost

    # the best way to come to each system, with the beginning of the one before it
    best: dict[tuple[int, int], tuple[float, int]] = {}
    for stop in range(1, last + 1):
        for start in range(stop):
            if filled(start, stop) > 1 and start < stop - 1:
                continue  # it could be shorter
            own = alone(start, stop)
            ways = [
                (cost + own + UNEVEN * (filled(start, stop) - filled(before, start)) ** 2, before)
                for before in range(start)
                if (cost := best.get((before, start), (None,))[0]) is not None
            ]
            if start == 0:
                ways = [(own, 0)]
            if ways:
                best[start, stop] = min(ways)
    stop, start = (
        last,
        min((start for start, stop in best if stop == last), key=lambda start: best[start, last]),
    )
    starts: list[Fraction] = []
    while start > 0:
        starts.append(places[start].onset)
        start, stop = best[start, stop][1], start
    return frozenset(starts)
