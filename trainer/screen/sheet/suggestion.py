"""What could have been played from the player's own hands; sought beside the loop."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.errors import TrainerError
from trainer.judging.verdict import MomentVerdict
from trainer.theory.fault import Fault
from trainer.theory.voicing import Voicing

AHEAD = 4  # moments a suggestion goes beyond its fault


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Voicings by moment, from the player's own hands; or one line why there are none."""

    voicings: dict[int, Voicing]
    words: str = ""


def suggestion_for(
    solver: object, fault: Fault, verdicts: dict[int, MomentVerdict], last: int
) -> Suggestion:
    """From the hands before the fault, the best way on, as far as moment `last`."""
    from trainer.theory.realize import Solver

    assert isinstance(solver, Solver)
    before = fault.moments[0] if len(fault.moments) > 1 else fault.moments[0] - 1
    hands = verdicts.get(before)
    start: dict[int, Voicing] = {}
    if before >= 0 and hands is not None and hands.voicing is not None and all(hands.voicing):
        try:
            solution = solver.onward(before, hands.voicing)
            start = {before: hands.voicing}
            words = ""
        except TrainerError:
            solution = solver.nearest({v.index: v.keys for v in verdicts.values()})
            words = "Nothing clean follows from these hands; the nearest way is in pencil."
    else:
        solution = solver.nearest({v.index: v.keys for v in verdicts.values()})
        words = "The nearest way that is clean is in pencil."
    voicings = {solution.first + n: voicing for n, voicing in enumerate(solution.voicings)}
    end = min(last, fault.moments[-1] + AHEAD)
    chosen = {m: v for m, v in voicings.items() if fault.moments[0] <= m <= end}
    return Suggestion(start | chosen, words)
