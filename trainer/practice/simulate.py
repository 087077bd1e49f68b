"""A player made of numbers, to see over many days what plans and ladders do to a person.

How often each figuring goes wrong and how long it takes to think of is set from outside and never
improves: whatever the plan turns to, it turns to because of what was played.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from random import Random

from trainer.composing.generate import generate
from trainer.practice.item import figuring_item
from trainer.practice.material import Material
from trainer.practice.memory import end_of_day
from trainer.practice.past import continued, past_of
from trainer.practice.pieces import MADE
from trainer.practice.plan import Plan, Task, next_task, time_spent
from trainer.practice.planning import todays_plan
from trainer.practice.question import askable, asked_item, question
from trainer.practice.result import Answer, PassResult, asked_by, base, is_question, met_item
from trainer.score.exercise import Exercise
from trainer.score.patterns import expand_id
from trainer.score.syllabus import UNFIGURED
from trainer.theory.hands import Hands

_READY = 3.0  # seconds between two passes


@dataclass(frozen=True, slots=True)
class SimulatedPlayer:
    """`wrong` is the share of wrong answers and `think_s` the seconds of thought, by figuring as
    items name it; what is not listed has the usual values."""

    usual_wrong: float = 0.03
    usual_think_s: float = 0.8
    wrong: Mapping[str, float] = field(default_factory=dict)
    think_s: Mapping[str, float] = field(default_factory=dict)

    def answers(
        self, exercise: Exercise, tempo: float | None, chance: Random
    ) -> tuple[Answer, ...]:
        """One pass through the chords: thought longer than the time a chord has makes it late,
        longer than half as much again makes it wrong."""
        answers: list[Answer] = []
        asked = asked_by(exercise.id)
        for moment in exercise.moments:
            plain = figuring_item(moment, None) if moment.chord else None
            if plain is None or moment.bass is None:
                continue
            right = chance.random() >= self.wrong.get(plain.name, self.usual_wrong)
            seconds = self.think_s.get(plain.name, self.usual_think_s)
            thought = seconds * chance.lognormvariate(0.0, 0.15)
            there = float("inf")
            if tempo is not None:
                there = 60 * float(moment.duration / moment.metre.beat_length) / tempo
            right = right and thought < 1.5 * there
            above = chance.choice((12, 16, 19) if plain.name == UNFIGURED else (12, 15, 21))
            bass = moment.bass.midi
            item = met_item(plain, asked, bass, bass + above if right else None)
            if tempo is None:
                answers.append(Answer(item, right, thought))
            else:
                answers.append(Answer(item, right, None, thought <= there))
        return tuple(answers)

    def plays(
        self,
        exercise: Exercise,
        tempo: float | None,
        at: datetime,
        chance: Random,
        hands: Hands = "1+3",
    ) -> PassResult:
        """A pass, judged."""
        answers = self.answers(exercise, tempo, chance)
        right = sum(answer.right for answer in answers)
        wrong = len(answers) - right
        if tempo is None:
            seconds = sum((answer.think_s or 0.0) + 1.0 for answer in answers)
        else:
            seconds = 60 * float(exercise.length / exercise.metre.beat_length) / tempo
        timely = sum(bool(answer.timely) for answer in answers)
        share = right / len(answers) if answers else 1.0
        return PassResult(
            exercise_id=exercise.id,
            key=str(exercise.key),
            hands=hands,
            tempo=tempo,
            at=at,
            seconds=seconds,
            finished=True,
            whole=True,
            harmony=share,
            time=None if tempo is None else timely / len(answers),
            movement=share,
            judged=len(answers),
            wrong=wrong,
            gross=wrong // 2,
            answers=answers,
        )


@dataclass(frozen=True, slots=True)
class Day:
    """One simulated day: its plan and the passes played."""

    plan: Plan
    passes: tuple[PassResult, ...]
    due: int  # questions of the plan whose time had come
    met: int  # of which were answered that day
    waiting: int  # all figurings due by its evening

    @property
    def minutes(self) -> float:
        return time_spent(self.passes) / 60


def exercise_of(
    task: Task,
    material: Material,
    pieces: Mapping[str, Exercise],
    transpose: Callable[[Exercise, str], Exercise],
) -> Exercise:
    """What a task asks to be played."""
    if is_question(task.exercise_id):
        return question(asked_item(task.exercise_id), material)
    if base(task.exercise_id) == MADE:
        step, _, seed = task.exercise_id.partition("@")[2].partition(":")
        return generate(int(step), seed=int(seed) % 12)  # a dozen will do
    if "@" in task.exercise_id:
        return expand_id(dict(material.patterns), task.exercise_id)
    piece = pieces[task.exercise_id]
    return transpose(piece, task.key) if task.key else piece


def simulate(
    player: SimulatedPlayer,
    days: int,
    minutes: float,
    material: Material,
    get: Callable[[Task], Exercise],
    *,
    start: datetime,
    begin_at: int = 1,
    seed: int = 1,
) -> tuple[Day, ...]:
    """A plan a day, played to its end."""
    chance = Random(seed)
    told: list[Day] = []
    can_ask = askable(material)
    past = past_of((), material, start, begin_at)
    for number in range(days):
        now = start + timedelta(days=number)
        plan = todays_plan(now, minutes, material, past, player="simulated")
        passes: list[PassResult] = []
        clock = now
        while (following := next_task(plan, passes)) is not None:
            exercise = replace(get(following.task), id=following.task.exercise_id)
            passes.append(player.plays(exercise, following.tempo, clock, chance))
            clock += timedelta(seconds=passes[-1].seconds + _READY)
        due = {task.item for part in plan.parts for task in part.tasks if task.item is not None}
        known = {item for item in due if item in past.memory.known}
        met = {answer.item for result in passes for answer in result.answers}
        waiting = [
            one.item
            for one in past.memory.due(end_of_day(now))
            if one.item.kind == "figuring" and can_ask(one.item)
        ]
        told.append(Day(plan, tuple(passes), len(known), len(known & met), len(waiting)))
        past = continued(past, tuple(passes), material, begin_at)
    return tuple(told)


def practised(days: Sequence[Day]) -> Mapping[str, int]:
    """How often each figuring was met, over all days."""
    counts: dict[str, int] = {}
    for day in days:
        for result in day.passes:
            for answer in result.answers:
                counts[answer.item.name] = counts.get(answer.item.name, 0) + 1
    return counts
