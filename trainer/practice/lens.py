"""The figure lens: the figuring as written and, in the same terms, what sounds now."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trainer.listening.manuals import keys_at
from trainer.practice.accompany import supplied
from trainer.practice.session import Session

State = Literal["sounding", "missing", "foreign", "addition"]


@dataclass(frozen=True, slots=True)
class LensMark:
    """One interval over the bass, as a figure, and what it is to the figuring."""

    figure: str
    state: State


@dataclass(frozen=True, slots=True)
class Lens:
    """`written` is the figuring; `marks` are highest first, what is missing at its own height."""

    written: str
    marks: tuple[LensMark, ...]


def lens(session: Session) -> Lens:
    """What is heard at the moment asked for, with the voices supplied, in terms of its figuring."""
    index = session.current
    sonority = session.judge.sonorities[index]
    written = str(session.exercise.moments[index].figuring)
    keys = session.heard.sounding
    if not keys or sonority.bass is None:
        return Lens(written, ())
    verdict = session.judge.harmony(index, keys)
    given = supplied(session.task, index)
    upper = [sonority.spell(key) for key in sorted({*keys_at(keys), *given}, reverse=True)]
    states: dict[str, State] = {}
    for pitch in upper:
        if pitch.midi > sonority.bass.midi or pitch.name != sonority.bass.name:
            states.setdefault(sonority.label(pitch), "sounding")
    states |= dict.fromkeys(verdict.foreign, "foreign")
    states |= dict.fromkeys(verdict.additions, "addition")
    marks = [LensMark(figure, state) for figure, state in states.items()]
    return Lens(written, (*marks, *(LensMark(figure, "missing") for figure in verdict.missing)))
