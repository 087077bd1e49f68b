"""The figure of movement: what is counted in it, and over how many successions."""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable
from itertools import pairwise

from trainer.judging.verdict import MomentVerdict, Movement
from trainer.theory.fault import WEIGHTS, Fault
from trainer.theory.rules import rule


def successions(chords: Container[int], played: Iterable[MomentVerdict]) -> tuple[int, ...]:
    """The chords that follow another without a gap, by their moments: there are voices in both,
    and nothing was left out between them. `chords` are the moments at which harmony is judged."""
    judged = [one for one in played if one.index in chords]
    return tuple(
        after.index
        for before, after in pairwise(judged)
        if before.voicing is not None and after.voicing is not None
    )


def movement(faults: Iterable[Fault], steps: Collection[int]) -> Movement:
    """Faults by weight over the successions that end in `steps`; those of harmony are no faults
    of movement."""
    moved = [fault for fault in faults if not of_harmony(fault)]
    gross, weak, remark = (sum(f.weight == weight for f in moved) for weight in WEIGHTS)
    blamed = {last for f in moved if f.weight != "remark" for last in f.moments[-1:]}
    return Movement(gross, weak, remark, sum(step not in blamed for step in steps), len(steps))


def of_harmony(fault: Fault) -> bool:
    """Whether its rule is one of harmony; of one that this program does not know (marks of a newer
    one) it is not."""
    try:
        return rule(fault.rule).group == "harmony"
    except KeyError:
        return False
