"""What is practised and how, from what the player asks for and has chosen before."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from trainer.errors import InputError
from trainer.judging.take import Conditions
from trainer.score.exercise import Exercise


@dataclass(frozen=True)
class Setup:
    """What is practised, and how. `page` is what is shown: the exercise as played, or, transposing
    at sight, as it is written. `passes` is how often it is repeated (0: until stopped)."""

    exercise: Exercise
    conditions: Conditions
    page: Exercise
    player: str = ""
    passes: int = 1


def place(exercise: Exercise, text: str, *, last: bool = False) -> int:
    """The moment meant by `3` (bar 3) or `p2` (the second phrase): its first, or its last.

    Raises InputError where the exercise has no such place.
    """
    match = re.fullmatch(r"\s*(p|phrase\s*)?(\d+)\s*", text, re.IGNORECASE)
    if match is None:
        raise InputError(
            f"{text!r} is no place in an exercise", remedy="write a bar, 3, or a phrase, p2"
        )
    number = int(match[2])
    if match[1]:
        phrases = exercise.phrases
        if not 1 <= number <= len(phrases):
            raise InputError(
                f"{exercise.id} has no phrase {number}",
                remedy=f"it has phrases 1 to {len(phrases)}",
            )
        return phrases[number - 1].last if last else phrases[number - 1].first
    here = [moment.index for moment in exercise.moments if moment.bar == number]
    if not here:
        bars = [moment.bar for moment in exercise.moments]
        raise InputError(
            f"nothing begins in bar {number} of {exercise.id}",
            remedy=f"it has bars {bars[0]} to {bars[-1]}",
        )
    return here[-1] if last else here[0]


def slower(exercise: Exercise, text: str) -> tuple[int, int, float]:
    """`3-4:0.7`: from bar 3 to bar 4 at seven tenths of the tempo (`p2:0.7`: in phrase 2)."""
    match = re.fullmatch(r"\s*(\w+)(?:\s*-\s*(\w+))?\s*:\s*(0?\.\d+|1(?:\.0*)?)\s*", text)
    if match is None:
        raise InputError(
            f"{text!r} does not say where to go slower",
            remedy="write bars and a part of the tempo, like 3-4:0.7",
        )
    first = place(exercise, match[1])
    end = place(exercise, match[2] or match[1], last=True)
    if end < first:
        raise InputError(f"{text!r} ends before it begins")
    return first, end, float(match[3])


def without_melody(exercise: Exercise) -> Exercise:
    """Bass and figures alone: the top voice is the player's own."""
    return replace(exercise, melody=(), alto=(), tenor=())
