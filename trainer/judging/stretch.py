"""The pieces of a pass in tempo between two breaks.

In tempo a pass may be broken off (a cable pulled, a computer asleep, the player's own wish) and go
on. It goes on with a new count-in from the beginning of the phrase it was broken off in, or, in a
phrase of more than `LONG` bars, from the beginning of the bar before; what had been played from
there on is played anew. A player may also stop and begin again from an earlier bar unasked, and
then the beat follows (`fresh_start.py`). Each piece of a pass between two such breaks is a stretch.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from math import inf

from trainer.errors import InputError
from trainer.judging.take import Pause
from trainer.judging.task import Task

LONG = 4  # bars
EARLY = 0.5  # beats before its first moment from which a chord belongs to a stretch

Pauses = tuple[Pause, ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """From moment `first` on; `origin` is the clock time the first moment of the whole pass would
    have had. What is struck from `opens` to `closes` (clock seconds) belongs to it."""

    first: int
    origin: float
    opens: float
    closes: float


def moment_at(task: Task, seconds: float) -> int:
    """The moment in force so many seconds after the first moment of the pass, in tempo."""
    assert task.line is not None
    return task.first + max(0, bisect_right(task.line.times, seconds) - 1)


def resumption(task: Task, index: int) -> int:
    """The moment from which a pass in tempo goes on that was broken off at moment `index`."""
    moments = task.exercise.moments
    phrase = next(p for p in task.exercise.phrases if p.first <= index <= p.last)
    first = phrase.first
    if moments[phrase.last].bar - moments[first].bar >= LONG:
        bar = moments[index].bar - 1
        first = next(m.index for m in moments[first : index + 1] if m.bar >= bar)
    return max(task.first, first)


def goes_on(task: Task, part: Stretch, broken: float) -> int:
    """The moment from which it goes on after a break at clock time `broken` in a stretch."""
    return max(part.first, resumption(task, max(part.first, moment_at(task, broken - part.origin))))


def stretch(task: Task, first: int, time: float) -> Stretch:
    """The stretch whose moment `first` stands at clock time `time`, not yet broken off."""
    assert task.line is not None
    opens = time - EARLY * task.line.beat_length(first)
    return Stretch(first, time - task.line.time(first), opens, inf)


def stretch_again(task: Task, first: int, time: float, broken: float) -> Stretch:
    """The stretch whose moment `first` stands at clock time `time` for a player who began again
    from there; what was struck from `broken` on belongs to it."""
    return replace(stretch(task, first, time), opens=broken)


def stretches(task: Task, origin: float, pauses: Pauses) -> tuple[Stretch, ...]:
    """A pass in tempo between its breaks; `origin` is the clock time of its first moment."""
    found = [stretch(task, task.first, origin)]
    for broken, begins, *chosen in pauses:
        here = found[-1]
        found[-1] = replace(here, closes=broken)
        if chosen and not task.first <= chosen[0] <= task.last:
            raise InputError(f"nobody begins again at moment {chosen[0]} of {task.exercise.id}")
        if chosen:
            found.append(stretch_again(task, chosen[0], begins, broken))
        else:
            found.append(stretch(task, goes_on(task, here, broken), begins))
    return tuple(found)
