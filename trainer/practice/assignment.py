"""What a teacher has set, as the plan needs it: one piece or drill, to a tempo, until a day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from trainer.practice.material import Material
from trainer.practice.played import PASSES, Played
from trainer.theory.key import Key


@dataclass(frozen=True, slots=True)
class Assigned:
    """`exercise` is the id of a piece or drill; `key` is empty for any; `tempo` in beats a
    minute; `title` is the assignment's."""

    title: str
    until: date
    exercise: str
    key: str
    tempo: float


def is_secure(one: Assigned, played: Played) -> bool:
    """Whether there are two good passes at its tempo or above, by what is asked at the top of a
    ladder."""
    return played.good_at(one.exercise, one.key, one.tempo) >= PASSES


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
