"""In which column each head of a chord stands, beside the given note of its staff."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from trainer.theory.pitch import Pitch

BEYOND = 1.95  # widths of a head to the right: room for a sign between


def columns_of(
    pitches: Sequence[Pitch],
    given: Sequence[Pitch],
    *,
    shared: Sequence[Pitch],
    stem_up: bool,
    blocked: Callable[[Pitch, float], bool],
) -> list[float]:
    """0 over the given note, 1 to its right, -1 to its left, in widths of a head.

    `pitches` are those of one stem, from the end away from the stem's tip: a second, or two notes
    on one place, stand on either side of the stem. The whole chord moves aside, to the right if
    its stem goes down, where one of its notes would touch a given one; only the very note in
    `shared` (as long as this chord) is one head for both. `blocked(pitch, column)` says
    where something else is in the way. (Common practice, no source.)
    """
    other_side = 1 if stem_up else -1
    sides: list[int] = []
    for number, pitch in enumerate(pitches):
        beside = number > 0 and abs(pitch.height - pitches[number - 1].height) < 2
        sides.append(other_side if beside and sides[-1] == 0 else 0)

    def touches(pitch: Pitch, column: float) -> bool:
        if blocked(pitch, column):
            return True
        near = [g for g in given if abs(g.height - pitch.height) < 2]
        return column == 0 and bool(near) and not (near == [pitch] and pitch in shared)

    ways: tuple[float, ...] = (0, 1, -1, BEYOND, -BEYOND)
    bases = (-other_side * way for way in ways)
    free = (
        base
        for base in bases
        if not any(touches(p, base + side) for p, side in zip(pitches, sides, strict=True))
    )
    base = next(free, -3 * other_side)
    return [base + side for side in sides]
