"""A given voice played in another octave over several chords: one thing, said once.

A short keyboard, a pedal stop or a hand at its place lays the bass or the melody an octave away;
the harmony is the same. Common practice, no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Literal

from trainer.judging.judge import Judge
from trainer.judging.movement_faults import place_in_words
from trainer.judging.verdict import Cause, PassVerdict
from trainer.theory.rules import rule

RULE = "another-octave"
THROUGHOUT = 3  # chords from which on it is one thing
NEAR = 3  # moments from one to the next, at most: a note between may happen to sound where written
_VOICES: tuple[tuple[Literal["bass", "soprano"], str], ...] = (
    ("bass", "the bass"),
    ("soprano", "the melody"),
)
_FAR = {1: "an octave", 2: "two octaves"}


def octaves(judge: Judge, verdict: PassVerdict) -> Iterator[Cause]:
    """One cause for each stretch over which a given voice lay in another octave; what follows are
    faults of position in which that voice has a part."""
    for voice, name in _VOICES:
        hits = [
            (fault.moments[0], number)
            for number, fault in enumerate(verdict.faults)
            if fault.rule == RULE and voice in fault.voices
        ]
        for run in _runs(hits):
            first, last = run[0][0], run[-1][0]
            follow = tuple(
                number
                for number, fault in enumerate(verdict.faults)
                if voice in fault.voices
                and all(first - NEAR <= moment <= last + NEAR for moment in fault.moments)
                and _of_position(fault.rule)
            )
            text = f"{_from_to(judge, first, last)}: {name} {_how_far(judge, verdict, voice, run)}."
            explains = tuple(number for _, number in run)
            yield Cause("an-octave-away", first, text, "", explains, follow)


def _runs(hits: Sequence[tuple[int, int]]) -> Iterator[list[tuple[int, int]]]:
    run: list[tuple[int, int]] = []
    for hit in hits:
        if run and hit[0] - run[-1][0] > NEAR:
            if len(run) >= THROUGHOUT:
                yield run
            run = []
        run.append(hit)
    if len(run) >= THROUGHOUT:
        yield run


def _how_far(
    judge: Judge,
    verdict: PassVerdict,
    voice: Literal["bass", "soprano"],
    run: Sequence[tuple[int, int]],
) -> str:
    """`an octave lower than written`, as most of them lay."""
    keys = {moment.index: moment.keys for moment in verdict.moments}
    lay = Counter[int]()
    for index, _ in run:
        moment = judge.moments[index]
        written = moment.bass if voice == "bass" else moment.melody
        if written is None or not keys.get(index):
            continue
        alike = [key for key in keys[index] if (key - written.midi) % 12 == 0]
        if alike:
            played = min(alike) if voice == "bass" else max(alike)
            lay[(played - written.midi) // 12] += 1
    away = lay.most_common(1)[0][0] if lay else 0
    if abs(away) not in _FAR:
        return "in another octave than written"
    return f"{_FAR[abs(away)]} {'higher' if away > 0 else 'lower'} than written"


def _from_to(judge: Judge, first: int, last: int) -> str:
    begins, ends = (
        place_in_words(judge.moments[index].bar, judge.moments[index].beat)
        for index in (first, last)
    )
    return f"From {begins[0].lower()}{begins[1:]} to {ends[0].lower()}{ends[1:]}"


def _of_position(id: str) -> bool:
    try:
        return rule(id).group == "position"
    except KeyError:
        return False
