"""What one steps through after a pass: every fault, every chord out of time, every empty place, and
what was heard anew, in the order of the music."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from trainer.judging.movement_faults import place_in_words
from trainer.judging.task import Task
from trainer.judging.timing import Untimely, untimely
from trainer.judging.verdict import MomentVerdict, Onset, PassVerdict
from trainer.theory.fault import Fault
from trainer.theory.listed import listed
from trainer.theory.moment import Moment

PointKind = Untimely | Literal["fault", "skipped", "anew"]
_PARTS = (
    (0.1, "a tenth of a beat"),
    (0.125, "an eighth of a beat"),
    (1 / 6, "a sixth of a beat"),
    (0.2, "a fifth of a beat"),
    (0.25, "a quarter of a beat"),
    (1 / 3, "a third of a beat"),
    (0.5, "half a beat"),
    (2 / 3, "two thirds of a beat"),
    (0.75, "three quarters of a beat"),
    (1.0, "a beat"),
    (1.5, "a beat and a half"),
    (2.0, "two beats"),
)


@dataclass(frozen=True, slots=True)
class Point:
    """One thing to look at: the moments it concerns and its sentence. `fault` only where the kind
    is one."""

    kind: PointKind
    moments: tuple[int, ...]
    text: str
    fault: Fault | None = None


def points(
    asked: Task, verdict: PassVerdict, anew: Sequence[int] = (), *, finished: bool = True
) -> tuple[Point, ...]:
    """In the order of the music; at one place faults first. `anew` as in `Session`."""
    found = [Point("fault", fault.moments, fault.text, fault) for fault in verdict.faults]
    for moment in reached(verdict, finished):
        found += _of_time(asked, moment)
    found.sort(key=lambda point: point.moments[-1])
    if anew:
        found.append(Point("anew", tuple(anew), anew_in_words(asked, anew)))
    return tuple(found)


def reached(verdict: PassVerdict, finished: bool) -> tuple[MomentVerdict, ...]:
    """The moments of a pass; of one that was ended early those up to the last chord played, for
    what was never come to was not left out."""
    if finished:
        return verdict.moments
    played = [moment.index for moment in verdict.moments if moment.outcome != "not-played"]
    return tuple(m for m in verdict.moments if played and m.index <= played[-1])


def anew_in_words(asked: Task, anew: Sequence[int]) -> str:
    """Where the whole pass is heard otherwise than was said while it went on."""
    moments = [asked.exercise.moments[index] for index in anew]
    places = "; ".join(
        f"{f'bar {bar}' if bar else 'pick-up'}, {'beat' if len(beats) == 1 else 'beats'} "
        f"{listed(beats)}"
        for bar, group in groupby(moments, key=lambda moment: moment.bar)
        for beats in [[f"{float(moment.beat):g}" for moment in group]]
    )
    is_read = "is read" if len(anew) == 1 else "are read"
    return (
        f"Heard as a whole, {places} {is_read} otherwise than while you played; "
        "the marks are those of the whole."
    )


def _of_time(asked: Task, verdict: MomentVerdict) -> list[Point]:
    moment = asked.exercise.moments[verdict.index]
    if verdict.outcome == "not-played":
        return [Point("skipped", (verdict.index,), f"{_place(moment)}: this chord was not played.")]
    out = untimely(verdict.late, verdict.attack, asked.conditions.tolerance)
    if out is None:
        return []
    kind, beats = out
    words = f"{part_of_a_beat(abs(beats))} {kind}"
    if kind == "apart" and verdict.attack is not None and verdict.attack.apart is not None:
        words = hands_in_words(verdict.attack.apart)
    return [Point(kind, (verdict.index,), f"{_place(moment)}: {words}.")]


def hands_in_words(apart: Onset) -> str:
    """`the right hand half a beat after the left`; in tempo."""
    side = "after" if apart.ms > 0 else "before"
    return f"the right hand {part_of_a_beat(abs(apart.beats or 0.0))} {side} the left"


def part_of_a_beat(beats: float) -> str:
    """`a quarter of a beat`: the nearest of the parts one counts in; in tenths beyond two."""
    if beats > 2.25:
        return f"{beats:.1f} beats"
    return min(_PARTS, key=lambda part: abs(part[0] - beats))[1]


def _place(moment: Moment) -> str:
    return place_in_words(moment.bar, moment.beat)
