"""The solver: every legal realization of an exercise, exactly.

Legal is what breaks no gross rule of the school (or none of the rules named) and lies in the
hands. Among the legal, `trainer.theory.realize.taste` says which is better. Nothing is sampled
and no path is dropped: the best is the best of all, and the count is of all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from trainer.errors import InputError, NoVoicingError
from trainer.theory.hands import Hands
from trainer.theory.moment import Moment
from trainer.theory.realize.context import context
from trainer.theory.realize.lattice import (
    FORBIDDEN,
    Costs,
    Lattice,
    Onward,
    cheapest,
    count,
    onward,
    reached,
)
from trainer.theory.realize.pairs import Pairs, Steps
from trainer.theory.realize.reach import Choices, choices, row_of
from trainer.theory.realize.rows import VOICING_RULES, Table, all_rows, table, voicing_faults
from trainer.theory.realize.steps import HOLD, STEP_RULES, step_faults
from trainer.theory.realize.taste import TASTE, Taste
from trainer.theory.realize.weighing import Law, step_costs, voicing_costs
from trainer.theory.rules import School, rule
from trainer.theory.sonority import sonorities
from trainer.theory.voicing import Voicing

_NEAR = 1 << 24  # a semitone away from what was played outweighs any taste


@dataclass(frozen=True, slots=True)
class Solution:
    """`voicings` from moment `first` on; `cost` by taste, the less the better."""

    cost: int
    voicings: tuple[Voicing, ...]
    first: int = 0


class Solver:
    """All legal realizations of some moments, in a school and for given hands.

    `rules` are the identifiers of the rules to keep, any of VOICING_RULES and STEP_RULES; None
    keeps those that are gross in the school. What the figuring asks for is always kept. What has
    been worked out once (costs of steps, what can follow) is kept by the solver; it is immutable
    from outside.

    Raises FigureError for a figuring that contradicts itself, InputError for an unknown rule,
    NoVoicingError for given notes outside the keyboard or a melody below the bass.
    """

    def __init__(
        self,
        moments: Sequence[Moment],
        *,
        school: School = "strict",
        hands: Hands = "1+3",
        rules: Iterable[str] | None = None,
        struck_five_is_diminished: bool = False,
        taste: Taste = TASTE,
    ) -> None:
        self.moments = tuple(moments)
        self.hands: Hands = hands
        self.law = Law(school, None if rules is None else _known(rules), taste)
        self.sonorities = sonorities(self.moments, struck_five_is_diminished)
        self.choices: Choices = choices(self.moments, self.sonorities, hands)
        self._context = context(self.moments, self.sonorities, hands)
        self._rows = all_rows(self.choices, self._context)
        own = voicing_costs(self._rows, self.choices.ranks, self._context, hands, self.law)
        starts = self.choices.starts
        self._own = tuple(np.split(own, starts[1:-1])) if self.moments else ()
        self._steps = Steps(starts, self._step_costs)
        self._lattice = Lattice(self._own, self._steps)

    def best(self, k: int = 1) -> tuple[Solution, ...]:
        """The k best realizations, best first, fewer if there are fewer; NoVoicingError if none."""
        if k == 1:
            ahead = self._ahead
            if not self.moments:
                return ()
            first = int(ahead.costs[0].argmin())
            cost = int(ahead.costs[0][first])
            return (Solution(cost, self._voicings(0, ahead.path(0, first))),)
        self._ensure()
        return tuple(
            Solution(path.cost, self._voicings(0, path.choices))
            for path in cheapest(self._lattice, k)
        )

    def count(self) -> int:
        """The number of all legal realizations, exact; 0 if there is none."""
        return count(self._lattice)

    def onward(self, index: int, voicing: Voicing) -> Solution:
        """The best continuation from a voicing at moment `index`: the moments after it.

        The voicing need not be legal itself, but the step from it must be; its own price is not
        counted. Raises NoVoicingError where nothing legal can follow it.
        """
        if index + 1 >= len(self.moments):
            return Solution(0, (), index + 1)
        costs = self._from(index, voicing) + self._ahead.costs[index + 1]
        first = int(costs.argmin()) if len(costs) else 0
        if not len(costs) or costs[first] >= FORBIDDEN:
            raise self._error(index + 1, f"nothing legal can follow {voicing} there")
        path = self._ahead.path(index + 1, first)
        return Solution(int(costs[first]), self._voicings(index + 1, path), index + 1)

    def nearest(self, played: Mapping[int, Sequence[int]]) -> Solution:
        """The legal realization nearest to the keys played at each moment (MIDI numbers).

        Nearness is in semitones: from each key played to the nearest voice, and from each voice
        of the player's to the nearest key. Of equally near ones the best by taste, whose cost is
        the solution's. A moment without keys asks for nothing.
        """
        self._ensure()
        own = list(self._own)
        for index, keys in played.items():
            if keys and 0 <= index < len(own):
                distance = self._distance(index, keys)
                own[index] = np.minimum(own[index] + distance * _NEAR, FORBIDDEN)
        ahead = onward(Lattice(tuple(own), self._steps))
        first = int(ahead.costs[0].argmin())
        path = ahead.path(0, first)
        return Solution(int(ahead.costs[0][first]) % _NEAR, self._voicings(0, path))

    def voicings(self, index: int) -> tuple[Voicing, ...]:
        """The legal voicings of a moment by itself, best first."""
        own = self._own[index]
        order = np.argsort(own, kind="stable")
        return tuple(self.choices.voicing(index, int(c)) for c in order if own[c] < FORBIDDEN)

    def followers(self, index: int, voicing: Voicing) -> tuple[tuple[int, Voicing], ...]:
        """The voicings of moment `index` + 1 that may follow one at `index`, cheapest step first,
        each with its price."""
        costs = self._from(index, voicing) + self._own[index + 1]
        order = np.argsort(costs, kind="stable")
        return tuple(
            (int(costs[c]), self.choices.voicing(index + 1, int(c)))
            for c in order
            if costs[c] < FORBIDDEN
        )

    def ways(
        self, index: int, before: Voicing | None, near: Voicing | None, avoiding: str | None = None
    ) -> tuple[Voicing, ...]:
        """The legal voicings of moment `index`: those first that are near to `near` and good.

        A semitone away from what was played weighs as one of the price list: the very nearest
        may be a bare or clumsy chord, which no teacher would show.

        Only those that may follow `before` at the moment before it (None: any), and that do not
        break the rule `avoiding` even where it is not gross. Where some of them leave a way to the
        end of the piece, only those.
        """
        costs = self._own[index].copy()
        rows = slice(int(self.choices.starts[index]), int(self.choices.starts[index + 1]))
        if before is not None and index:
            costs = np.minimum(costs + self._from(index - 1, before), FORBIDDEN)
            row, pairs = self._single(index - 1, before)
            broken = dict(step_faults(row, self._rows, pairs, self._context))
            if avoiding in broken:
                costs[broken[avoiding]] = FORBIDDEN
        alone = dict(voicing_faults(self._rows.part(rows), self._context, self.hands))
        if avoiding in alone:
            costs[alone[avoiding]] = FORBIDDEN
        lasting = costs.copy()
        lasting[self._finishing.costs[index] >= FORBIDDEN] = FORBIDDEN
        if len(lasting) and lasting.min() < FORBIDDEN:
            costs = lasting
        far = np.zeros(len(costs), np.int64)
        if near is not None:
            keys = np.array([[-1 if pitch is None else pitch.midi] for pitch in near], np.int64)
            far = np.abs(np.where(keys < 0, 0, self.choices.keys[:, rows] - keys)).sum(axis=0)
        order = np.lexsort((far, costs + far))
        return tuple(self.choices.voicing(index, int(c)) for c in order if costs[c] < FORBIDDEN)

    @cached_property
    def _finishing(self) -> Onward:
        return onward(self._lattice)

    @cached_property
    def _ahead(self) -> Onward:
        ahead = self._finishing
        if self.moments and (not len(ahead.costs[0]) or ahead.costs[0].min() >= FORBIDDEN):
            raise self._nothing()
        return ahead

    def _ensure(self) -> None:
        """Raises NoVoicingError where there is no realization at all."""
        assert self._ahead is not None

    def _step_costs(self, pairs: Pairs) -> Costs:
        return step_costs(self._rows, self._rows, pairs, self._context, self.law)

    def _voicings(self, first: int, path: Sequence[int]) -> tuple[Voicing, ...]:
        return tuple(self.choices.voicing(first + i, choice) for i, choice in enumerate(path))

    def _from(self, index: int, voicing: Voicing) -> Costs:
        """The price of each step out of a voicing into the choices of the next moment."""
        row, pairs = self._single(index, voicing)
        return step_costs(row, self._rows, pairs, self._context, self.law)

    def _single(self, index: int, voicing: Voicing) -> tuple[Table, Pairs]:
        keys, heights, numbers = row_of(voicing, self.sonorities[index])
        row = table(keys, heights, numbers, np.array([index]), self._context)
        after = np.arange(self.choices.starts[index + 1], self.choices.starts[index + 2])
        return row, Pairs(np.zeros(len(after), np.intp), after, np.full(len(after), index))

    def _distance(self, index: int, keys: Sequence[int]) -> Costs:
        start, end = self.choices.starts[index], self.choices.starts[index + 1]
        voices = self.choices.keys[:, start:end].astype(np.int64)
        sounding = (voices >= 0) & ~self.choices.silent[:, index, None]
        played = np.array(sorted(set(keys)), np.int64)
        apart = np.abs(voices[:, :, None] - played)  # (voices, choices, keys)
        far = np.where(sounding[:, :, None], apart, 127)
        mine = sounding.copy()
        mine[3] = False
        if self._context.melody_given:
            mine[0] = False
        to_keys = np.where(mine, apart.min(axis=2), 0).sum(axis=0)
        to_voices = far.min(axis=0).sum(axis=1)
        return np.asarray(to_keys + to_voices, np.int64)

    def _nothing(self) -> NoVoicingError:
        """Why there is no realization: the first moment that cannot be reached, and the rule that
        keeps out the last voicings that might have been."""
        last = np.zeros(0, bool)
        for index, here in enumerate(reached(self._lattice)):
            if not here.any():
                return self._why(index, last)
            last = here
        raise AssertionError("there is a realization")

    def _why(self, index: int, earlier: np.ndarray) -> NoVoicingError:
        own = self._own[index]
        sonority, starts = self.sonorities[index], self.choices.starts
        if not len(own):
            what = "the figuring has no voicing"
            if sonority.melody is not None:
                what += f" under the melody {sonority.melody}"
            return self._error(index, f"{what} within the hands' reach")
        rows = np.arange(starts[index], starts[index + 1])
        if (own >= FORBIDDEN).all():
            faults = dict(voicing_faults(self._rows.part(rows), self._context, self.hands))
            wanted = [name for name in faults if self.law.forbids(name, False)]
        else:
            before = np.flatnonzero(earlier) + starts[index - 1]
            rows = rows[own < FORBIDDEN]
            pairs = Pairs(
                np.repeat(before, len(rows)),
                np.tile(rows, len(before)),
                np.full(len(before) * len(rows), index - 1),
            )
            faults = dict(step_faults(self._rows, self._rows, pairs, self._context))
            breath = bool(self._context.breath[index - 1])
            wanted = [name for name in faults if self.law.forbids(name, breath) and name != HOLD]
        return self._error(index, f"no voicing is legal: {_forbidding(faults, wanted)}")

    def _error(self, index: int, what: str) -> NoVoicingError:
        moment = self.moments[index]
        figuring = str(moment.figuring) or "no figures"
        bass = "a rest" if moment.bass is None else str(moment.bass)
        return NoVoicingError(
            f"{what} ({figuring} over {bass})",
            bar=moment.bar,
            beat=float(moment.beat),
            remedy="change the figuring, the melody or the bass there",
        )


def _forbidding(faults: Mapping[str, np.ndarray], wanted: Sequence[str]) -> str:
    """The rule that keeps out the last ones: of the ways that break fewest rules, the rule that
    most of them break."""
    broken = np.array([faults[name] for name in wanted])
    fewest = broken.sum(axis=0)
    nearly = broken[:, fewest == fewest.min()]
    tally = Counter(dict(zip(wanted, nearly.sum(axis=1).tolist(), strict=True)))
    name, _ = tally.most_common(1)[0]
    return f"the rule against {name.replace('-', ' ')} forbids the last ones ({rule(name).id})"


def _known(rules: Iterable[str]) -> frozenset[str]:
    wanted = frozenset(rules)
    unknown = sorted(wanted - {*VOICING_RULES, *STEP_RULES})
    if unknown:
        raise InputError(
            f"{unknown[0]!r} is not a rule a realization can be made to keep",
            remedy=f"use any of {', '.join((*VOICING_RULES, *STEP_RULES))}",
        )
    return wanted
