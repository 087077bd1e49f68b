"""Exercises nobody would write, in any key, with every kind of moment in them."""

from __future__ import annotations

import random
from fractions import Fraction

from trainer.errors import TrainerError
from trainer.score.exercise import Exercise, Note
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch, pitch_on
from trainer.theory.realize import Solver
from trainer.theory.sonority import sonority
from trainer.theory.table import TABLE

KEYS = [*"CGDAEBFaebdgcf", "F#", "Db", "Ab", "Eb", "Bb", "f#", "c#", "g#", "bb", "eb"]
PLAIN = ["", "6", "6 4", "7", "6 5", "4 3", "4 2", "4", "9", "7 5", "#", "b7"]
STACKS = sorted({stack.strip() for row in TABLE for stack in row.written.split("|")})
DEGREES = [1, 1, 2, 3, 4, 4, 5, 5, 6, 7]


def exercise_at_random(seed: int, chords: int = 8, melody: bool | None = None) -> Exercise:
    """A bass by small steps with figurings from the whole table, extenders, tasto solo, unisons,
    rests, fermatas, held bass notes; with a melody where `melody`, or as the seed has it."""
    rng = random.Random(seed)
    key = Key.parse(rng.choice(KEYS))
    bass: list[Note] = []
    figures: list[tuple[Fraction, Figuring]] = []
    at, low = Fraction(0), rng.randint(40, 52)
    for number in range(chords):
        length = rng.choice([Fraction(1), Fraction(1), Fraction(2)])
        pitch: Pitch | None = None
        if rng.random() < 0.95 or number in (0, chords - 1):
            name = key.note(rng.choice(DEGREES))
            if rng.random() < 0.1:
                name = key.leading_tone
            pitch = min(
                (pitch_on(name, k) for k in range(36, 60) if k % 12 == name.pitch_class),
                key=lambda p: abs(p.midi - low),
            )
            low = pitch.midi + rng.randint(-4, 4)
            low = min(max(low, 38), 57)
        bass.append(Note(at, length, pitch, fermata=rng.random() < 0.1))
        if pitch is not None:
            count = rng.choice([1, 1, 1, 2])
            for part in range(count):
                extends = bool(number) and bass[-2].pitch is not None
                text = _figuring(rng, extends, part)
                try:
                    figuring = Figuring.parse(text)
                    if text != "_":
                        sonority(pitch, figuring, key)
                except TrainerError:
                    figuring = Figuring.parse("6")
                figures.append((at + length * part / count, figuring))
        at += length
    written = tuple((when, what) for when, what in figures if what != Figuring())
    plain = _exercise(seed, key, bass, written, ())
    if melody is None:
        melody = rng.random() < 0.6
    return _exercise(seed, key, bass, written, _melody(rng, plain)) if melody else plain


def _figuring(rng: random.Random, extends: bool, part: int) -> str:
    if extends and rng.random() < 0.06:
        return rng.choice(["_", "t.s.", "unis."] if not part else ["_"])
    if rng.random() < 0.1:
        return rng.choice(["6/", "b5", "#6", "b3", "n3", "4+", "#"])
    return rng.choice(PLAIN if rng.random() < 0.6 else STACKS)


def _exercise(seed, key, bass, figures, melody) -> Exercise:
    return Exercise(
        f"random-{seed}",
        "At random",
        tuple(bass),
        figures,
        ((Fraction(0), key),),
        ((Fraction(0), Metre(4, 4)),),
        60.0,
        tuple(melody),
    )


def _melody(rng: random.Random, exercise: Exercise) -> list[Note]:
    """A top voice of what may sound at each moment, with notes between, rests and repeats."""
    solver = Solver(exercise.moments)
    notes: list[Note] = []
    for index, moment in enumerate(exercise.moments):
        choices = [v.soprano for v in solver.voicings(index) if v.soprano is not None]
        pitch = rng.choice(choices) if choices and rng.random() < 0.95 else None
        if rng.random() < 0.3 and moment.duration >= 1:
            half = moment.duration / 2
            passing = None
            if pitch is not None:
                step = (pitch.step + rng.choice([1, 6])) % 7
                name = exercise.key.note(exercise.key.degree(step))
                passing = min(
                    (pitch_on(name, k) for k in range(48, 90) if k % 12 == name.pitch_class),
                    key=lambda p: abs(p.midi - pitch.midi),
                )
            notes.append(Note(moment.onset, half, pitch))
            notes.append(Note(moment.onset + half, half, passing))
        else:
            notes.append(Note(moment.onset, moment.duration, pitch))
    return notes
