"""What one steps through after a pass: faults, chords out of time, empty places, where one began
again, and what was heard anew, in the order of the music."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import median
from typing import Literal

from trainer.judging.causes import cause_in_words
from trainer.judging.judge import Judge
from trainer.judging.movement_faults import place_in_words
from trainer.judging.timing import Untimely, untimely
from trainer.judging.verdict import CauseKind, MomentVerdict, Onset, PassVerdict
from trainer.score.exercise import Exercise
from trainer.theory.fault import Fault
from trainer.theory.listed import listed
from trainer.theory.moment import Moment

THROUGHOUT = 3  # chords one after another, so far off, that have one cause
ALIKE = 0.25  # beats by which they may differ
PointKind = Untimely | Literal["fault", "skipped", "again", "anew"]
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
    """One thing to look at: the moments it concerns and its sentence. `fault` and its `cause` only
    where the kind is one."""

    kind: PointKind
    moments: tuple[int, ...]
    text: str
    fault: Fault | None = None
    cause: CauseKind | None = None


def points(
    judge: Judge,
    verdict: PassVerdict,
    anew: Sequence[int] = (),
    begun_again: Sequence[int] = (),
    *,
    finished: bool = True,
) -> tuple[Point, ...]:
    """In the order of the music; at one place a new beginning first, then faults. `anew` as in
    `Session`, `begun_again` as in `Take`."""
    found = [
        Point("again", (index,), again_in_words(judge.exercise.moments[index], begun_again))
        for index in dict.fromkeys(begun_again)
    ]
    found += _of_faults(verdict)
    found += _of_time(judge, reached(verdict, finished))
    found.sort(key=lambda point: point.moments[-1 if point.kind == "fault" else 0])
    if anew:
        found.append(Point("anew", tuple(anew), anew_in_words(judge.exercise, anew)))
    return tuple(found)


def _of_faults(verdict: PassVerdict) -> Iterator[Point]:
    """One cause, one point: with what to do about it and what follows from it."""
    for cause in verdict.told:
        fault = verdict.weightiest(cause)
        if cause.kind == "fault":
            yield Point("fault", fault.moments, fault.text, fault, cause.kind)
            continue
        text = cause_in_words(cause, verdict)
        yield Point("fault", (cause.moment,), text, fault, cause.kind)


def reached(verdict: PassVerdict, finished: bool) -> tuple[MomentVerdict, ...]:
    """The moments of a pass; of one that was ended early those up to the last chord played, for
    what was never come to was not left out."""
    if finished:
        return verdict.moments
    played = [moment.index for moment in verdict.moments if moment.outcome != "not-played"]
    return tuple(m for m in verdict.moments if played and m.index <= played[-1])


def again_in_words(moment: Moment, begun_again: Sequence[int]) -> str:
    """That the player began again from there, and how often."""
    times = begun_again.count(moment.index)
    often = "" if times == 1 else ", twice" if times == 2 else f", {times} times"
    return f"{_place(moment)}: begun again from here{often}."


def anew_in_words(exercise: Exercise, anew: Sequence[int]) -> str:
    """Where the whole pass is heard otherwise than was said while it went on."""
    moments = [exercise.moments[index] for index in anew]
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


@dataclass(frozen=True, slots=True)
class _Out:
    """A chord out of time: how, by how many beats, and of hands apart how they lay."""

    moment: Moment
    kind: Untimely
    beats: float
    apart: Onset | None


def _of_time(judge: Judge, moments: Sequence[MomentVerdict]) -> Iterator[Point]:
    """Chords left out; those out of time, one by one, or as one where they are so alike."""
    alike: list[_Out] = []
    for verdict in moments:
        moment = judge.exercise.moments[verdict.index]
        if verdict.outcome == "not-played":
            text = f"{_place(moment)}: this chord was not played."
            yield Point("skipped", (verdict.index,), text)
            continue
        if verdict.late is None:  # nothing was struck there
            continue
        found = untimely(verdict.late, verdict.attack, judge.conditions.tolerance)
        attack = verdict.attack
        apart = None if attack is None else attack.apart
        here = None if found is None else _Out(moment, *found, apart)
        if alike and (here is None or not _goes_on(alike, here)):
            yield from _told(alike)
            alike = []
        if here is not None:
            alike.append(here)
    yield from _told(alike)


def _goes_on(alike: Sequence[_Out], here: _Out) -> bool:
    return (
        here.kind == alike[-1].kind
        and abs(here.beats - median(one.beats for one in alike)) <= ALIKE
    )


def _told(alike: Sequence[_Out]) -> Iterator[Point]:
    """One cause, one point: the player was so far off all the time."""
    if len(alike) >= THROUGHOUT:
        places = f"From {_small(_place(alike[0].moment))} to {_small(_place(alike[-1].moment))}"
        middle = sorted(alike, key=lambda one: one.beats)[len(alike) // 2]
        indices = tuple(one.moment.index for one in alike)
        yield Point(alike[0].kind, indices, f"{places}: {_so_far(middle)} throughout.")
        return
    for one in alike:
        yield Point(one.kind, (one.moment.index,), f"{_place(one.moment)}: {_so_far(one)}.")


def _so_far(out: _Out) -> str:
    if out.kind == "apart" and out.apart is not None:
        return hands_in_words(out.apart)
    return f"{part_of_a_beat(abs(out.beats))} {out.kind}"


def _small(place: str) -> str:
    return place[0].lower() + place[1:]


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
