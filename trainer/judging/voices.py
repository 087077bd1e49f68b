"""Who sings what: from keys to soprano, alto, tenor and bass.

Fingers do not say which voice they play. The lowest key is the bass and the highest the soprano;
with three keys two voices are on one of them, with more than four keys some only fill. Where more
than one division is possible, that one is meant which breaks the fewest rules over the phrase.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing

MOST = 8  # keys looked at as candidates for the middle voices; beyond, it is a cluster


def divisions(pitches: Sequence[Pitch]) -> tuple[Voicing, ...]:
    """Every way to give ascending pitches to four voices, the plainest first; empty for none.

    Four keys have one. Of fewer, neighbours share a key; of more, the outermost are the outer
    voices and any two of the rest the middle ones.
    """
    if not pitches:
        return ()
    low, high = pitches[0], pitches[-1]
    inner = pitches[1:-1][:MOST]
    if len(pitches) >= 4:
        return tuple(Voicing(high, alto, tenor, low) for tenor, alto in combinations(inner, 2))
    pairs: list[tuple[Pitch, Pitch]]
    if len(pitches) == 3:
        middle = inner[0]
        pairs = [(middle, middle), (middle, high), (low, middle)]
    elif len(pitches) == 2:
        pairs = [(high, high), (low, high), (low, low)]
    else:
        pairs = [(low, low)]
    return tuple(Voicing(high, alto, tenor, low) for tenor, alto in pairs)


@dataclass(frozen=True, slots=True)
class Line:
    """The divisions of the latest chord, each with the least cost of arriving at it and the
    voicings it came by, latest first (as a chain, so that a long piece costs nothing to carry)."""

    ends: tuple[tuple[int, Chain], ...] = ()

    @property
    def best(self) -> Chain | None:
        return min(self.ends, key=lambda end: end[0])[1] if self.ends else None


@dataclass(frozen=True, slots=True)
class Chain:
    """A voicing and the chain before it."""

    voicing: Voicing
    before: Chain | None = None

    def voicings(self) -> tuple[Voicing, ...]:
        """From the first to the latest."""
        found = []
        link: Chain | None = self
        while link is not None:
            found.append(link.voicing)
            link = link.before
        return tuple(reversed(found))


def extend(
    line: Line,
    choices: Sequence[Voicing],
    cost: Callable[[Voicing | None, Voicing], int],
) -> Line:
    """Go on to the next chord. `cost(before, after)` weighs the faults between two voicings, and
    in the first where `before` is None. With one division on either side nothing is weighed."""
    if len(line.ends) <= 1 and len(choices) == 1:
        before = line.ends[0][1] if line.ends else None
        return Line(((0, Chain(choices[0], before)),))
    ends = []
    for choice in choices:
        if not line.ends:
            ends.append((cost(None, choice), Chain(choice)))
            continue
        total, chain = min(
            ((spent + cost(chain.voicing, choice), chain) for spent, chain in line.ends),
            key=lambda end: end[0],
        )
        ends.append((total, Chain(choice, chain)))
    return Line(tuple(ends))
