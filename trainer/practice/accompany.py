"""What the program plays by itself: count-in, tactus, supplied voices, laid out in seconds."""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction

from trainer.judging.task import Task
from trainer.judging.timing import count_in
from trainer.practice.effects import Accompany, SuppliedNote, TactusBeat
from trainer.score.exercise import Note
from trainer.theory.pitch import Pitch

LEAD = 0.25  # seconds between the player's sign and the first beat: the output needs some of it
BREATH = 0.04  # seconds a note ends before the next, so that a repeated one is heard


def lead(task: Task, first: int) -> float:
    """Seconds from the sign to begin until moment `first` sounds: `LEAD` and the count-in; none
    untimed."""
    if task.line is None:
        return 0.0
    beats = count_in(task.exercise.moments[first], task.line.beat_length(first))
    return LEAD - beats[0].time


def accompany(task: Task, first: int, at: float) -> tuple[Accompany, ...]:
    """From moment `first`, which stands at clock time `at`, to the end of the pass; nothing
    untimed."""
    line = task.line
    if line is None:
        return ()
    counted = count_in(task.exercise.moments[first], line.beat_length(first))
    zero = counted[0].time  # negative: where the count-in begins, seconds from the moment
    into = line.time(first)
    beats = [TactusBeat(beat.time - zero, beat.first) for beat in counted]
    beats += [
        TactusBeat(beat.time - into - zero, beat.first) for beat in line.beats if beat.time >= into
    ]
    notes = [
        SuppliedNote(begins - into - zero, ends - begins, pitch.midi)
        for part in task.conditions.supply
        for pitch, begins, ends in _sounded(task, part)
        if begins >= into
    ]
    notes.sort(key=lambda note: (note.start, note.key))
    return (Accompany(tuple(notes), tuple(beats), at + zero),)


def accompany_from(task: Task, first: int, at: float, now: float) -> tuple[Accompany, ...]:
    """The same without a count-in, and without what would have begun before clock time `now`: the
    player has begun again from there, and the program follows."""
    return tuple(
        Accompany(
            tuple(note for note in whole.notes if whole.at + note.start >= now),
            tuple(beat for beat in whole.beats if whole.at + beat.start >= max(at, now)),
            whole.at,
        )
        for whole in accompany(task, first, at)
    )


def supplied(task: Task, index: int) -> tuple[int, ...]:
    """The keys the program sounds at moment `index`, ascending."""
    moment = task.exercise.moments[index]
    given = {"bass": moment.bass, "melody": moment.melody}
    pitches = (given[part] for part in task.conditions.supply)
    return tuple(sorted({pitch.midi for pitch in pitches if pitch is not None}))


def seconds(task: Task, onset: Fraction) -> float:
    """Seconds from the first moment of the pass to a score time within it."""
    line = task.line
    assert line is not None
    index = max(0, bisect_right([moment.onset for moment in task.moments], onset) - 1)
    moment = task.moments[index]
    quarter = line.beat_lengths[index] / float(moment.metre.beat_length)
    return line.times[index] + float(onset - moment.onset) * quarter


def _sounded(task: Task, part: str) -> list[tuple[Pitch, float, float]]:
    """The notes of a supplied voice within the pass, ties joined: pitch, begin, end in seconds."""
    voice: tuple[Note, ...] = getattr(task.exercise, part)
    begins, ends = task.moments[0].onset, task.moments[-1].onset + task.moments[-1].duration
    joined: list[tuple[Pitch, Fraction, Fraction]] = []
    for note in voice:
        if note.pitch is None or note.end <= begins or note.onset >= ends:
            continue
        if note.tied and joined and joined[-1][2] == note.onset:
            joined[-1] = (*joined[-1][:2], min(note.end, ends))
        else:
            joined.append((note.pitch, max(note.onset, begins), min(note.end, ends)))
    return [
        (pitch, seconds(task, on), max(seconds(task, on) + 0.05, seconds(task, off) - BREATH))
        for pitch, on, off in joined
    ]
