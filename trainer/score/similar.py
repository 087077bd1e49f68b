"""Other settings of the same melody, whatever their key, metre, rhythm and passing notes.

Two tunes are as alike as their outlines have notes in common in the same order, after the best
shift: twice the longest common subsequence over the sum of the lengths, 1 for the same tune.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from trainer.score.index import Entry

_CANDIDATES = 300  # outlines compared note by note, the most promising first
_SHIFTS = 5  # shifts tried for each, the commonest differences first


@dataclass(frozen=True, slots=True)
class Match:
    """An entry and how alike its melody is, 0 to 1."""

    entry: Entry
    likeness: float


def similar_to(item: Entry, entries: Iterable[Entry], least: float = 0.8) -> list[Match]:
    """The entries whose melody is at least so alike, most alike first; `item` itself included."""
    wanted = _shingles(item.outline)
    scored = []
    for entry in entries:
        if len(entry.outline) >= 4:
            shared = len(wanted & _shingles(entry.outline))
            if shared:
                scored.append((-shared, entry.id, entry))
    scored.sort(key=lambda one: one[:2])
    matches = [
        Match(entry, likeness(item.outline, entry.outline)) for *_, entry in scored[:_CANDIDATES]
    ]
    good = [match for match in matches if match.likeness >= least]
    return sorted(good, key=lambda match: (-match.likeness, match.entry.id))


def likeness(one: tuple[int, ...], other: tuple[int, ...]) -> float:
    """How alike two outlines are, 0 to 1, in whatever key."""
    if not one or not other:
        return 0.0
    best = max(_common(one, [height + shift for height in other]) for shift in _shifts(one, other))
    return 2 * best / (len(one) + len(other))


def _shingles(outline: tuple[int, ...]) -> frozenset[tuple[int, int]]:
    steps = [b - a for a, b in pairwise(outline)]
    return frozenset(pairwise(steps))


def _shifts(one: tuple[int, ...], other: tuple[int, ...]) -> list[int]:
    counts: dict[int, int] = {}
    for a in set(one):
        for b in other:
            counts[a - b] = counts.get(a - b, 0) + 1
    return sorted(counts, key=lambda shift: (-counts[shift], abs(shift)))[:_SHIFTS]


def _common(one: tuple[int, ...], other: list[int]) -> int:
    """The length of the longest common subsequence, a machine word of notes at a time.

    Source: the bit-parallel recurrence of H. Hyyrö (2004), `Bit-parallel LCS-length computation
    revisited` (from memory).
    """
    places: dict[int, int] = {}
    for index, height in enumerate(one):
        places[height] = places.get(height, 0) | 1 << index
    full = (1 << len(one)) - 1
    row = full
    for height in other:
        match = row & places.get(height, 0)
        row = ((row + match) | (row - match)) & full
    return len(one) - row.bit_count()
