"""What could have been played at each fault of a pass: sought beside the loop, once for each."""

from __future__ import annotations

from dataclasses import dataclass, field

from trainer.errors import TrainerError
from trainer.judging.verdict import PassVerdict
from trainer.practice.session import Session
from trainer.screen.errands import Errands
from trainer.screen.sheet.suggestion import Suggestion, suggestion_for
from trainer.theory.fault import Fault
from trainer.theory.voicing import Voicing


@dataclass
class WaysOn:
    """Suggestions of one pass, by what identifies their fault."""

    errands: Errands
    session: Session
    _found: dict[tuple[object, ...], Suggestion] = field(default_factory=dict)
    _asked: set[tuple[object, ...]] = field(default_factory=set)
    _solver: object | None = None

    def of(self, fault: Fault | None) -> Suggestion | None:
        """The suggestion, if it has been found by now."""
        return None if fault is None else self._found.get(_name(fault))

    def seek(self, fault: Fault, verdict: PassVerdict) -> None:
        """Have the best way on from the player's own hands sought."""
        name = _name(fault)
        if name in self._asked:
            return
        self._asked.add(name)
        exercise, conditions = self.session.exercise, self.session.take.conditions
        verdicts = {moment.index: moment for moment in verdict.moments}
        phrase_end = next(p.last for p in exercise.phrases if fault.moments[-1] <= p.last)

        def keep(found: Suggestion) -> None:
            self._found[name] = found

        def none(error: TrainerError) -> None:
            self._found[name] = Suggestion({}, str(error))

        def work() -> Suggestion:
            from trainer.theory.realize import Solver

            if self._solver is None:
                self._solver = Solver(
                    exercise.moments,
                    school=conditions.school,
                    hands=conditions.hands,
                    struck_five_is_diminished=exercise.struck_five_is_diminished,
                )
            assert isinstance(self._solver, Solver)
            return suggestion_for(self._solver, fault, verdicts, phrase_end)

        self.errands.ask(work, keep, none)

    def in_pencil(self, fault: Fault | None, verdict: PassVerdict) -> dict[int, Voicing]:
        """Of a suggestion what differs from what was played, by moment."""
        suggestion = self.of(fault)
        if suggestion is None:
            return {}
        mine = {moment.index: moment.voicing for moment in verdict.moments}
        return {m: v for m, v in suggestion.voicings.items() if mine.get(m) != v}


def _name(fault: Fault) -> tuple[object, ...]:
    """A fault whatever is said of it later: its sentence grows."""
    return fault.rule, fault.moments, fault.voices, fault.pitches
