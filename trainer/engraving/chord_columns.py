"""In which column each head of a chord stands, beside the given note of its staff."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

from trainer.theory.pitch import Pitch

BEYOND = 1.95  # widths of a head to either side: room for a sign between


def ways_to_stand(
    pitches: Sequence[Pitch],
    given: Sequence[Pitch],
    *,
    shared: Sequence[Pitch],
    stem_up: bool,
) -> Iterator[tuple[float, ...]]:
    """0 over the given note, 1 to its right, -1 to its left, in widths of a head; the usual way
    first, then those for when it has no room.

    `pitches` are those of one chord, from the end away from the stem's tip: a second, or two notes
    on one place, stand on either side of the stem. The whole chord moves aside, to the right if
    its stem goes down, where one of its notes would touch a given one; only the very note in
    `shared` is one head for both. Two notes on one place that are altered
    differently may stand in either order, or so far apart that there is a sign between, each on
    its own stem.
    (Common practice, no source.)
    """
    other_side = 1 if stem_up else -1
    sides: list[int] = []
    apart = False  # whether two stand on one place, altered differently
    for number, pitch in enumerate(pitches):
        before = pitches[number - 1] if number else None
        beside = before is not None and abs(pitch.height - before.height) < 2
        apart |= before is not None and pitch.height == before.height and pitch != before
        sides.append(other_side if beside and sides[-1] == 0 else 0)

    def touches(pitch: Pitch, column: float) -> bool:
        near = [g for g in given if abs(g.height - pitch.height) < 2]
        return abs(column) < 1 and bool(near) and not (near == [pitch] and pitch in shared)

    spreads = (1.0, -1.0, BEYOND, -BEYOND) if apart else (1.0,)
    bases = (0.0, 1.0, -1.0, BEYOND, -BEYOND, 2.0, -2.0, 3.0, -3.0)
    ways = (
        tuple(spread * side - other_side * base for side in sides)
        for base, spread in product(bases, spreads)
    )
    for columns in sorted(ways, key=lambda way: max(map(abs, way), default=0.0)):
        if not any(touches(p, column) for p, column in zip(pitches, columns, strict=True)):
            yield columns
