"""What marks and counts name: a rule that was broken, or the cause of a wrong chord. Both go by
identifiers, and no cause is called like a rule."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trainer.judging.lessons import LESSONS
from trainer.theory.rules import COMMON, RULES


@dataclass(frozen=True, slots=True)
class Named:
    """What stands behind an identifier: a rule with its explanation and weight, or a cause with
    what a teacher says to it; its weight is '', for it is as heavy as what it explains."""

    id: str
    title: str
    explanation: str
    source: str
    weight: str


_NAMED = {
    one.id: one
    for one in (
        *(Named(r.id, r.title, r.explanation, r.source, r.weight) for r in RULES),
        *(Named(why, said.title, said.advice, COMMON, "") for why, said in LESSONS.items()),
    )
}


def named(ids: Iterable[str]) -> tuple[Named, ...]:
    """All that this program knows of these, rules before causes, each once."""
    wanted = set(ids)
    return tuple(one for id, one in _NAMED.items() if id in wanted)


def title_of(id: str) -> str:
    """The title of a rule or cause; the identifier where this program knows neither."""
    return _NAMED[id].title if id in _NAMED else id
