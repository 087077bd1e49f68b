"""Mistakes the demonstration player is told to make, and the wrong notes among them.

Which slips there are is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from random import Random
from typing import Literal, get_args

from trainer.errors import InputError
from trainer.judging.task import Task
from trainer.practice.mishaps import MISHAPS, MishapKind, mishap
from trainer.theory.voicing import Voicing

FingerSlip = Literal["wrong", "fifths", "late", "skipped", "extra", "corrected", "doubled", "again"]
SlipKind = FingerSlip | MishapKind
SLIPS: tuple[FingerSlip, ...] = get_args(FingerSlip)


@dataclass(frozen=True, slots=True)
class Slip:
    """A mistake to make: of what kind, at which moment. `again` is to get stuck after that moment
    and begin again from its bar."""

    kind: SlipKind
    moment: int


def with_wrong_notes(
    asked: Task, voicings: Sequence[Voicing], slips: Sequence[Slip]
) -> tuple[Voicing, ...]:
    """The voicings with those that come out wrong; InputError for a slip that cannot be made."""
    played = list(voicings)
    for slip in slips:
        known = slip.kind in SLIPS or slip.kind in MISHAPS
        if not asked.first <= slip.moment <= asked.last or not known:
            raise InputError(f"no slip {slip.kind!r} can be made at moment {slip.moment}")
        if slip.kind in MISHAPS:
            played[slip.moment] = _mishap(asked, slip, played[slip.moment])
        if slip.kind == "wrong":
            played[slip.moment] = _wrong(asked, slip.moment, played[slip.moment])
        if slip.kind == "fifths":
            changed = None
            if slip.moment > asked.first:
                changed = consecutive_fifths(asked, played[slip.moment - 1], slip.moment)
            if changed is None:
                raise InputError(
                    f"no consecutive fifths can be made going to moment {slip.moment}",
                    remedy="choose another moment",
                )
            played[slip.moment] = changed
    return tuple(played)


def _mishap(asked: Task, slip: Slip, voicing: Voicing) -> Voicing:
    """What happened to that chord, some way in which it can."""
    kind = next(kind for kind in MISHAPS if kind == slip.kind)
    for seed in range(8):
        chance = Random(f"{seed} {slip.moment}")
        found = mishap(asked, slip.moment, voicing, kind, chance)
        if found is not None:
            return found
    raise InputError(
        f"{slip.kind!r} cannot happen at moment {slip.moment}", remedy="choose another moment"
    )


def _wrong(asked: Task, index: int, voicing: Voicing) -> Voicing:
    """The tenor (or the alto) on a key that contradicts the figuring."""
    keys = [pitch.midi for pitch in voicing if pitch is not None]
    name: Literal["tenor", "alto"] = "tenor" if voicing.tenor is not None else "alto"
    right = voicing[name]
    if right is None:
        raise InputError(f"moment {index} has no middle voice to play wrong")
    key = foreign_key(asked.at(index).belonging, right.midi, keys)
    if key is None:
        raise InputError(f"every key belongs to moment {index}")
    wrong = asked.sonorities[index].spell(key)
    tenor, alto = (wrong, voicing.alto) if name == "tenor" else (voicing.tenor, wrong)
    return Voicing(voicing.soprano, alto, tenor, voicing.bass)


def consecutive_fifths(asked: Task, before: Voicing, index: int) -> Voicing | None:
    """A complete voicing of moment `index` with two voices a perfect fifth apart here and before,
    both moving the same way, at least one of them a middle voice; the nearest, None if none."""
    sonority = asked.sonorities[index]
    moment = asked.exercise.moments[index]
    bass, melody = moment.bass, moment.melody
    if bass is None or len({pitch.midi for pitch in before if pitch is not None}) < 4:
        return None  # with a key for two voices one cannot tell who moves where
    top = 79 if melody is None else melody.midi
    bold = {m.name.pitch_class for m in sonority.members if m.bold}
    middle = [
        sonority.spell(key)
        for key in range(bass.midi + 1, top)
        if key % 12 in sonority.allowed_pitch_classes
    ]
    tops = [melody] if melody is not None else middle
    found: list[tuple[int, Voicing]] = []
    for soprano in tops:
        for alto in (p for p in middle if 0 < soprano.midi - p.midi <= 12):
            for tenor in (p for p in middle if 0 < alto.midi - p.midi <= 12):
                voicing = Voicing(soprano, alto, tenor, bass)
                classes = {pitch.midi % 12 for pitch in (soprano, alto, tenor, bass)}
                if bold <= classes and _fifths(before, voicing) and soprano.midi - tenor.midi <= 12:
                    found.append((_distance(before, voicing), voicing))
    return min(found, key=lambda pair: (pair[0], str(pair[1])))[1] if found else None


def _fifths(before: Voicing, after: Voicing) -> bool:
    a, b = tuple(before), tuple(after)
    for upper, lower in ((0, 1), (0, 2), (1, 2), (1, 3), (2, 3)):
        notes = (a[upper], a[lower], b[upper], b[lower])
        if None in notes:
            continue
        u, v, x, y = (pitch.midi for pitch in notes if pitch is not None)
        if (u - v) % 12 == 7 == (x - y) % 12 and u != x and (x > u) == (y > v) and v != y:
            return True
    return False


def _distance(before: Voicing, after: Voicing) -> int:
    return sum(abs(p.midi - q.midi) for p, q in zip(before, after, strict=True) if p and q)


def foreign_key(belonging: frozenset[int], near: int, used: Sequence[int]) -> int | None:
    """The key nearest to `near` of none of these pitch classes and not in use."""
    for distance in (1, 2, 3, 4, 5):
        for key in (near + distance, near - distance):
            if key % 12 not in belonging and key not in used:
                return key
    return None


def slips_spread(asked: Task, kinds: Sequence[SlipKind], seed: int) -> tuple[Slip, ...]:
    """Each of `kinds` at a moment of its own where something is struck, not the first or last."""
    places = [a.index for a, b in pairwise(asked.awaited) if a.wanted and b.wanted][1:]
    if len(kinds) > len(places):
        raise InputError(f"{asked.exercise.id} is too short for {len(kinds)} slips")
    Random(f"slips {seed}").shuffle(places)
    return tuple(Slip(kind, place) for kind, place in zip(kinds, places, strict=False))
