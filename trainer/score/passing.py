"""Passing and neighbouring notes taken out of bass and melody, on request only."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from trainer.score.exercise import Exercise, Note


def without_passing_notes(exercise: Exercise) -> tuple[Exercise, int]:
    """The exercise without them, and how many there were.

    Such a note begins off the beat, is shorter than a beat, is reached and left by step, and
    carries no figure; its time goes to the note before it. Common practice, no source.
    """
    figures = {onset for onset, _ in exercise.figures}
    bass, low = _plain(exercise, exercise.bass, figures)
    melody, high = _plain(exercise, exercise.melody, figures)
    return replace(exercise, bass=bass, melody=melody), low + high


def _plain(
    exercise: Exercise, voice: tuple[Note, ...], figures: set[Fraction]
) -> tuple[tuple[Note, ...], int]:
    kept: list[Note] = []
    for index, note in enumerate(voice):
        around = voice[index - 1 : index + 2] if index else ()
        if len(around) == 3 and note.onset not in figures and _passes(exercise, *around):
            kept[-1] = replace(kept[-1], duration=kept[-1].duration + note.duration)
        else:
            kept.append(note)
    return tuple(kept), len(voice) - len(kept)


def _passes(exercise: Exercise, before: Note, note: Note, after: Note) -> bool:
    if note.tied or after.tied or note.fermata or before.fermata:
        return False
    if before.pitch is None or note.pitch is None or after.pitch is None:
        return False
    beat = exercise.place(note.onset)[1]
    off_beat = Fraction(beat).denominator > 1
    short = note.duration < exercise.metre_at(note.onset).beat_length
    in_step = abs(note.pitch.height - before.pitch.height) == 1
    out_step = abs(after.pitch.height - note.pitch.height) == 1
    return off_beat and short and in_step and out_step
