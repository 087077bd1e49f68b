"""A day of the demonstration player as a person has it: a touch of its own, and what happens.

The same exercise, conditions and number of the day give the same. Which touches and mishaps there
are, and how often, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from trainer.judging.judge import Judge
from trainer.judging.task import Task
from trainer.practice.begin_again import bar_of
from trainer.practice.demo import Manner
from trainer.practice.mishaps import MISHAPS, somewhere
from trainer.practice.slips import Slip, SlipKind
from trainer.theory.voicing import Voicing

OFTEN = (1, 1, 2, 2, 3)  # how many things happen in a pass
IN_TEMPO: tuple[SlipKind, ...] = ("late", "skipped", "corrected", "doubled", "again")
UNTIMED: tuple[SlipKind, ...] = ("corrected", "doubled")
APART = 6  # moments at least between two things that happen


@dataclass(frozen=True, slots=True)
class Day:
    """How the hands move, and what happens to them."""

    manner: Manner
    slips: tuple[Slip, ...]


def human_day(asked: Task, voicings: Sequence[Voicing], number: int) -> Day:
    """Day `number` of a player who means to play `voicings`."""
    chance = Random(f"day {number} {asked.exercise.id} {asked.conditions.tempo}")
    beat = 1.0 if asked.line is None else asked.line.beat_length(asked.first)
    manner = Manner(
        beat=0.02,
        hands=chance.choice((0.01, 0.02, 0.03)),
        fingers=0.006,
        bias=chance.uniform(-0.02, 0.04),
        rolled=chance.choice((0.0, 0.0, 0.03)),
        overlap=chance.choice((-0.05, 0.02, 0.1, 0.18)) * beat,
        think=chance.uniform(0.7, 1.6),
    )
    return Day(manner, tuple(_happens(asked, voicings, chance)))


def _happens(asked: Task, voicings: Sequence[Voicing], chance: Random) -> list[Slip]:
    judge = Judge(asked.exercise, asked.conditions)
    ready = () if asked.line is None else IN_TEMPO
    if "bass" in asked.conditions.supply:
        ready = tuple(kind for kind in ready if kind != "again")
    kinds = [*(ready or UNTIMED), *(MISHAPS if not asked.conditions.supply else ())]
    slips: list[Slip] = []
    for kind in chance.sample(kinds, min(len(kinds), chance.choice(OFTEN))):
        moment = _where(asked, voicings, kind, chance, judge)
        if moment is not None and all(abs(moment - slip.moment) >= APART for slip in slips):
            slips.append(Slip(kind, moment))
    return sorted(slips, key=lambda slip: slip.moment)


def _where(
    asked: Task, voicings: Sequence[Voicing], kind: SlipKind, chance: Random, judge: Judge
) -> int | None:
    mishap = next((one for one in MISHAPS if one == kind), None)
    if mishap is not None:
        found = somewhere(asked, voicings, mishap, chance, judge.complete)
        return None if found is None else found[0]
    inner = [one.index for one in asked.awaited if one.wanted][3:-3]
    if kind == "again":
        inner = [index for index in inner if bar_of(asked, index) < index]
    return chance.choice(inner) if inner else None
