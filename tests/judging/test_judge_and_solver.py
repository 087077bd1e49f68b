"""The judge looks at four notes at a time, the solver at all of them at once: they must agree."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest

from tests.judging.at_random import exercise_at_random
from trainer.errors import NoVoicingError
from trainer.judging.judge import Judge
from trainer.judging.movement_faults import faults, findings
from trainer.judging.take import Conditions
from trainer.score.exercise import Exercise
from trainer.theory.dissonance import Passage
from trainer.theory.figures import Way
from trainer.theory.hands import SPAN
from trainer.theory.realize import STEP_RULES, VOICING_RULES, Solver
from trainer.theory.realize.lattice import FORBIDDEN
from trainer.theory.realize.pairs import Pairs
from trainer.theory.realize.reach import FREE_FLOOR, FREE_TOP
from trainer.theory.realize.rows import voicing_faults
from trainer.theory.realize.steps import step_faults
from trainer.theory.realize.weighing import step_costs
from trainer.theory.rules import weight
from trainer.theory.voicing import VOICES, Sounding, Voicing

SEEDS = range(60)
LOOSE = {"delayed-resolution", "tritone-astray"}


def some_solver(exercise: Exercise, **settings) -> Solver | None:
    try:
        return Solver(exercise.moments, **settings)
    except NoVoicingError:  # a melody that fell below the bass
        return None


def random_path(rng: random.Random, solver: Solver) -> list[int] | None:
    """One choice a moment, the inner voices holding where they must, else anything at all."""
    path: list[int] = []
    starts = solver.choices.starts
    for index, moment in enumerate(solver.moments):
        rows = range(int(starts[index]), int(starts[index + 1]))
        if index and not moment.chord:
            before = starts[index - 1] + path[-1]
            keys = solver.choices.keys
            upper = range(1, 3) if any(m.melody for m in solver.moments) else range(3)
            rows = [r for r in rows if all(keys[v, r] == keys[v, before] for v in upper)]
        if not rows:
            return None
        path.append(int(rng.choice(list(rows)) - starts[index]))
    return path


def soundings(solver: Solver, path: list[int]) -> tuple[Sounding, ...]:
    return tuple(
        Sounding(moment.onset, index, solver.choices.voicing(index, choice), frozenset(VOICES))
        for index, (moment, choice) in enumerate(zip(solver.moments, path, strict=True))
    )


@pytest.mark.parametrize("hands", ["1+3", "2+2"])
def test_along_any_path_judge_and_solver_find_the_same_faults(hands: str) -> None:
    compared = 0
    for seed in SEEDS:
        exercise = exercise_at_random(seed)
        solver = some_solver(exercise, hands=hands)
        if solver is None:
            continue
        judge = Judge(exercise, Conditions(hands=hands))
        # across a silence the judge remembers more of the chord before it than the solver, which
        # touches these two, neither of them gross
        blurred = LOOSE if solver._context.mute.any() else set()
        rng = random.Random(seed)
        for _ in range(12):
            path = random_path(rng, solver)
            if path is None:
                break
            passage = Passage(judge.moments, judge.sonorities, soundings(solver, path))
            theirs = {
                (finding.rule, finding.soundings[-1])
                for finding in findings(passage, judge.given, hands)
                if finding.rule in {*STEP_RULES, *VOICING_RULES} and finding.rule not in blurred
            }
            rows = solver.choices.starts[:-1] + path
            pairs = Pairs(rows[:-1], rows[1:], np.arange(len(rows) - 1))
            context, table = solver._context, solver._rows
            ours = {
                (rule, int(place) + 1)
                for rule, bad in step_faults(table, table, pairs, context)
                for place in np.flatnonzero(bad)
                if rule not in blurred
            }
            for rule, bad in voicing_faults(table, context, hands):
                ours |= {
                    (rule, place) for place in np.flatnonzero(bad[rows] & context.placed).tolist()
                }
            assert ours == theirs, f"{exercise.id}: {[str(s.voicing) for s in passage.soundings]}"
            weighed = faults(
                findings(passage, judge.given, hands), passage, "strict", lambda at: (1, at)
            )
            gross = {f.moments[-1] for f in weighed if f.weight == "gross" and f.rule in STEP_RULES}
            prices = step_costs(table, table, pairs, context, solver.law)
            assert set((np.flatnonzero(prices >= FORBIDDEN) + 1).tolist()) == gross
            compared += 1
    assert compared > 400


def every_voicing(solver: Solver, index: int, hands: str):
    """All ways to hold down three (or, under a melody, two) keys between the outer voices."""
    moment, sonority = solver.moments[index], solver.sonorities[index]
    low = sonority.bass.midi
    if moment.melody is None:
        keys = range(max(low, FREE_FLOOR) if hands == "1+3" else low, FREE_TOP + 1)
        tops = itertools.combinations_with_replacement(reversed(keys), 3)
    else:
        top = moment.melody.midi
        inner = itertools.combinations_with_replacement(range(top, low - 1, -1), 2)
        tops = ((top, alto, tenor) for alto, tenor in inner)
    for soprano, alto, tenor in tops:
        if hands == "1+3" and soprano - tenor > SPAN:
            continue
        if hands == "2+2" and (soprano - alto > SPAN or tenor - low > SPAN):
            continue
        spelled = [sonority.spell(key) for key in (soprano, alto, tenor)]
        if moment.melody is not None:
            spelled[0] = moment.melody
        yield Voicing(*spelled, moment.bass)


@pytest.mark.parametrize("hands", ["1+3", "2+2"])
def test_a_voicing_is_in_the_solvers_set_exactly_if_the_judge_finds_it_legal(hands: str) -> None:
    compared = 0
    for seed in range(24):
        exercise = exercise_at_random(seed, chords=5, melody=bool(seed % 6))
        solver = some_solver(exercise, hands=hands)
        if solver is None:
            continue
        judge = Judge(exercise, Conditions(hands=hands))
        rng = random.Random(seed)
        for index, moment in enumerate(solver.moments):
            way = solver.sonorities[index].way
            if not moment.chord or way not in (Way.FIGURES, Way.EXTENDED):
                continue
            ours = {keys_of(voicing) for voicing in solver.voicings(index)}
            every = list(every_voicing(solver, index, hands))
            if len(every) > 600:  # without a melody: those in the set, and a sample of the rest
                every = [v for v in every if keys_of(v) in ours or rng.random() < 0.06]
            assert ours <= {keys_of(voicing) for voicing in every}
            for voicing in every:
                written = judge.judge_realization(
                    [Sounding(moment.onset, index, voicing, frozenset(VOICES))]
                )
                keys = [key for key in keys_of(voicing) if key is not None]
                played = judge.harmony(index, keys)
                bad = [f.rule for f in written.faults if f.weight == "gross"]
                bad = [rule for rule in bad if rule != "unprepared-suspension"]
                bad += [*played.missing, *played.foreign, *played.additions]
                where = f"{exercise.id} {exercise.key} {moment.figuring} over {moment.bass}"
                assert (keys_of(voicing) in ours) == (not bad), f"{where}: {voicing} {bad}"
                compared += 1
    assert compared > 5000


def keys_of(voicing: Voicing) -> tuple[int | None, ...]:
    return tuple(None if pitch is None else pitch.midi for pitch in voicing)


@pytest.mark.parametrize("school", ["strict", "chorale", "free"])
def test_whatever_the_solver_plays_the_judge_finds_without_gross_fault(school: str) -> None:
    solved = 0
    for seed in range(1000, 1120):
        exercise = exercise_at_random(seed, chords=6)
        solver = some_solver(exercise, school=school)
        try:
            solutions = [] if solver is None else solver.best(3)
        except NoVoicingError:
            continue
        judge = Judge(exercise, Conditions(school=school))
        for solution in solutions:
            heard = judge.soundings(dict(enumerate(solution.voicings)))
            verdict = judge.judge_realization(heard)
            gross = [fault for fault in verdict.faults if fault.weight == "gross"]
            assert not gross, f"{exercise.id}: {gross}"
            assert all(moment.outcome == "complete" for moment in verdict.moments)
            solved += 1
    assert solved > 60
    assert weight("consecutive-fifths", school) == "gross"
