"""Why a chord came out wrong: the one thing the hand, the eye or the ear did that explains it.

A teacher says "you read the bass a line too low", not: the bass is wrong, the third is missing, two
notes are foreign, and the fifths that follow. Everything wrong in a chord is tried against few
causes (`trainer.judging.why`); what a cause explains, and what follows from it in the movement to
and from that chord, hangs below it. A fault that no cause explains stands for itself.
"""

from __future__ import annotations

from dataclasses import replace

from trainer.judging.judge import Judge
from trainer.judging.octaves import octaves
from trainer.judging.tally import movement, of_harmony, successions
from trainer.judging.verdict import Cause, PassVerdict
from trainer.judging.why import WrongChord
from trainer.theory.fault import WEIGHTS, Fault
from trainer.theory.listed import listed
from trainer.theory.rules import rule


def explained(judge: Judge, verdict: PassVerdict) -> PassVerdict:
    """The same verdict with its causes; what only follows from them is not counted in movement."""
    found = causes(judge, verdict)
    if not found:
        return verdict
    whole = replace(verdict, causes=found)
    following = whole.following
    counted = [fault for n, fault in enumerate(whole.faults) if n not in following]
    steps = successions(judge.chords, whole.moments)
    return replace(whole, movement=movement(counted, steps))


def causes(judge: Judge, verdict: PassVerdict) -> tuple[Cause, ...]:
    """The fewest causes of what is wrong in the chords of a pass, in the order of the music. A
    fault belongs to one of them, or to none."""
    # where nothing is known of the attack, nobody can tell what was held from what was struck
    told = any(moment.attack is not None for moment in verdict.moments)
    by_moment = {moment.index: moment for moment in verdict.moments if told}
    found = [*octaves(judge, verdict)]
    taken = {number for cause in found for number in (*cause.explains, *cause.follow)}
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
    return tuple(sorted(found, key=lambda cause: cause.moment))


MOST = 3  # that follow are named; who reads more has forgotten the first


def what_follows(cause: Cause, verdict: PassVerdict) -> str:
    """`consecutive fifths and a common tone given up`: the titles of what follows from it, the
    heaviest first, of more than `MOST` only so many."""
    follow = sorted(
        (verdict.faults[number] for number in cause.follow),
        key=lambda fault: WEIGHTS.index(fault.weight),
    )
    titles = dict.fromkeys(_title(fault) for fault in follow)
    words = [title[0].lower() + title[1:] for title in titles]
    left = len(words) - MOST
    return listed([*words[:MOST], f"{left} more"] if left > 1 else words)


def cause_in_words(cause: Cause, verdict: PassVerdict) -> str:
    """Its sentence, what to do about it, and what follows from it."""
    follow = f"From it: {what_follows(cause, verdict)}." if cause.follow else ""
    return " ".join(part for part in (cause.text, cause.remedy, follow) if part)


def _of_the_chord(fault: Fault) -> bool:
    return of_harmony(fault) and fault.rule != "held-too-long"


def _title(fault: Fault) -> str:
    """Of its rule; of one that this program does not know (marks of a newer one) its identifier."""
    try:
        return rule(fault.rule).title
    except KeyError:
        return fault.rule
