"""A take as it can be heard again: keys, pedal and the voices the program played."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trainer.errors import TrainerError
from trainer.judging.judge import Judge
from trainer.judging.passes import origins
from trainer.judging.performance import meant, perform
from trainer.judging.stretch import stretches
from trainer.judging.take import Take
from trainer.judging.task import Task, task
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal
from trainer.listening.manuals import Manual
from trainer.practice.accompany import accompany, supplied
from trainer.score.exercise import Exercise
from trainer.sound.track import ToneNote

_SUPPLIED_VELOCITY = 48
_SHORTEST = 0.05  # seconds
_RINGS = 1.0  # seconds a key sounds that was never let go


def heard(
    take: Take, exercise: Exercise, verdict: PassVerdict
) -> tuple[tuple[ToneNote, ...], tuple[float, ...]]:
    """What sounded, from 0 on, and when each moment of the pass did (seconds).

    Pauses are cut out. Of a moment that was not played the time is not a number.
    """
    if not take.events:
        return (), ()
    asked = task(exercise, take.conditions)
    onsets = _onsets(asked, take, verdict)
    notes = [
        *_keys([meant(event, take.conditions) for event in take.events]),
        *_supplied(asked, take, onsets),
    ]
    begin = min(note.start for note in notes) if notes else take.origin
    pauses = sorted(take.pauses)

    def shown(time: float) -> float:
        cut = sum(max(0.0, min(b, time) - max(a, begin)) for a, b, *_ in pauses)
        return max(0.0, time - begin - cut)

    tones = [
        ToneNote(
            shown(note.start),
            max(_SHORTEST, shown(note.start + note.duration) - shown(note.start)),
            note.key,
            note.velocity,
        )
        for note in notes
    ]
    times = tuple(
        shown(onsets[m.index]) if m.index in onsets else float("nan") for m in exercise.moments
    )
    return tuple(sorted(tones, key=lambda note: (note.start, note.key))), times


def _onsets(asked: Task, take: Take, verdict: PassVerdict) -> dict[int, float]:
    """When each moment was struck, clock seconds. In tempo the marks tell; untimed they know no
    clock, and the pass is heard once more."""
    if asked.line is not None:
        begun = origins(asked, take.origin, take.pauses)
        return {
            m.index: begun[m.index] + asked.line.time(m.index) + m.late.ms / 1000
            for m in verdict.moments
            if m.late is not None and m.index in begun
        }
    try:
        complete = Judge(asked.exercise, take.conditions).complete
        played = perform(asked, take.events, take.origin, take.pauses, complete)
    except TrainerError:
        return {}
    return {one.index: one.onset for one in played.heard if one.onset is not None}


def _keys(events: Sequence[KeyEvent]) -> Iterator[ToneNote]:
    """Keys from down to up, or to the pedal's release if that is later."""
    down: dict[tuple[int, Manual], KeyDown] = {}
    kept: dict[tuple[int, Manual], KeyDown] = {}
    pedal = False
    end = events[-1].time + _RINGS

    def note(begun: KeyDown, time: float) -> ToneNote:
        return ToneNote(begun.time, max(_SHORTEST, time - begun.time), begun.key, begun.velocity)

    for event in events:
        match event:
            case KeyDown(time, key, _, manual):
                for sounding in (down.pop((key, manual), None), kept.pop((key, manual), None)):
                    if sounding is not None:
                        yield note(sounding, time)
                down[key, manual] = event
            case KeyUp(time, key, manual) if (key, manual) in down:
                if pedal:
                    kept[key, manual] = down.pop((key, manual))
                else:
                    yield note(down.pop((key, manual)), time)
            case Pedal(time, is_down):
                pedal = is_down
                if not pedal:
                    yield from (note(one, time) for one in kept.values())
                    kept.clear()
            case _:
                pass
    yield from (note(one, end) for one in (*down.values(), *kept.values()))


def _supplied(asked: Task, take: Take, onsets: dict[int, float]) -> Iterator[ToneNote]:
    if not take.conditions.supply:
        return
    if asked.line is None:
        struck = sorted(onsets.items())
        ends = [*(at for _, at in struck[1:]), take.events[-1].time + _RINGS]
        for (index, at), end in zip(struck, ends, strict=True):
            for key in supplied(asked, index):
                yield ToneNote(at, max(_SHORTEST, end - at), key, _SUPPLIED_VELOCITY)
        return
    for part in stretches(asked, take.origin, take.pauses):
        first = part.origin + asked.line.time(part.first)
        (laid,) = accompany(asked, part.first, first)
        end = min(part.closes, take.events[-1].time + _RINGS)
        for note in laid.notes:
            start = laid.at + note.start
            if start < end:
                length = min(note.duration, max(_SHORTEST, end - start))
                yield ToneNote(start, length, note.key, _SUPPLIED_VELOCITY)
