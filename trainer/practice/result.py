"""A pass as practice looks back on it: how it was played, how well, and what was known in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from statistics import median

from trainer.errors import ExerciseError
from trainer.judging.take import Hands, Take
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.practice.item import Item, figuring_item
from trainer.score.exercise import Exercise
from trainer.theory.moment import Moment


@dataclass(frozen=True, slots=True)
class Answer:
    """One figuring as it was met in a pass.

    `think_s` is the time from the question to the first key, None in tempo; `timely` whether it
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
    minute, None untimed. `whole` is false where only some moments were asked or a stretch was
    taken slower. `harmony`, `time` and `movement` are shares 0 to 1 (`time` None when untimed);
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


def result_of(
    take: Take, verdict: PassVerdict, exercise: Exercise, *, finished: bool, seconds: float
) -> PassResult:
    """A judged take as a result; `exercise` is the one `take.exercise` holds as text.

    Of a pass broken off only the chords up to the last one played are counted.
    """
    conditions = take.conditions
    chords = [said for said in verdict.moments if exercise.moments[said.index].chord]
    if not finished:
        while chords and chords[-1].outcome == "not-played":
            chords.pop()
    return PassResult(
        exercise_id=take.exercise_id,
        key=str(exercise.key),
        hands=conditions.hands,
        tempo=conditions.tempo,
        at=take.started,
        seconds=seconds,
        finished=finished,
        whole=conditions.first is None and conditions.last is None and not conditions.slower,
        harmony=verdict.harmony.share,
        time=None if verdict.timing is None else verdict.timing.share,
        movement=verdict.movement.share,
        judged=len(chords),
        wrong=sum(said.outcome != "complete" for said in chords),
        gross=verdict.movement.gross,
        answers=_answers(exercise, chords, verdict, take),
    )


def _answers(
    exercise: Exercise,
    chords: Sequence[MomentVerdict],
    verdict: PassVerdict,
    take: Take,
) -> tuple[Answer, ...]:
    asked, tolerance = asked_by(take.exercise_id), take.conditions.tolerance
    spoiled = {fault.moments[-1] for fault in verdict.faults if fault.weight == "gross"}
    answers: list[Answer] = []
    for said in chords:
        complete = said.outcome == "complete"
        top = max(said.keys, default=None) if complete else None
        item = met_item(exercise.moments[said.index], top, asked)
        if item is None:
            continue
        timely = None
        if verdict.timing is not None:
            timely = said.late_beats is not None and abs(said.late_beats) <= tolerance
        right = complete and said.index not in spoiled
        answers.append(Answer(item, right, said.think_s, timely))
    return tuple(answers)


def asked_by(exercise_id: str) -> Item | None:
    """What a question asks; None for any other exercise, and for an id that says nothing."""
    if not is_question(exercise_id):
        return None
    try:
        return Item.parse(exercise_id.partition("@")[2])
    except ExerciseError:
        return None


def met_item(moment: Moment, top: int | None, asked: Item | None) -> Item | None:
    """What a chord moment asks: in a question, at its figuring, what the question asks."""
    item = figuring_item(moment, top)
    if item is not None and asked is not None and replace(item, position=asked.position) == asked:
        return asked
    return item


def believable(results: Iterable[PassResult], now: datetime) -> tuple[tuple[PassResult, ...], int]:
    """Results by time, and how many a wrong clock has dated more than a day after `now`.

    Those are left out until their day comes: nothing waits for them, and none is lost. What lies
    less than a day ahead (a clock set back, a log from another machine) counts as played now.
    """
    ordered = sorted(results, key=lambda result: result.at)
    kept = [result for result in ordered if result.at <= now + timedelta(days=1)]
    told = tuple(replace(one, at=now) if one.at > now else one for one in kept)
    return told, len(ordered) - len(kept)
