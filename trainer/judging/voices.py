"""Who sings what: from keys to soprano, alto, tenor and bass.

Fingers do not say which voice they play. The lowest key is the bass and the highest the soprano
(where manuals are told what they play: by their places, see `trainer.listening.manuals`); with
three keys two voices are on one of them, with more than four keys some only fill. Where more than
one division is possible, that one is meant which breaks the fewest rules over the phrase.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing

MOST = 4  # keys, from the highest down, looked at for the middle voices of a full-voiced chord


def divisions(
    pitches: Sequence[Pitch], low: Pitch | None = None, high: Pitch | None = None
) -> tuple[Voicing, ...]:
    """Every way to give pitches, from the bass up, to four voices, the plainest first; empty for
    none.

    `low` and `high` are the bass and soprano where they are known (among the pitches), else the
    lowest and highest. Four pitches have one division. Of fewer, neighbours share a key; of more,
    any two of the rest are the middle voices.
    """
    if not pitches:
        return ()
    bass, soprano = low or pitches[0], high or pitches[-1]
    inner = _without(_without(pitches, bass)[::-1], soprano)[::-1][-MOST:]
    if len(inner) >= 2:
        pairs = list(combinations(inner, 2))
    elif inner:
        (one,) = inner
        pairs = [(one, one), (one, soprano), (bass, one)]
    elif bass != soprano:
        pairs = [(soprano, soprano), (bass, soprano), (bass, bass)]
    else:
        pairs = [(bass, bass)]
    return tuple(Voicing(soprano, alto, tenor, bass) for tenor, alto in pairs)


def upper_divisions(pitches: Sequence[Pitch], high: Pitch | None = None) -> tuple[Voicing, ...]:
    """The same where the bass rests: three voices of pitches from the lowest up."""
    if not pitches:
        return ()
    soprano = high or pitches[-1]
    inner = _without(pitches[::-1], soprano)[::-1][-MOST:]
    if len(inner) >= 2:
        pairs = list(combinations(inner, 2))
    elif inner:
        (one,) = inner
        pairs = [(one, one), (one, soprano)]
    else:
        pairs = [(soprano, soprano)]
    return tuple(Voicing(soprano, alto, tenor, None) for tenor, alto in pairs)


def _without(pitches: Sequence[Pitch], one: Pitch) -> list[Pitch]:
    """Without the first that is this one: another voice may have its pitch on another manual."""
    left = list(pitches)
    if one in left:
        left.remove(one)
    return left


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
        (only,) = choices
        return Line(((0, Chain(only, line.best)),))
    ends = []
    for choice in choices:
        if not line.ends:
            ends.append((cost(None, choice), Chain(choice)))
            continue
        total, chain = _cheapest(line.ends, choice, cost)
        ends.append((total, Chain(choice, chain)))
    return Line(tuple(ends))


def _cheapest(
    ends: Sequence[tuple[int, Chain]],
    choice: Voicing,
    cost: Callable[[Voicing | None, Voicing], int],
) -> tuple[int, Chain]:
    """The first of the cheapest ways to a voicing; what has cost as much already is not weighed,
    for no step costs less than nothing."""
    best: tuple[int, Chain] | None = None
    for spent, chain in ends:
        if best is None or spent < best[0]:
            total = spent + cost(chain.voicing, choice)
            if best is None or total < best[0]:
                best = total, chain
    assert best is not None
    return best
