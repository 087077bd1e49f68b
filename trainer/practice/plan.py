"""Today's plan: from memory, ladders, the course step and the minutes there are.

A plan is a pure function of the day and of what was played before it, so that it is the same
plan however often it is asked for. How far it has got is read from what has been played since:
nothing else need be kept for it to survive a power cut.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from trainer.practice.item import Item
from trainer.practice.ladder import Ladder, Rung, fold
from trainer.practice.result import PassResult
from trainer.theory.hands import Hands

PartKind = Literal["warm-up", "due", "weak", "step", "ladder", "sight"]


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to play until it is done.

    A question is played untimed until it was right. What has a `ladder` is played at the ladder's
    rung until the top is secure. Anything else is played at `tempo`. None of them is played more
    than `most` times. `key` is where a piece is to be transposed to, else empty.
    """

    exercise_id: str
    key: str = ""
    tempo: float | None = None
    most: int = 2
    ladder: Ladder | None = None
    item: Item | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of the plan: why it is in it, how many minutes it is given, what is played."""

    kind: PartKind
    title: str
    reason: str
    minutes: float
    tasks: tuple[Task, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """What to practise on a day, in order. `step` is the course step it stands on."""

    day: date
    minutes: float
    step: int
    hands: Hands
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Next:
    """What to play now, at `tempo`; `ladder` is where the task's ladder stands by now."""

    part: Part
    task: Task
    tempo: float | None
    ladder: Ladder | None = None

    @property
    def rung(self) -> Rung | None:
        return None if self.ladder is None else self.ladder.rung


def matches(task: Task, result: PassResult) -> bool:
    """Whether a pass was one at this task."""
    if task.exercise_id != result.exercise_id or not (result.finished or result.seconds):
        return False
    key = task.key or (task.ladder.key if task.ladder else "")
    if key and key != result.key:
        return False
    return (task.item is not None) == (result.tempo is None)


def next_task(plan: Plan, since: Sequence[PassResult], skipped: Iterable[str] = ()) -> Next | None:
    """The first thing not yet done, given the passes since the plan was made, in order.

    Minutes that a part did not need go to those after it. `skipped` are kinds of parts the player
    has passed over. None when the plan is done, or its minutes are.
    """
    left_out, spent, until = set(skipped), time_spent(since), 0.0
    for part in plan.parts:
        until += 60 * part.minutes
        if part.kind not in left_out and spent < until:
            found = _first_undone(part, since)
            if found is not None:
                return found
    return None


def _first_undone(part: Part, since: Sequence[PassResult]) -> Next | None:
    """What is untouched first; what is on a ladder by turns, two passes each; what was wrong
    once more at the end."""
    turns: list[tuple[int, int, Next]] = []
    for place, task in enumerate(part.tasks):
        passes = [result for result in since if matches(task, result)]
        done, ladder = _progress(task, passes)
        if not done:
            following = Next(part, task, ladder.tempo if ladder else task.tempo, ladder)
            turn = len(passes) // 2 if task.item is None else len(passes)
            turns.append((turn, place, following))
    return min(turns, key=lambda entry: entry[:2])[2] if turns else None


def _progress(task: Task, passes: Sequence[PassResult]) -> tuple[bool, Ladder | None]:
    """Whether a task is done, and where its ladder stands."""
    if len(passes) >= task.most:
        return True, None
    if task.item is not None:
        return bool(passes) and _answered(task.item, passes[-1]), None
    if task.ladder is None:
        return False, None
    ladder = fold(task.ladder, passes)
    return ladder.done and len(passes) >= 2, ladder


def _answered(item: Item, result: PassResult) -> bool:
    ours = [answer for answer in result.answers if answer.item == item]
    return bool(ours) and all(answer.right for answer in ours)


def shortened(plan: Plan, minutes: float) -> Plan:
    """The same plan in less time: every part shorter, in the same proportion."""
    scale = min(1.0, minutes / plan.minutes)
    parts = tuple(replace(part, minutes=part.minutes * scale) for part in plan.parts)
    return replace(plan, minutes=min(minutes, plan.minutes), parts=parts)


# ── the player's time ────────────────────────────────────────────────────────────────────────

_TURN = 60.0  # seconds between two passes that still count as practice: looking, thinking


def time_spent(results: Sequence[PassResult]) -> float:
    """Seconds of practice: the passes, and the moments between them up to a minute each."""
    spent, before = 0.0, None
    for result in results:
        if before is not None:
            gap = (result.at - before).total_seconds()
            spent += gap if 0 < gap <= _TURN else 0.0
        spent += result.seconds
        before = result.at + timedelta(seconds=result.seconds)
    return spent
