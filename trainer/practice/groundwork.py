"""What every part of a day's plan is made from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from random import Random

from trainer.practice.assignment import Assigned
from trainer.practice.ladder import Ladder, taken_up
from trainer.practice.material import Material
from trainer.practice.past import Past
from trainer.practice.plan import Task
from trainer.score.patterns import POSITIONS, Pattern
from trainer.theory.hands import Hands
from trainer.theory.key import Key

TURNS = 12  # passes at one thing on one day, at most


@dataclass(frozen=True, slots=True)
class Groundwork:
    """What every part is made from; `evening` is the end of the day, so that the hour at which a
    plan is made changes nothing in it."""

    evening: datetime
    minutes: float
    material: Material
    past: Past
    hands: Hands
    assigned: tuple[Assigned, ...] = ()
    taken: frozenset[str] = frozenset()  # what earlier parts of the plan already play

    @property
    def step(self) -> int:
        return self.past.standing.step.number

    def ladder(self, piece: str, key: Key | str, goal: float) -> Ladder:
        return taken_up(self.past.ladders, (piece, str(key), self.hands), goal)

    def drill(self, pattern: Pattern, key: Key, chance: Random, most: int) -> Task:
        """A drill on its ladder, beginning in one of the three positions."""
        id = f"{drill_id(pattern.id, key)}:{chance.choice(POSITIONS)}"
        return Task(id, ladder=self.ladder(pattern.id, key, pattern.tempo), most=most)

    def met_drills(self) -> Iterable[tuple[Pattern, Key]]:
        """Every drill of the course up to here, in every key allowed, in course order."""
        seen: set[str] = set()
        for step in self.material.steps[: self.step]:
            for pattern in self.material.drills(step):
                if pattern.id not in seen:
                    seen.add(pattern.id)
                    for key in self.material.keys(pattern, self.step):
                        yield pattern, key


def drill_id(pattern: str, key: Key) -> str:
    """The exercise id of a drill in a key: `rising-5-6@Bb`, `rising-5-6@g`."""
    name = str(key.final)
    return f"{pattern}@{name[0].upper() + name[1:] if key.mode == 'major' else name}"
