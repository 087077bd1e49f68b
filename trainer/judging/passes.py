"""A whole pass judged: who played what when, then harmony, movement and time, then the causes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from trainer.judging.attack import Struck, begun, struck
from trainer.judging.causes import explained
from trainer.judging.heard import Heard
from trainer.judging.judge import Judge
from trainer.judging.performance import Performed, perform
from trainer.judging.stretch import Pauses, stretches
from trainer.judging.take import Take
from trainer.judging.task import Task, task
from trainer.judging.timing import timing
from trainer.judging.verdict import Attack, MomentVerdict, Onset, PassVerdict
from trainer.judging.ways_out import with_ways_out
from trainer.score.kern import parse_exercise


def judge(take: Take) -> PassVerdict:
    """Judge a take from its raw events alone; the same function that judges it when it ends.

    Raises ExerciseError for an exercise text that cannot be read, InputError for conditions that
    cannot be met.
    """
    exercise = parse_exercise(take.exercise, file=take.exercise_id)
    asked = task(exercise, take.conditions)
    judging = Judge(exercise, take.conditions)
    played = perform(asked, take.events, take.origin, take.pauses, judging.complete)
    return mended(judging, judged(asked, judging, played, take.origin, take.pauses))


def mended(
    judging: Judge, verdict: PassVerdict, enough: Callable[[], bool] = lambda: False
) -> PassVerdict:
    """A verdict with what would have been right at each fault; where `enough` says so before all
    are done, the rest stay as they are."""
    return with_ways_out(judging.exercise, judging.conditions, verdict, judging.given, enough)


def judged(
    asked: Task, judging: Judge, played: Performed, origin: float, pauses: Pauses
) -> PassVerdict:
    """The verdict on what was heard in a pass, without seeking ways out: quick, for where nobody
    may wait. `origin` and `pauses` as in `Take`."""
    verdict = judging.judge_chords(
        {h.index: h.keys for h in played.heard},
        {h.index: h.pedalled for h in played.heard},
        {h.index: h.overheld for h in played.heard},
    )
    begun = origins(asked, origin, pauses)
    by_index = {h.index: (h, t) for h, t in zip(played.heard, played.think_s, strict=True)}
    moments = tuple(
        in_time(asked, m, by_index[m.index][0], begun.get(m.index), by_index[m.index][1])
        for m in verdict.moments
    )
    figure = None if asked.line is None else timing(moments, asked.conditions.tolerance)
    heard = replace(verdict, moments=moments, timing=figure, extra=played.extra)
    return explained(judging, heard)


def heard_anew(live: Iterable[MomentVerdict], verdict: PassVerdict) -> tuple[int, ...]:
    """The moments at which the whole pass has other voices than was said while it went on: divided
    anew, or (seldom) a chord counted where another place was followed. Nowhere else does the end
    change what was settled; that marks of one cause become one says nothing else of a chord."""
    said = {moment.index: (moment.keys, moment.voicing) for moment in live}
    come_to = max(said, default=-1)  # what was not over when the pass was ended was not settled
    silence: tuple[tuple[int, ...], None] = ((), None)
    return tuple(
        moment.index
        for moment in verdict.moments
        if moment.index <= come_to
        and said.get(moment.index, silence) != (moment.keys, moment.voicing)
    )


def in_time(
    asked: Task,
    verdict: MomentVerdict,
    sounds: Heard,
    origin: float | None,
    think_s: float | None = None,
) -> MomentVerdict:
    """A moment's verdict with its onset error, spread and time to think filled in.

    `origin` is the clock time of the first moment of the pass, None untimed.
    """
    spread = None if sounds.spread is None else round(1000 * sounds.spread, 3)
    hands = struck(asked.at(verdict.index), asked.conditions.hands, dict(sounds.attack))
    verdict = replace(verdict, spread_ms=spread)
    if asked.line is None or origin is None:
        attack = None if hands is None else _attack(hands, min(t for _, t in sounds.attack), None)
        think = None if think_s is None else round(think_s, 6)
        return replace(verdict, think_s=think, attack=attack)
    if hands is None:
        return verdict
    due, beat = origin + asked.line.time(verdict.index), asked.line.beat_length(verdict.index)
    late = _onset(_stands_for(hands, dict(sounds.attack), due), due, beat)
    attack = _attack(hands, due, beat)
    return replace(verdict, late_ms=late.ms, late_beats=late.beats, attack=attack)


def _stands_for(hands: Struck, times: Mapping[int, float], due: float) -> float:
    """Clock seconds at which a chord was struck: of hands that come apart, of which one is with the
    beat and the other leans, the nearer one tells."""
    leaning = hands.manner in ("hands apart", "spread")
    each = [time for time in (hands.left, hands.right) if time is not None and leaning]
    first = begun(times.values())
    assert first is not None
    return min(each, key=lambda time: abs(time - due), default=first)


def _attack(hands: Struck, due: float, beat: float | None) -> Attack:
    """What the hands did, against the clock time `due`; `beat` is how long a beat lasts there."""
    times = (hands.bass, hands.melody, hands.left, hands.right)
    return Attack(hands.manner, *(None if t is None else _onset(t, due, beat) for t in times))


def _onset(time: float, due: float, beat: float | None) -> Onset:
    late = time - due
    return Onset(round(1000 * late, 3), None if beat is None else round(late / beat, 6))


def origins(asked: Task, origin: float, pauses: Pauses) -> Mapping[int, float]:
    """For each moment of a pass in tempo, the origin of the stretch it was last played in."""
    if asked.line is None:
        return {}
    found: dict[int, float] = {}
    for part in stretches(asked, origin, pauses):
        found |= dict.fromkeys(range(part.first, asked.last + 1), part.origin)
    return found
