"""Any piece in any key: notes moved by an interval, the figures' accidentals spelled anew.

An accidental in a figure is absolute, so a sharp in one key may be a natural in another; a
stroke raises whatever the signature has and stays a stroke.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from trainer.errors import ExerciseError, PitchError
from trainer.score import commentary
from trainer.score.exercise import Exercise, Note
from trainer.theory.figures import Figure, Figuring, Sign
from trainer.theory.key import Key
from trainer.theory.pitch import Interval, Pitch, PitchName
from trainer.theory.pitch import transposed as moved_pitch

# lowest and highest MIDI note of each voice that a choice of octave or key tries to keep to
COMPASS = {"bass": (36, 64), "tenor": (45, 69), "alto": (50, 77), "melody": (57, 81)}
_SIGNS = {
    0: Sign.NATURAL,
    1: Sign.SHARP,
    -1: Sign.FLAT,
    2: Sign.DOUBLE_SHARP,
    -2: Sign.DOUBLE_FLAT,
}
_FINALS = tuple(PitchName(step, alter) for alter in (0, -1, 1) for step in range(7))


def transposed(exercise: Exercise, key: Key | str) -> Exercise:
    """The exercise with its final on the final of `key`; the mode stays.

    It moves by the smaller interval, or by the larger one the other way where only that keeps
    the voices in their compass. As text a key may be a bare final, `G` or `bb`, or name the
    mode, `g minor`. Raises PitchError for a key that does not exist, that has another mode than
    the exercise, or in which some note or figure has no spelling.
    """
    final = _final(exercise.key, key)
    near, far = _intervals(exercise.key.final, final)
    first = moved(exercise, near)
    if not near.semitones or _excess(first) == 0:
        return first
    second = moved(exercise, far)
    return second if _excess(second) == 0 else first


def easier(exercise: Exercise) -> Exercise:
    """The exercise in the nearest key with fewer accidentals that keeps the voices' compass.

    Raises ExerciseError where no key is easier.
    """
    for candidate in easier_keys(exercise):
        return candidate
    raise ExerciseError(
        f"{exercise.id} has no easier key than {exercise.key}", file=exercise.source or None
    )


def easier_keys(exercise: Exercise) -> Iterator[Exercise]:
    """Transpositions with fewer accidentals in which the voices leave their compass by no more
    semitones together than they did, the nearest first."""
    signature = exercise.key.signature
    candidates = []
    for final in _FINALS:
        new = signature + final.fifths - exercise.key.final.fifths
        if abs(new) < abs(signature):
            candidates += [
                (abs(interval.semitones), abs(new), interval.semitones, interval)
                for interval in _intervals(exercise.key.final, final)
            ]
    candidates.sort(key=lambda item: item[:3])
    strain = _excess(exercise)
    for *_, interval in candidates:
        try:
            new_exercise = moved(exercise, interval)
        except PitchError:
            continue
        if _excess(new_exercise) <= strain:
            yield new_exercise


def moved(exercise: Exercise, interval: Interval) -> Exercise:
    """Every note, key and accidental moved by an interval; the inverse interval undoes it.

    Raises PitchError where a signature would pass seven accidentals, a figure would need a
    triple one, or a note leave the keyboard.
    """
    return replace(
        exercise,
        keys=tuple((at, _moved_key(key, interval)) for at, key in exercise.keys),
        figures=tuple(
            (at, _moved_figuring(figuring, _bass_at(exercise, at), interval))
            for at, figuring in exercise.figures
        ),
        bass=_moved_voice(exercise.bass, interval),
        tenor=_moved_voice(exercise.tenor, interval),
        alto=_moved_voice(exercise.alto, interval),
        melody=_moved_voice(exercise.melody, interval),
        commentary=tuple(commentary.moved(text, interval) for text in exercise.commentary),
    )


def _final(old: Key, wanted: Key | str) -> PitchName:
    if isinstance(wanted, str):
        name, _, mode = wanted.strip().partition(" ")
        final = PitchName.parse(name)
        if not mode.strip():
            return final
        wanted = Key.parse(wanted)
    same = old.mode == wanted.mode or {old.mode, wanted.mode} == {"minor", "aeolian"}
    if not same:
        raise PitchError(
            f"a piece in {old.mode} cannot go to {wanted}",
            remedy=f"the mode stays: say {str(wanted.final).capitalize()}",
        )
    return wanted.final


def _intervals(old: PitchName, new: PitchName) -> tuple[Interval, Interval]:
    """From final to final by the nearer way and by the other; the way back is the inverse."""
    letters = new.step - old.step
    semitones = Pitch(new.step, new.alter, 4).midi - Pitch(old.step, old.alter, 4).midi
    up, down = Interval(letters, semitones), Interval(letters - 7, semitones - 12)
    if semitones < 0:
        up, down = Interval(letters + 7, semitones + 12), Interval(letters, semitones)
    # at the tritone neither is nearer: towards the sharps is up
    nearer_up = up.semitones < 6 or (up.semitones == 6 and new.fifths > old.fifths)
    return (up, down) if nearer_up else (down, up)


def _moved_key(key: Key, interval: Interval) -> Key:
    final = moved_pitch(Pitch(key.final.step, key.final.alter, 4), interval).name
    signature = key.signature + final.fifths - key.final.fifths
    if not -7 <= signature <= 7:
        there = (str(name) for name in _FINALS if abs(name.fifths - final.fifths) == 12)
        raise PitchError(
            f"{final} {key.mode} would need a signature of {abs(signature)} accidentals",
            remedy=next((f"ask for {name}" for name in there), ""),
        )
    return Key(final, key.mode, signature)


def _moved_voice(voice: tuple[Note, ...], interval: Interval) -> tuple[Note, ...]:
    return tuple(
        note if note.pitch is None else replace(note, pitch=_moved_note(note.pitch, interval))
        for note in voice
    )


def _moved_note(pitch: Pitch, interval: Interval) -> Pitch:
    there = moved_pitch(pitch, interval)
    if not 0 <= there.midi <= 127 or abs(there.alter) > 3:
        raise PitchError(f"{pitch} has no place on the keyboard in that key")
    return there


def _bass_at(exercise: Exercise, onset: Fraction) -> Pitch | None:
    """The bass a figure at `onset` counts from: the one sounding, else the last, else the next."""
    sounding = [note for note in exercise.bass if note.pitch is not None]
    before = [note for note in sounding if note.onset <= onset]
    if before:
        return before[-1].pitch
    return sounding[0].pitch if sounding else None


def _moved_figuring(figuring: Figuring, bass: Pitch | None, interval: Interval) -> Figuring:
    if bass is None:
        return figuring
    return replace(
        figuring, figures=tuple(_moved_figure(f, bass, interval) for f in figuring.figures)
    )


def _moved_figure(figure: Figure, bass: Pitch, interval: Interval) -> Figure:
    if figure.sign is None or figure.sign.alter is None:
        return figure
    meant = Pitch((bass.step + figure.letters) % 7, figure.sign.alter, 4)
    alter = moved_pitch(meant, interval).alter
    if alter not in _SIGNS:
        raise PitchError(f"the figure {figure} over {bass} has no spelling in that key")
    return replace(figure, sign=_SIGNS[alter])


def _excess(exercise: Exercise) -> int:
    """Semitones by which the voices leave their compass, summed over the four."""
    total = 0
    for name, (low, high) in COMPASS.items():
        keys = [note.pitch.midi for note in getattr(exercise, name) if note.pitch is not None]
        if keys:
            total += max(0, low - min(keys)) + max(0, max(keys) - high)
    return total
