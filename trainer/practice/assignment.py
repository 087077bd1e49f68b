"""What a teacher has set, as the plan needs it: one piece or drill, to a tempo, until a day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from trainer.practice.ladder import compared, criteria_at
from trainer.practice.material import Material
from trainer.practice.result import PassResult, base
from trainer.theory.key import Key

SECURE = 2  # good passes that make a rung secure


@dataclass(frozen=True, slots=True)
class Assigned:
    """`exercise` is the id of a piece or drill; `key` is empty for any; `tempo` in beats a
    minute; `title` is the assignment's."""

    title: str
    until: date
    exercise: str
    key: str
    tempo: float


def is_secure(one: Assigned, results: Iterable[PassResult]) -> bool:
    """Whether there are two good passes at its tempo or above, by what is asked at the top of a
    ladder."""
    asked = criteria_at(one.tempo, one.tempo)
    good = 0
    for result in results:
        ours = base(result.exercise_id) == one.exercise and one.key in ("", result.key)
        timed = result.time is not None and result.tempo is not None and result.tempo >= one.tempo
        if ours and timed and result.finished and result.whole:
            good += all(line.met for line in compared(asked, result))
    return good >= SECURE


def key_for(one: Assigned, material: Material, usual: Key) -> Key | None:
    """The key to play it in: the one asked for, or the `usual`; None where the library has no
    such exercise, or not in that mode."""
    if one.exercise in material.patterns:
        key = Key.parse(one.key) if one.key else usual
        return key if key.mode in ("major", "minor") else None
    if one.exercise not in material.pieces:
        return None
    if not one.key:
        return usual
    own, key = material.pieces[one.exercise].key, Key.parse(one.key)
    return key if key.mode == own.mode else None
