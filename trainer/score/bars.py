"""Where the bars of an exercise begin, and notes cut and tied at them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from trainer.score.exercise import Exercise, Note


def bars(exercise: Exercise) -> dict[Fraction, int]:
    """Score time in quarter notes -> number of each numbered bar; a pick-up is not among them."""
    at, number = exercise.pickup, 1
    found = {}
    changes = [change for change, _ in exercise.metres[1:]]
    while at < exercise.length:
        found[at] = number
        end = at + exercise.metre_at(at).bar_length
        within = [change for change in changes if at < change < end]
        at, number = (min(within) if within else end), number + 1
    return found


def barred(exercise: Exercise) -> Exercise:
    """The exercise with every note held over a barline written as two tied ones."""
    lines = sorted(bars(exercise))
    return replace(
        exercise,
        bass=_cut(exercise.bass, lines),
        tenor=_cut(exercise.tenor, lines),
        alto=_cut(exercise.alto, lines),
        melody=_cut(exercise.melody, lines),
    )


def _cut(voice: tuple[Note, ...], lines: list[Fraction]) -> tuple[Note, ...]:
    parts: list[Note] = []
    for note in voice:
        inside = [line for line in lines if note.onset < line < note.end]
        if not inside:
            parts.append(note)
            continue
        for start, end in zip([note.onset, *inside], [*inside, note.end], strict=True):
            tied = note.tied if start == note.onset else note.pitch is not None
            fermata = note.fermata and end == note.end
            parts.append(Note(start, end - start, note.pitch, tied, fermata))
    return tuple(parts)
