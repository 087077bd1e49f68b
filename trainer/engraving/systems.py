"""Where systems begin: by phrase where the page allows it, evenly filled where it does not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

STRETCH = 4.0  # cost of a system half empty, against
DIVIDED_PHRASE = 0.7  # one that ends within a phrase, and
DIVIDED_BAR = 0.15  # one that ends within a bar (only ever at the end of a phrase)
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
    best: list[tuple[float, int]] = [(0.0, 0)]
    edges = [place.x for place in places] + [end]
    for stop in range(1, len(edges)):
        options = []
        for start in range(stop):
            room = width - (first_indent if start == 0 else clef)
            fill = (edges[stop] - edges[start]) / room
            if fill > 1.0 and start < stop - 1:
                continue
            cost = CROWDED * (fill - 1) if fill > 1 else STRETCH * (1 - fill) ** 2
            if stop < len(places):
                cost += 0 if places[stop].phrase else DIVIDED_PHRASE
                cost += 0 if places[stop].barline else DIVIDED_BAR
            options.append((best[start][0] + cost, start))
        best.append(min(options))
    starts: list[Fraction] = []
    stop = len(edges) - 1
    while stop > 0:
        stop = best[stop][1]
        if stop > 0:
            starts.append(places[stop].onset)
    return frozenset(starts)
