"""What is forbidden, and what the rest costs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.theory.hands import Hands
from trainer.theory.realize.context import Context
from trainer.theory.realize.lattice import FORBIDDEN, Costs
from trainer.theory.realize.pairs import Pairs
from trainer.theory.realize.reach import Small
from trainer.theory.realize.rows import Table, voicing_faults
from trainer.theory.realize.steps import HOLD, step_faults
from trainer.theory.realize.taste import Taste
from trainer.theory.rules import School, weight
from trainer.theory.voicing import PAIRS

# found between a chord and the next, however many moments without a chord lie between
_ACROSS = {"unresolved-dissonance", "delayed-resolution", "tritone-astray", "leading-tone-astray"}


FULL = 3  # different notes make a full chord, the bass counted


@dataclass(frozen=True)
class Law:
    """What is forbidden and what the rest costs.

    `rules` are the identifiers of the rules that must be kept; None: those that are gross in the
    school, one step less across a fermata.
    """

    school: School
    rules: frozenset[str] | None
    taste: Taste

    def forbids(self, rule: str, across_fermata: bool) -> bool:
        if rule == HOLD:
            return True
        if self.rules is not None:
            return rule in self.rules
        return weight(rule, self.school, across_fermata) == "gross"

    def price(self, rule: str, across_fermata: bool) -> int:
        return self.taste.of(weight(rule, self.school, across_fermata))


def voicing_costs(rows: Table, ranks: Small, context: Context, hands: Hands, law: Law) -> Costs:
    """The price of each voicing by itself, FORBIDDEN where it may not be."""
    taste = law.taste
    costs = np.minimum(ranks, 5).astype(np.int64) * taste.completion
    costs += taste.unlisted * (ranks >= context.listed[rows.moment])
    costs += taste.hollow * (rows.different_notes < FULL)
    for upper, lower in ((0, 1), (1, 2), (2, 3)):
        costs += taste.thin * (rows.unisons & 1 << PAIRS.index((upper, lower)) != 0)
    if not context.melody_given:
        low, high = taste.easy
        top = rows.keys[0].astype(np.int64)
        away = np.maximum(low - top, 0) + np.maximum(top - high, 0)
        costs += np.where(top >= 0, away * taste.far, 0)
    illegal = np.zeros(len(costs), bool)
    asked = context.placed[rows.moment]
    for name, bad in voicing_faults(rows, context, hands):
        bad = bad & asked
        if not bad.any():
            continue
        if law.forbids(name, False):
            illegal |= bad
        else:
            costs[bad] += law.price(name, False)
    return np.where(illegal, FORBIDDEN, costs)


def step_costs(before: Table, after: Table, pairs: Pairs, context: Context, law: Law) -> Costs:
    """The price of each step, FORBIDDEN where it may not be."""
    taste = law.taste
    a, b = before.keys[:, pairs.before], after.keys[:, pairs.after]
    prices = taste.motion_prices
    costs = np.zeros(len(pairs.place), np.int64)
    both = before.alive[pairs.before] & after.alive[pairs.after]
    way = np.sign(b - a)
    given = context.melody_given
    for voice in range(1 if given else 0, 3):
        alive = both >> voice & 1
        costs += alive * prices[np.abs(b[voice] - a[voice])]
        costs += (taste.with_bass * alive * (both >> 3)) * ((way[voice] * way[3]) > 0)
        left = (a[voice] != b[0]) & (a[voice] != b[1]) & (a[voice] != b[2]) & (alive != 0)
        costs += taste.gives_up * (left & context.sounding[pairs.place + 1, a[voice] % 12])
    together = (both == 15) & (np.abs(way.sum(axis=0)) == 4)
    costs += taste.all_one_way * together
    illegal = np.zeros(len(costs), bool)
    for name, bad in step_faults(before, after, pairs, context):
        where = np.flatnonzero(bad)
        if not len(where):
            continue
        breaths = context.resolution_breath if name in _ACROSS else context.breath
        breath = breaths[pairs.place[where]]
        for across in (False, True):
            chosen = where[breath == across]
            if law.forbids(name, across):
                illegal[chosen] = True
            else:
                costs[chosen] += law.price(name, across)
    return np.where(illegal, FORBIDDEN, costs)
