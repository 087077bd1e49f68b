"""For each fault of a pass, what would have been right from there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from trainer.errors import NoVoicingError
from trainer.judging.take import Conditions
from trainer.judging.verdict import PassVerdict
from trainer.score.exercise import Exercise
from trainer.theory.fault import Fault
from trainer.theory.movement import Given
from trainer.theory.realize import Solver, way_out
from trainer.theory.voicing import Voicing

# what is given is not for the hand to choose; a finger that stays needs no other chord
UNMENDED = ("wrong-bass", "wrong-melody", "held-too-long")


def with_ways_out(
    exercise: Exercise,
    conditions: Conditions,
    verdict: PassVerdict,
    given: Given,
    enough: Callable[[], bool] = lambda: False,
) -> PassVerdict:
    """The same verdict, its gross and weak faults with a voicing that avoids them and the sentence
    that names it, where there is one.

    A melody that is not given may be changed with the rest; where the bass is not, and where the
    exercise cannot be realized at all, nothing is proposed, nor for what is left when `enough`
    says so.
    """
    if enough() or "bass" not in given or not any(wanted(fault) for fault in verdict.faults):
        return verdict
    moments = exercise.moments
    if "soprano" not in given:
        moments = tuple(replace(moment, melody=None) for moment in moments)
    try:
        solver = Solver(
            moments,
            school=conditions.school,
            hands=conditions.hands,
            struck_five_is_diminished=exercise.struck_five_is_diminished,
        )
    except NoVoicingError:
        return verdict
    played = {m.index: m.voicing for m in verdict.moments if m.voicing is not None}
    return replace(
        verdict,
        faults=tuple(
            fault if enough() else _mended(solver, fault, played) for fault in verdict.faults
        ),
    )


def wanted(fault: Fault) -> bool:
    return fault.weight != "remark" and fault.rule not in UNMENDED and not _of_a_further_key(fault)


def _of_a_further_key(fault: Fault) -> bool:
    """Of more keys than voices one doubles what must be single: it is to be left out, which no
    voicing of four says."""
    return fault.rule.startswith("doubled") and len(fault.voices) < 2


def _mended(solver: Solver, fault: Fault, played: dict[int, Voicing]) -> Fault:
    if not wanted(fault):
        return fault
    way = way_out(solver, fault, played)
    if way is None:
        return fault
    return replace(fault, instead=way.voicing, text=f"{fault.text} {way.text}".rstrip())
