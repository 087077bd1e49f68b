"""How the keys of a chord went down: which hand struck which, when, and in what manner.

Where manuals are told what they play, they tell the hands apart. Else the keys are parted between
the hands as it fits best: each hand has as many as it may have voices and spans no more than it
can, the written bass is the left hand's, and what one hand strikes it strikes at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from trainer.judging.task import Awaited
from trainer.judging.timing import struck_at
from trainer.judging.verdict import Manner
from trainer.listening.capture import TOGETHER
from trainer.listening.manuals import Manual, manual_at
from trainer.theory.hands import DIVISIONS, SPAN, Hands

Times = Mapping[int, float]  # places (`trainer.listening.manuals`) to clock seconds

AT_ONCE = 0.4  # of the whole spread: what one hand takes at most, if it is the hands that differ
EVEN = 0.65  # of a roll: the longest of its steps, but for two keys
SAME = 0.010  # seconds in which no order is heard; common practice, no source


@dataclass(frozen=True, slots=True)
class Struck:
    """An attack by hands: clock seconds of the bass, the melody and each hand."""

    manner: Manner
    bass: float | None
    melody: float | None
    left: float | None
    right: float | None


def struck(awaited: Awaited, hands: Hands, times: Times) -> Struck | None:
    """What the hands did with the keys struck for a moment; None where there are none."""
    if not times:
        return None
    places = sorted(times)
    left = _left_hand(awaited, hands, places, times)
    ours = {place: times[place] for place in places[:left]}
    theirs = {place: times[place] for place in places[left:]}
    lowest = places[0]
    return Struck(
        _manner(places, ours, theirs, times),
        times[lowest] if ours and awaited.bass is not None else None,
        times[places[-1]] if theirs and awaited.melody is not None else None,
        begun(ours.values()),
        begun(theirs.values()),
    )


def begun(times: Iterable[float]) -> float | None:
    """When keys were struck, seconds; None where there are none."""
    in_order = sorted(times)
    return struck_at(in_order[0], in_order[-1]) if in_order else None


# ---- which hand -----------------------------------------------------------------------------


def _left_hand(awaited: Awaited, hands: Hands, places: list[int], times: Times) -> int:
    """How many of the places, from the lowest up, are the left hand's."""
    told = [manual_at(place) for place in places]
    least = sum(manual in (Manual.BASS, Manual.LEFT_HAND) for manual in told)
    most = len(places) - sum(manual is Manual.RIGHT_HAND for manual in told)
    if least == most:
        return least
    cuts = range(least, most + 1)
    return min(cuts, key=lambda cut: _unlikely(awaited, hands, places, times, cut))


def _unlikely(awaited: Awaited, hands: Hands, places: list[int], times: Times, cut: int) -> float:
    """How much speaks against that the left hand struck the lowest `cut` of the places."""
    division = DIVISIONS[hands]
    has_bass = awaited.bass is not None
    left, right = places[:cut], places[cut:]
    is_bass = places[0] % 12 == awaited.bass
    most_left = len(division.left) - ("bass" in division.left and not has_bass)
    against = 1.0 * max(0, len(left) - most_left) + max(0, len(right) - len(division.right))
    against += sum(hand[-1] - hand[0] > SPAN for hand in (left, right) if hand)
    if has_bass:
        against += (0.0 if is_bass else 0.7) if left else (5.0 if is_bass else 0.5)
    for hand in (left, right):
        if hand:
            against += 2 * (max(times[p] for p in hand) - min(times[p] for p in hand))
    if left and right:  # of two ways that are as good, the one that parts them at the wider gap
        against -= 0.001 * (right[0] - left[-1])
    return against


# ---- in what manner -------------------------------------------------------------------------


def _manner(places: list[int], left: Times, right: Times, times: Times) -> Manner:
    spread = _spread(times)
    if spread <= TOGETHER:
        return "together"
    in_order = [times[place] for place in places]
    if len(places) > 2 or not (left and right):
        if _in_turn(in_order, spread):
            return "rolled up"
        if _in_turn(in_order[::-1], spread):
            return "rolled down"
    both = left and right
    if both and max(_spread(left), _spread(right)) <= max(TOGETHER, AT_ONCE * spread):
        return "hands apart"
    return "spread"


def _spread(times: Times) -> float:
    return max(times.values()) - min(times.values())


def _in_turn(times: list[float], spread: float) -> bool:
    """Whether keys follow one another in this order, at even steps."""
    steps = [after - before for before, after in pairwise(times)]
    even = len(steps) < 2 or max(steps) <= EVEN * spread
    return even and min(steps) >= -SAME and times[-1] - times[0] >= spread - SAME
