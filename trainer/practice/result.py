"""A pass as practice looks back on it: how it was played, how well, and what was known in it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from statistics import median

from trainer.errors import ExerciseError
from trainer.judging.evidence import missed, whys
from trainer.judging.take import Conditions, Pause, Take, played_through
from trainer.judging.timing import timely
from trainer.judging.verdict import Attack, Onset, PassVerdict, Why
from trainer.practice.item import Item, figuring_item, positioned, under_top
from trainer.score.exercise import Exercise
from trainer.theory.hands import Hands


@dataclass(frozen=True, slots=True)
class Answer:
    """One figuring as it was met in a pass; a chord that went wrong for another reason than its
    figuring gives none (`trainer.judging.evidence`).

    `think_s` is the time from the question to the right chord, None in tempo; `timely` whether it
    came within the tolerance, None when untimed.
    """

    item: Item
    right: bool
    think_s: float | None = None
    timely: bool | None = None


@dataclass(frozen=True, slots=True)
class PassResult:
    """What the log knows of one pass, without a note of it.

    `at` is when it began, with zone; `seconds` how long the player played; `tempo` beats a
    minute, None untimed. `whole` is false where only some moments were asked, a stretch was
    taken slower, or the player began again on the way. `harmony`, `time` and `movement` are
    shares 0 to 1 (`time` None when untimed);
    `judged` of `moments` chords were reached and `wrong` of them were not right; `gross` counts
    gross faults of movement.
    """

    exercise_id: str
    key: str
    hands: Hands
    tempo: float | None
    at: datetime
    seconds: float
    finished: bool
    whole: bool
    harmony: float
    time: float | None
    movement: float
    judged: int
    wrong: int
    gross: int
    answers: tuple[Answer, ...] = ()

    @property
    def think_s(self) -> float | None:
        """Median think time a chord in seconds; None in tempo."""
        times = [answer.think_s for answer in self.answers if answer.think_s is not None]
        return median(times) if times else None


QUESTION = "question"  # exercise ids of single figurings begin with it


def base(exercise_id: str) -> str:
    """The id of the pattern or piece, without key and position."""
    return exercise_id.partition("@")[0]


def is_question(exercise_id: str) -> bool:
    """Whether an exercise asks for a single figuring."""
    return base(exercise_id) == QUESTION


@dataclass(frozen=True, slots=True)
class Asked:
    """What an exercise asks at each of its moments, once for all passes over it.

    `items` has None where no chord is judged or nothing is to be known; where the top is free
    their position is 0. `basses` are MIDI numbers, 0 where there is no bass.
    """

    key: str
    chords: tuple[bool, ...]
    items: tuple[Item | None, ...]
    basses: tuple[int, ...]


def asked_of(exercise: Exercise) -> Asked:
    """What the moments of an exercise ask."""
    moments = exercise.moments
    return Asked(
        key=str(exercise.key),
        chords=tuple(moment.chord for moment in moments),
        items=tuple(figuring_item(moment, None) if moment.chord else None for moment in moments),
        basses=tuple(0 if moment.bass is None else moment.bass.midi for moment in moments),
    )


@dataclass(frozen=True, slots=True)
class Said:
    """What was said of one moment: as `MomentVerdict`, without the notes. `top` is the highest
    key that was down."""

    index: int
    outcome: str
    top: int | None
    late: Onset | None
    attack: Attack | None
    think_s: float | None


@dataclass(frozen=True, slots=True)
class Figures:
    """What was said of a pass: shares, the count of gross faults, the moments in which a gross
    fault ends that follows from nothing else, and the causes of wrong chords by their moments."""

    harmony: float
    time: float | None
    movement: float
    gross: int
    spoiled: frozenset[int]
    causes: Mapping[int, Why]


def result_of(
    take: Take, verdict: PassVerdict, exercise: Exercise, *, finished: bool, seconds: float
) -> PassResult:
    """A judged take as a result; `exercise` is the one `take.exercise` holds as text.

    Of a pass broken off only the chords up to the last one played are counted.
    """
    following = verdict.following
    figures = Figures(
        harmony=verdict.harmony.share,
        time=None if verdict.timing is None else verdict.timing.share,
        movement=verdict.movement.share,
        gross=verdict.movement.gross,
        spoiled=frozenset(
            fault.moments[-1]
            for number, fault in enumerate(verdict.faults)
            if fault.weight == "gross" and number not in following
        ),
        causes=whys(verdict.causes),
    )
    said = [
        Said(one.index, one.outcome, max(one.keys, default=None), one.late, one.attack, one.think_s)
        for one in verdict.moments
    ]
    return summed_up(
        take.exercise_id,
        take.conditions,
        take.pauses,
        take.started,
        asked_of(exercise),
        figures,
        said,
        finished=finished,
        seconds=seconds,
    )


def summed_up(
    exercise_id: str,
    conditions: Conditions,
    pauses: Sequence[Pause],
    at: datetime,
    asked: Asked,
    figures: Figures,
    said: Sequence[Said],
    *,
    finished: bool,
    seconds: float,
) -> PassResult:
    """A pass from what was said of it, moment by moment in order."""
    chords = [one for one in said if asked.chords[one.index]]
    if not finished:
        while chords and chords[-1].outcome == "not-played":
            chords.pop()
    return PassResult(
        exercise_id=exercise_id,
        key=asked.key,
        hands=conditions.hands,
        tempo=conditions.tempo,
        at=at,
        seconds=seconds,
        finished=finished,
        whole=played_through(conditions, pauses),
        harmony=figures.harmony,
        time=figures.time,
        movement=figures.movement,
        judged=len(chords),
        wrong=sum(one.outcome != "complete" for one in chords),
        gross=figures.gross,
        answers=tuple(_answers(exercise_id, asked, figures, chords, conditions.tolerance)),
    )


def _answers(
    exercise_id: str, asked: Asked, figures: Figures, chords: Sequence[Said], tolerance: float
) -> Iterator[Answer]:
    wanted = asked_by(exercise_id)
    for one in chords:
        item = asked.items[one.index]
        if item is None:
            continue
        complete = one.outcome == "complete"
        why = figures.causes.get(one.index)
        if not complete and not missed(why, in_tempo=figures.time is not None):
            continue
        top = one.top if complete else None  # a wrong chord's top says nothing of the position
        met = met_item(item, wanted, asked.basses[one.index], top)
        in_time = None
        if figures.time is not None:
            in_time = timely(one.late, one.attack, tolerance)
        yield Answer(met, complete and one.index not in figures.spoiled, one.think_s, in_time)


@lru_cache(maxsize=4096)
def asked_by(exercise_id: str) -> Item | None:
    """What a question asks; None for any other exercise, and for an id that says nothing."""
    if not is_question(exercise_id):
        return None
    try:
        return Item.parse(exercise_id.partition("@")[2])
    except ExerciseError:
        return None


def met_item(item: Item, wanted: Item | None, bass: int, top: int | None) -> Item:
    """What was met at a chord that asks for `item`: in a question, at its figuring, what the
    question asks; elsewhere the item in the position that the top key makes over the bass."""
    if wanted is not None and positioned(item, wanted.position) == wanted:
        return wanted
    return item if item.position or top is None else under_top(item, bass, top)


def believable(results: Iterable[PassResult], now: datetime) -> tuple[tuple[PassResult, ...], int]:
    """Results by time, and how many a wrong clock has dated more than a day after `now`.

    Those are left out until their day comes: nothing waits for them, and none is lost. What lies
    less than a day ahead (a clock set back, a log from another machine) counts as played now.
    """
    ordered = sorted(results, key=lambda result: result.at)
    kept = [result for result in ordered if result.at <= now + timedelta(days=1)]
    told = tuple(replace(one, at=now) if one.at > now else one for one in kept)
    return told, len(ordered) - len(kept)
