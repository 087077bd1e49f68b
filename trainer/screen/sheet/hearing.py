"""What can be heard again: a stretch as it was played, as it could be, and the fault alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from trainer.judging.take import Take
from trainer.judging.task import Task, on_the_page
from trainer.judging.verdict import MomentVerdict
from trainer.listening.events import KeyDown, KeyUp
from trainer.listening.manuals import Manual
from trainer.score.exercise import Exercise
from trainer.sound.track import ToneNote, Track
from trainer.theory.fault import Fault
from trainer.theory.voicing import Voicing

_BREATH = 0.03  # seconds between a note and its repetition


def seconds_a_quarter(exercise: Exercise, tempo: float | None) -> float:
    """At a tempo in beats a minute; the exercise's own where there is none."""
    return 60 / (tempo or exercise.tempo) / float(exercise.metre.beat_length)


def keys_track(
    exercise: Exercise,
    keys: Mapping[int, Sequence[int]],
    first: int,
    last: int,
    tempo: float | None,
) -> Track:
    """Chords from moment `first` to `last`, each as long as its moment; what goes on is held."""
    quarter = seconds_a_quarter(exercise, tempo)
    begin = float(exercise.moments[first].onset)
    notes: list[ToneNote] = []
    for index in range(first, last + 1):
        moment = exercise.moments[index]
        start = (float(moment.onset) - begin) * quarter
        length = float(moment.duration) * quarter - _BREATH
        notes += [
            ToneNote(start, max(0.05, length), key) for key in sorted(set(keys.get(index, ())))
        ]
    return Track(tuple(notes))


def voicing_keys(voicings: Mapping[int, Voicing]) -> dict[int, tuple[int, ...]]:
    return {
        index: tuple(pitch.midi for pitch in voicing if pitch is not None)
        for index, voicing in voicings.items()
    }


def sounding_keys(
    exercise: Exercise, verdicts: Mapping[int, MomentVerdict], supply: Sequence[str]
) -> dict[int, tuple[int, ...]]:
    """The keys of each moment as they were played, with the voices the program supplied."""
    found: dict[int, tuple[int, ...]] = {}
    for index, verdict in verdicts.items():
        moment = exercise.moments[index]
        given = {"bass": moment.bass, "melody": moment.melody}
        more = [p.midi for part in supply if (p := given[part]) is not None]
        found[index] = (*verdict.keys, *more)
    return found


def as_played(task: Task, take: Take, first: int, last: int) -> Track | None:
    """The player's own keys and times from moment `first` to `last`, None where they cannot be
    cut out: in a pass without a clock, or one that was broken off and went on."""
    if task.line is None or take.pauses:
        return None
    line = task.line
    begin = take.origin + line.time(first) - 0.15
    end = take.origin + (line.time(last + 1) if last < task.last else line.end) + 0.1
    notes: list[ToneNote] = []
    down: dict[tuple[int, Manual], tuple[float, int]] = {}
    for event in take.events:
        if isinstance(event, KeyDown):
            down[event.key, event.manual] = (event.time, event.velocity)
        elif isinstance(event, KeyUp) and (event.key, event.manual) in down:
            start, velocity = down.pop((event.key, event.manual))
            key = on_the_page(event.key, task.conditions, event.manual)
            notes += _cut(key, start, event.time, velocity, begin, end)
    for (pressed, manual), (start, velocity) in down.items():
        key = on_the_page(pressed, task.conditions, manual)
        notes += _cut(key, start, end, velocity, begin, end)
    for part in task.conditions.supply:
        for index in range(first, last + 1):
            moment = task.exercise.moments[index]
            pitch = moment.bass if part == "bass" else moment.melody
            struck = moment.bass_struck if part == "bass" else moment.melody_struck
            if pitch is not None and (struck or index == first):
                start = take.origin + line.time(index)
                stop = start + _length(task, index, part)
                notes += _cut(pitch.midi, start, stop, 56, begin, end)
    return Track(tuple(sorted(notes, key=lambda note: note.start)))


def _length(task: Task, index: int, part: str) -> float:
    """Seconds from a moment to the next stroke of a given voice."""
    assert task.line is not None
    for later in task.moments[index - task.first + 1 :]:
        if later.bass_struck if part == "bass" else later.melody_struck:
            return task.line.time(later.index) - task.line.time(index) - _BREATH
    return task.line.end - task.line.time(index)


def _cut(
    key: int, start: float, stop: float, velocity: int, begin: float, end: float
) -> list[ToneNote]:
    start, stop = max(start, begin), min(stop, end)
    return [] if stop <= start else [ToneNote(start - begin, stop - start, key, velocity)]


def fault_track(exercise: Exercise, fault: Fault, tempo: float | None) -> Track:
    """Only the voices that are at fault, at the moments of the fault, at a slow walk."""
    voices = max(1, len(fault.voices))
    keys: dict[int, list[int]] = {}
    for number, pitch in enumerate(fault.pitches):
        which = min(number // voices, len(fault.moments) - 1)
        keys.setdefault(which, []).append(pitch.midi)
    slow = 1.2 * max(0.5, seconds_a_quarter(exercise, tempo))
    notes = [
        ToneNote(which * slow, slow - _BREATH, key)
        for which, chord in keys.items()
        for key in sorted(set(chord))
    ]
    return Track(tuple(notes))
