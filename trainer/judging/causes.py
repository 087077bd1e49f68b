"""Why a chord came out wrong: the one thing the hand, the eye or the ear did that explains it.

A teacher says "you read the bass a line too low", not: the bass is wrong, the third is missing, two
notes are foreign, and the fifths that follow. Everything wrong in a chord is tried against few
causes (`trainer.judging.why`); what a cause explains, and what follows from it in the movement to
and from that chord, hangs below it. A fault that no cause explains stands for itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trainer.judging.judge import Judge
from trainer.judging.verdict import PassVerdict
from trainer.judging.why import Why, WrongChord
from trainer.theory.fault import WEIGHTS, Fault
from trainer.theory.listed import listed
from trainer.theory.rules import rule

CauseKind = Why | Literal["fault"]  # the last stands for itself


@dataclass(frozen=True, slots=True)
class Cause:
    """What explains something wrong at `moment`: the sentence with its place, what to do about it
    (may be empty), and the places in the verdict's faults of those it explains, and of those that
    follow from it."""

    kind: CauseKind
    moment: int
    text: str
    remedy: str
    explains: tuple[int, ...]
    follow: tuple[int, ...] = ()


def causes(judge: Judge, verdict: PassVerdict) -> tuple[Cause, ...]:
    """The fewest causes of all faults of a pass, in the order of the music. Every fault belongs to
    one of them."""
    # where nothing is known of the attack, nobody can tell what was held from what was struck
    told = any(moment.attack is not None for moment in verdict.moments)
    by_moment = {moment.index: moment for moment in verdict.moments if told}
    found: list[Cause] = []
    taken: set[int] = set()
    for moment in verdict.moments:
        if moment.outcome in ("complete", "not-played"):
            continue
        why = WrongChord(judge, moment, by_moment.get(moment.index - 1)).why()
        if why is None:
            continue
        here = [(n, f) for n, f in enumerate(verdict.faults) if moment.index in f.moments]
        explains = tuple(n for n, f in here if _of_the_chord(f) and n not in taken)
        if not explains:  # the school minds nothing of it
            continue
        follow = tuple(
            n for n, f in here if not _of_the_chord(f) and n not in taken and why.brings(f)
        )
        taken |= {*explains, *follow}
        found.append(Cause(why.kind, moment.index, why.text, why.remedy, explains, follow))
    found += [one for one in each_for_itself(verdict) if taken.isdisjoint(one.explains)]
    return tuple(sorted(found, key=lambda cause: (cause.moment, cause.kind == "fault")))


def each_for_itself(verdict: PassVerdict) -> tuple[Cause, ...]:
    """The faults of a verdict as they are: of what was written at leisure no finger slipped."""
    return tuple(
        Cause("fault", fault.moments[-1], fault.text, "", (number,))
        for number, fault in enumerate(verdict.faults)
    )


def weightiest(cause: Cause, verdict: PassVerdict) -> Fault:
    """Of the faults a cause explains."""
    explained = [verdict.faults[number] for number in cause.explains]
    return min(explained, key=lambda fault: WEIGHTS.index(fault.weight))


def what_follows(cause: Cause, verdict: PassVerdict) -> str:
    """`consecutive fifths and a common tone given up`: the titles of what follows from it."""
    titles = (_known(verdict.faults[number], "title") for number in cause.follow)
    return listed(list(dict.fromkeys(title[0].lower() + title[1:] for title in titles)))


def cause_in_words(cause: Cause, verdict: PassVerdict) -> str:
    """Its sentence, what to do about it, and what follows from it."""
    follow = f"From it: {what_follows(cause, verdict)}." if cause.follow else ""
    return " ".join(part for part in (cause.text, cause.remedy, follow) if part)


def _of_the_chord(fault: Fault) -> bool:
    return _known(fault, "group") == "harmony" and fault.rule != "held-too-long"


def _known(fault: Fault, name: Literal["title", "group"]) -> str:
    """Of its rule; of one that this program does not know (marks of a newer one) its identifier."""
    try:
        return str(getattr(rule(fault.rule), name))
    except KeyError:
        return fault.rule
