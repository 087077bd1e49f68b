"""The past as a plan needs it: everything played so far, folded once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from trainer.practice.course import Standing, standing
from trainer.practice.ladder import Ladder, Place, ladders
from trainer.practice.material import Material
from trainer.practice.memory import Memory, remembered
from trainer.practice.played import Played, played_on
from trainer.practice.result import PassResult, believable


@dataclass(frozen=True)
class Past:
    """What has been played so far, folded. `left_out` counts passes dated in the future."""

    memory: Memory
    ladders: Mapping[Place, Ladder]
    played: Played
    standing: Standing
    left_out: int = 0

    @cached_property
    def weakness(self) -> Mapping[str, float]:
        return self.played.weakness


def past_of(
    results: Iterable[PassResult], material: Material, now: datetime, begin_at: int = 1
) -> Past:
    """Everything the plan needs to know of the past, as of `now`."""
    told, left_out = believable(results, now)
    return continued(nothing(material, begin_at), told, material, begin_at, left_out)


def nothing(material: Material, begin_at: int = 1) -> Past:
    """The past of somebody who has not played yet."""
    return Past(Memory(), {}, Played(), standing(material, Played(), begin_at))


def continued(
    past: Past,
    more: tuple[PassResult, ...],
    material: Material,
    begin_at: int = 1,
    left_out: int = 0,
) -> Past:
    """The past with later results, in order and believed, added to it: the same as if all had
    been folded at once."""
    goals = {id: whole.tempo for id, whole in material.wholes.items()}
    played = played_on(past.played, more, material.steps)
    return Past(
        memory=remembered(more, material.wholes, past.memory),
        ladders=ladders(more, goals, past.ladders),
        played=played,
        standing=standing(material, played, begin_at),
        left_out=left_out,
    )
