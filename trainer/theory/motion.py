"""The bare arithmetic of movement, on numbers that may be single notes or whole arrays of them.

A note is a pair (MIDI number, height in letters above c0). Every predicate uses only operators
that integers and NumPy integer arrays share, so a judge asks about one succession and a solver
about all of them with the very same words. `before` and `after` are two successive soundings.
"""

from __future__ import annotations

from typing import Any

from trainer.theory.pitch import Pitch

Note = tuple[Any, Any]  # (midi, height), each an int or an integer array

LOWEST_UPPER = 48  # small c: upper voices below it sound thick
HIGHEST_FREE = 77  # f'': a free top voice stays below or on it
OCTAVE = 12


def note(pitch: Pitch) -> Note:
    return pitch.midi, pitch.height


def is_octave(lower: Note, upper: Note) -> Any:
    """A unison or any number of octaves, so spelled."""
    return ((upper[0] - lower[0]) % 12 == 0) & ((upper[1] - lower[1]) % 7 == 0)


def is_fifth(lower: Note, upper: Note) -> Any:
    """A perfect fifth or twelfth; a diminished sixth is none."""
    return ((upper[0] - lower[0]) % 12 == 7) & ((upper[1] - lower[1]) % 7 == 4)


def is_diminished_fifth(lower: Note, upper: Note) -> Any:
    return ((upper[0] - lower[0]) % 12 == 6) & ((upper[1] - lower[1]) % 7 == 4)


def similar(lower: Note, upper: Note, lower_after: Note, upper_after: Note) -> Any:
    """Both move, in the same direction; a repeated note is not motion."""
    return (lower_after[0] - lower[0]) * (upper_after[0] - upper[0]) > 0


def contrary(lower: Note, upper: Note, lower_after: Note, upper_after: Note) -> Any:
    return (lower_after[0] - lower[0]) * (upper_after[0] - upper[0]) < 0


def consecutive_octaves(a: Note, b: Note, a_after: Note, b_after: Note) -> Any:
    """`a` below `b`; unisons count."""
    return is_octave(a, b) & is_octave(a_after, b_after) & similar(a, b, a_after, b_after)


def consecutive_fifths(a: Note, b: Note, a_after: Note, b_after: Note) -> Any:
    return is_fifth(a, b) & is_fifth(a_after, b_after) & similar(a, b, a_after, b_after)


def by_contrary_motion(a: Note, b: Note, a_after: Note, b_after: Note) -> Any:
    same = (is_octave(a, b) & is_octave(a_after, b_after)) | (
        is_fifth(a, b) & is_fifth(a_after, b_after)
    )
    return same & contrary(a, b, a_after, b_after)


def unequal_fifths(bass: Note, upper: Note, bass_after: Note, upper_after: Note) -> Any:
    """Diminished to perfect with the bass; perfect to diminished is free."""
    return (
        is_diminished_fifth(bass, upper)
        & is_fifth(bass_after, upper_after)
        & similar(bass, upper, bass_after, upper_after)
    )


def _hidden(bass: Note, top: Note, bass_after: Note, top_after: Note) -> Any:
    return similar(bass, top, bass_after, top_after) & (abs(top_after[1] - top[1]) > 1)


def hidden_octave(bass: Note, top: Note, bass_after: Note, top_after: Note) -> Any:
    """The outer voices reach an octave by similar motion while the top leaps."""
    return (
        is_octave(bass_after, top_after)
        & _hidden(bass, top, bass_after, top_after)
        & (is_octave(bass, top) ^ True)
    )


def hidden_fifth(bass: Note, top: Note, bass_after: Note, top_after: Note) -> Any:
    return (
        is_fifth(bass_after, top_after)
        & _hidden(bass, top, bass_after, top_after)
        & (is_fifth(bass, top) ^ True)
    )


def crossing(lower: Note, upper: Note) -> Any:
    return lower[0] > upper[0]


def overlap(lower: Note, upper: Note, lower_after: Note, upper_after: Note) -> Any:
    """Of two neighbours one passes where the other just was (and they have not crossed)."""
    return ((lower_after[0] > upper[0]) | (upper_after[0] < lower[0])) & (
        lower_after[0] <= upper_after[0]
    )


def augmented_step(a: Note, after: Note) -> Any:
    """An augmented second or fourth in one voice, up or down."""
    letters, semitones = abs(after[1] - a[1]), abs(after[0] - a[0])
    return ((letters == 1) & (semitones == 3)) | ((letters == 3) & (semitones == 6))


def middle_leap(a: Note, after: Note) -> Any:
    """More than a fifth."""
    return abs(after[1] - a[1]) > 4


def wide(lower: Note, upper: Note) -> Any:
    """More than an octave apart."""
    return upper[0] - lower[0] > OCTAVE


def too_low(upper: Note) -> Any:
    return upper[0] < LOWEST_UPPER


def dense_low(bass: Note, tenor: Note) -> Any:
    """A third or less with both notes below small c."""
    return (tenor[0] < LOWEST_UPPER) & (tenor[0] - bass[0] <= 4) & (tenor[0] != bass[0])


def too_high(top: Note) -> Any:
    return top[0] > HIGHEST_FREE
