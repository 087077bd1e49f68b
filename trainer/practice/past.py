"""The past as a plan needs it: everything played so far, folded once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from trainer.practice.course import Standing, standing
from trainer.practice.ladder import Ladder, Place, ladders
from trainer.practice.material import Material
from trainer.practice.memory import Memory, rated, remembered
from trainer.practice.result import PassResult, believable

_FADING = 1 - 1 / 30  # of what is known of a figuring's weakness, with each new answer


@dataclass(frozen=True)
class Past:
    """What has been played so far, folded. `left_out` counts passes dated in the future."""

    results: tuple[PassResult, ...]
    memory: Memory
    ladders: Mapping[Place, Ladder]
    standing: Standing
    weakness: Mapping[str, float]
    left_out: int = 0


def past_of(
    results: Iterable[PassResult], material: Material, now: datetime, begin_at: int = 1
) -> Past:
    """Everything the plan needs to know of the past, as of `now`."""
    told, left_out = believable(results, now)
    return folded(told, material, begin_at, left_out)


def folded(
    told: tuple[PassResult, ...], material: Material, begin_at: int = 1, left_out: int = 0
) -> Past:
    """The past of results that are in order and believed."""
    nothing = Past((), Memory(), {}, standing(material, (), begin_at), {}, left_out)
    return continued(nothing, told, material, begin_at)


def continued(
    past: Past, more: tuple[PassResult, ...], material: Material, begin_at: int = 1
) -> Past:
    """The past with later results added to it: the same as if all had been folded at once."""
    goals = {id: whole.tempo for id, whole in material.wholes.items()}
    results = (*past.results, *more)
    return Past(
        results=results,
        memory=remembered(more, material.wholes, past.memory),
        ladders=ladders(more, goals, past.ladders),
        standing=standing(material, results, begin_at),
        weakness=weaknesses(results),
        left_out=past.left_out,
    )


def weaknesses(results: Iterable[PassResult]) -> Mapping[str, float]:
    """How often each figuring goes wrong, 0 to 1, the last thirty answers weighing most.

    Slow or late answers count a third. A figuring met a few times only is taken to be like any
    other: one in ten wrong.
    """
    wrong: dict[str, float] = {}
    met: dict[str, float] = {}
    for result in results:
        for answer in result.answers:
            name, rating = answer.item.name, rated(answer)
            bad = {1: 1.0, 2: 1 / 3}.get(int(rating), 0.0)
            wrong[name] = wrong.get(name, 0.3) * _FADING + bad
            met[name] = met.get(name, 3.0) * _FADING + 1
    return {name: wrong[name] / met[name] for name in met}
