"""The figure of movement: what is counted in it, and over how many successions."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from itertools import pairwise

from trainer.judging.verdict import MomentVerdict, Movement
from trainer.theory.fault import WEIGHTS, Fault
from trainer.theory.moment import Moment
from trainer.theory.rules import rule


def successions(asked: Sequence[Moment], played: Iterable[MomentVerdict]) -> tuple[int, ...]:
    """The chords that follow another without a gap, by their moments: there are voices in both,
    and nothing was left out between them."""
    chords = [one for one in played if asked[one.index].chord]
    return tuple(
        after.index
        for before, after in pairwise(chords)
        if before.voicing is not None and after.voicing is not None
    )


def movement(faults: Iterable[Fault], steps: Collection[int]) -> Movement:
    """Faults by weight over the successions that end in `steps`; those of harmony are no faults
    of movement."""
    moved = [fault for fault in faults if rule(fault.rule).group != "harmony"]
    gross, weak, remark = (sum(f.weight == weight for f in moved) for weight in WEIGHTS)
    blamed = {fault.moments[-1] for fault in moved if fault.weight != "remark"}
    return Movement(gross, weak, remark, sum(step not in blamed for step in steps), len(steps))
