"""The exact search against an independent optimiser: OR-tools' CP-SAT.

Source: OR-tools (Apache 2.0), `ortools.sat.python.cp_model`. The model knows nothing of lattices:
it has a variable for each key each voice plays, what the judge (not the solver) finds legal as
tables, and the price list of `trainer.theory.realize.taste` said again as constraints. Optimum and
number of all solutions must be the same.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cache

import pytest
from ortools.sat.python import cp_model

from tests.judging.at_random import exercise_at_random
from trainer.errors import NoVoicingError
from trainer.judging.judge import Judge
from trainer.judging.movement_faults import findings
from trainer.judging.take import Conditions
from trainer.score.exercise import Exercise
from trainer.theory.dissonance import Passage
from trainer.theory.figures import Way
from trainer.theory.hands import SPAN
from trainer.theory.movement import succession
from trainer.theory.realize import STEP_RULES, TASTE, VOICING_RULES, Solver
from trainer.theory.rules import weight
from trainer.theory.voicing import VOICES, Sounding, Voicing

WANTED = 50
MOST = 3000  # solutions CP-SAT is asked to number


def exercises() -> Iterator[tuple[Exercise, Solver]]:
    """Random ones of plain chords under a melody, with some solutions but not too many."""
    for seed in itertools.count():
        exercise = exercise_at_random(seed, chords=4, melody=True)
        if len(exercise.moments) < 4 or not all(plain(m) for m in exercise.moments):
            continue
        try:
            solver = Solver(exercise.moments)
            solver.best()
        except NoVoicingError:
            continue
        if solver.count() <= MOST:
            yield exercise, solver


def plain(moment) -> bool:
    way = moment.figuring.way in (Way.FIGURES, Way.EXTENDED)
    return way and moment.chord and moment.melody is not None and moment.bass is not None


@cache
def cases() -> tuple[tuple[Exercise, Solver], ...]:
    return tuple(itertools.islice(exercises(), WANTED))


@pytest.mark.parametrize("number", range(WANTED))
def test_optimum_and_count_are_those_of_cp_sat(number: int) -> None:
    exercise, solver = cases()[number]
    model = Model(exercise)
    assert model.count() == solver.count()
    assert model.optimum() == solver.best()[0].cost


class Model:
    """All realizations of an exercise under its melody, as CP-SAT has them."""

    def __init__(self, exercise: Exercise) -> None:
        self.judge = Judge(exercise, Conditions())
        self.moments = exercise.moments
        legal = [list(self.legal(index)) for index in range(len(self.moments))]
        self.model = cp_model.CpModel()
        self.keys = [
            [self.model.new_int_var(0, 127, f"{voice}{index}") for voice in ("alto", "tenor")]
            for index in range(len(self.moments))
        ]
        self.prices: list[cp_model.LinearExprT] = []
        for index, found in enumerate(legal):
            price = self.price()
            rows = [(*inner(voicing), cost) for voicing, cost in found]
            self.model.add_allowed_assignments([*self.keys[index], price], rows)
        for index, (before, after) in enumerate(itertools.pairwise(legal)):
            price = self.price()
            rows = [
                (*inner(a), *inner(b), cost)
                for (a, _), (b, _) in itertools.product(before, after)
                if (cost := self.step(index, a, b)) is not None
            ]
            self.model.add_allowed_assignments(
                [*self.keys[index], *self.keys[index + 1], price], rows
            )
            for voice in range(2):
                self.motion(index, voice)
            self.all_one_way(index)

    def count(self) -> int:
        solver = cp_model.CpSolver()
        solver.parameters.enumerate_all_solutions = True
        solver.parameters.num_workers = 1
        numbered = Numbered(itertools.chain.from_iterable(self.keys))
        solver.solve(self.model, numbered)
        return len(numbered.found)

    def optimum(self) -> int:
        self.model.minimize(sum(self.prices))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        assert solver.solve(self.model) == cp_model.OPTIMAL
        return round(solver.objective_value)

    def price(self) -> cp_model.IntVar:
        price = self.model.new_int_var(0, 100_000, "price")
        self.prices.append(price)
        return price

    def legal(self, index: int) -> Iterator[tuple[Voicing, int]]:
        """What the judge lets pass at one moment, with its price."""
        moment, sonority = self.moments[index], self.judge.sonorities[index]
        top, low = moment.melody.midi, moment.bass.midi
        keys = range(top, max(low, top - SPAN) - 1, -1)
        for alto, tenor in itertools.combinations_with_replacement(keys, 2):
            voicing = Voicing(
                moment.melody, sonority.spell(alto), sonority.spell(tenor), moment.bass
            )
            heard = self.judge.harmony(index, [top, alto, tenor, low])
            if heard.outcome != "complete" or heard.additions:
                continue
            broken = self.broken([(index, voicing)], VOICING_RULES)
            if any(weight(rule, "strict") == "gross" for rule in broken):
                continue
            numbers = tuple(sorted(sonority.number(p.name) for p in tuple(voicing)[:3]))
            rank = sonority.completions.index(numbers)
            cost = TASTE.completion * min(rank, 5)
            cost += TASTE.unlisted * (rank >= sonority.preferred)
            different = {pitch.name for pitch in voicing if pitch is not None}
            cost += TASTE.hollow * (len(different) < 3)
            cost += TASTE.thin * ((top == alto) + (alto == tenor) + (tenor == low))
            cost += sum(TASTE.of(weight(rule, "strict")) for rule in broken)
            yield voicing, cost

    def step(self, index: int, before: Voicing, after: Voicing) -> int | None:
        """What the rules of movement charge for a step, None where they forbid it."""
        broken = self.broken([(index, before), (index + 1, after)], STEP_RULES)
        breath = self.moments[index].fermata
        weights = [weight(rule, "strict", breath) for rule in broken]
        return None if "gross" in weights else sum(map(TASTE.of, weights))

    def broken(self, chords: list[tuple[int, Voicing]], rules: tuple[str, ...]) -> set[str]:
        soundings = tuple(
            Sounding(self.moments[at].onset, at, voicing, frozenset(VOICES))
            for at, voicing in chords
        )
        passage = Passage(self.moments, self.judge.sonorities, soundings)
        names = {
            finding.rule
            for finding in findings(passage, self.judge.given, "1+3")
            if len(finding.soundings) == len(chords)
        }
        if len(chords) == 2 and chords[1][0] < len(self.moments) - 1:
            # the judge takes the last chord it is shown for the final one, into which more is free
            (_, a), (_, b) = chords
            names |= {f.rule for f in succession(a, b, (0, 1), self.judge.given, hands="1+3")}
        return names.intersection(rules)

    def motion(self, index: int, voice: int) -> None:
        """An inner voice's price of moving, of following the bass, of giving up a common tone."""
        before, after = self.keys[index][voice], self.keys[index + 1][voice]
        bass = self.moments[index + 1].bass.midi - self.moments[index].bass.midi
        prices = TASTE.motion_prices.tolist()
        kept = self.judge.sonorities[index + 1].allowed_pitch_classes
        here, there = self.moments[index + 1].melody.midi, self.keys[index + 1]
        moved = self.model.new_int_var(-127, 127, "moved")
        self.model.add(moved == after - before)
        price = self.price()
        self.model.add_allowed_assignments(
            [moved, price],
            [
                (by, prices[abs(by)] + (TASTE.with_bass if by * bass > 0 else 0))
                for by in range(-127, 128)
            ],
        )
        given_up = self.model.new_bool_var("given up")
        taken = []
        for other in (*there, here):
            same = self.model.new_bool_var("same")
            self.model.add(before == other).only_enforce_if(same)
            self.model.add(before != other).only_enforce_if(same.Not())
            taken.append(same)
        available = self.model.new_bool_var("available")
        self.model.add_allowed_assignments(
            [before, available], [(key, int(key % 12 in kept)) for key in range(128)]
        )
        self.model.add_bool_and([available, *(t.Not() for t in taken)]).only_enforce_if(given_up)
        self.model.add_bool_or([available.Not(), *taken]).only_enforce_if(given_up.Not())
        self.prices.append(TASTE.gives_up * given_up)

    def all_one_way(self, index: int) -> None:
        here, then = self.moments[index], self.moments[index + 1]
        bass = then.bass.midi - here.bass.midi
        top = then.melody.midi - here.melody.midi
        if bass * top <= 0:
            return
        way = 1 if bass > 0 else -1
        goes = []
        for voice in range(2):
            one = self.model.new_bool_var("goes")
            by = way * (self.keys[index + 1][voice] - self.keys[index][voice])
            self.model.add(by >= 1).only_enforce_if(one)
            self.model.add(by <= 0).only_enforce_if(one.Not())
            goes.append(one)
        both = self.model.new_bool_var("both")
        self.model.add_bool_and(goes).only_enforce_if(both)
        self.model.add_bool_or([g.Not() for g in goes]).only_enforce_if(both.Not())
        self.prices.append(TASTE.all_one_way * both)


class Numbered(cp_model.CpSolverSolutionCallback):
    """Collects every assignment of the keys."""

    def __init__(self, keys) -> None:
        super().__init__()
        self.keys = list(keys)
        self.found: set[tuple[int, ...]] = set()

    def on_solution_callback(self) -> None:
        self.found.add(tuple(self.value(key) for key in self.keys))


def inner(voicing: Voicing) -> tuple[int, int]:
    assert voicing.alto is not None and voicing.tenor is not None
    return voicing.alto.midi, voicing.tenor.midi
