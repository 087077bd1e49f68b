"""A figured bass under a given melody, found exactly: the cheapest path through all that is legal.

Every melody note may carry any chord of the course step that contains it, over any bass note in
range, for its whole length or for two parts of it. What one chord may follow, how the bass may
move against the melody and how phrases close decides the cost of a path; a seed decides among
the good ones. Fifths, octaves, unprepared suspensions and unresolved sevenths are not on any
path as far as the outer voices show them.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise, product

import numpy as np

from trainer.composing.bass_costs import (
    CLOSEST,
    Choice,
    Part,
    Setting,
    Taste,
    own_cost,
    step_costs,
    tone_of,
)
from trainer.composing.harmonies import Chord, Tone, chords, modes
from trainer.errors import ExerciseError
from trainer.score.exercise import Exercise, Note
from trainer.score.syllabus import UNFIGURED, Vocabulary, absolute, bare, vocabulary
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch
from trainer.theory.realize.lattice import Costs, Lattice, cheapest

LOWEST_BASS, HIGHEST_BASS = 38, 61  # d2 to c sharp 4
_FEATURED = 0.4  # of the melody notes invite what is new at the step
_MOST_CHOICES = 160  # kept at one melody note, the cheapest by themselves


def harmonise(
    melody: tuple[Note, ...],
    key: Key,
    metre: Metre,
    at_step: int,
    *,
    pickup: Fraction = Fraction(0),
    seed: int = 0,
    taste: Taste | None = None,
    ways: int = 1,
) -> tuple[tuple[Choice, ...], ...]:
    """The `ways` cheapest figured basses under the melody, each a choice for every melody note.

    Phrases end at the melody's fermatas and at its end. Raises ExerciseError for a mode without
    chords, a melody with rests, or one under which nothing fits (the message says where).
    """
    if key.mode not in modes():
        raise ExerciseError(
            f"no chords are known for {key.mode}", remedy=f"use one of {', '.join(modes())}"
        )
    setting = Setting(melody, key, metre, pickup, at_step, taste or Taste())
    chance = random.Random(f"{seed} {at_step} {key}")
    places = []
    for index, note in enumerate(melody):
        featured = chance.random() < _FEATURED
        if note.pitch is None:
            raise ExerciseError("the melody has a rest", remedy="harmonise each part by itself")
        priced = sorted(
            (
                (own_cost(c, index, setting, chance, featured), n, c)
                for n, c in enumerate(_choices(index, setting))
            ),
            key=lambda entry: entry[:2],
        )[:_MOST_CHOICES]
        if not priced:
            raise ExerciseError(f"no chord of step {at_step} holds the melody's {note.pitch}")
        places.append([(cost, choice) for cost, _, choice in priced])
    own = tuple(np.array([cost for cost, _ in place], np.int64) for place in places)
    choices = [[choice for _, choice in place] for place in places]

    def step(place: int) -> Costs:
        return step_costs(choices[place], choices[place + 1], place, setting)

    paths = cheapest(Lattice(own, step), ways)
    if not paths:
        raise ExerciseError(f"no bass of step {at_step} fits under this melody")
    return tuple(
        tuple(choices[i][choice] for i, choice in enumerate(path.choices)) for path in paths
    )


def written(
    path: tuple[Choice, ...], key: Key, metre: Metre, pickup: Fraction = Fraction(0)
) -> tuple[tuple[Note, ...], tuple[tuple[Fraction, Figuring], ...]]:
    """Bass notes and figures of a path, as an Exercise holds them.

    A dissonance and its resolution over one bass share one note, tied over a barline. The bass
    has no fermatas; the melody's serve.
    """
    parts = [part for choice in path for part in choice]
    bass: list[Note] = []
    figures: list[tuple[Fraction, Figuring]] = []
    onset = Fraction(0)
    texts = _texts(path)
    splits = {id(choice[1]) for choice in path if len(choice) == 2}
    for index, (part, text) in enumerate(zip(parts, texts, strict=True)):
        before = parts[index - 1] if index else None
        held = (
            before is not None
            and before.bass == part.bass
            and (before.chord.before or id(part) in splits)
        )
        at_bar = (onset - pickup) % metre.bar_length == 0
        if held and not at_bar:
            last = bass.pop()
            bass.append(Note(last.onset, last.duration + part.beats, last.pitch, last.tied))
        else:
            bass.append(Note(onset, part.beats, part.bass, tied=held))
        if text != UNFIGURED:
            figures.append((onset, absolute(text, part.bass, key)))
        onset += part.beats
    return tuple(bass), tuple(figures)


def exercise_of(
    path: tuple[Choice, ...],
    melody: tuple[Note, ...],
    key: Key,
    metre: Metre,
    *,
    pickup: Fraction = Fraction(0),
    id: str,
    title: str,
    tempo: float,
    level: int,
    tags: tuple[str, ...] = (),
    tune: str = "",
) -> Exercise:
    """The exercise a path makes with its melody; fermatas go to both outer voices."""
    bass, figures = written(path, key, metre, pickup)
    ends = {note.end for note in melody if note.fermata}
    return Exercise(
        id=id,
        title=title,
        bass=tuple(Note(n.onset, n.duration, n.pitch, n.tied, fermata=n.end in ends) for n in bass),
        figures=figures,
        keys=((Fraction(0), key),),
        metres=((Fraction(0), metre),),
        tempo=tempo,
        melody=melody,
        pickup=pickup,
        level=level,
        tags=tags,
        tune=tune,
    )


@lru_cache(maxsize=4096)
def _basses(tone: Tone, key: Key) -> tuple[Pitch, ...]:
    name = key.note(tone[0])
    pitches = (Pitch(name.step, name.alter + tone[1], octave) for octave in (1, 2, 3, 4))
    return tuple(p for p in pitches if LOWEST_BASS <= p.midi <= HIGHEST_BASS)


def _choices(index: int, setting: Setting) -> Iterator[Choice]:
    note = setting.melody[index]
    assert note.pitch is not None
    key, taught = setting.key, vocabulary(setting.step)
    tone = tone_of(note.pitch, key)
    fitting = [
        chord
        for chord in chords(key, setting.step)
        if tone in chord.tones and not _wrongly_doubled(chord, tone)
    ]
    ends = note.fermata or index == len(setting.melody) - 1
    for chord in fitting:
        if not (ends and chord.seventh is not None):
            yield from ((Part(chord, bass, note.duration),) for bass in _under(note, chord, key))
    for length in _divisions(note, setting):
        for first, second in product(fitting, repeat=2):
            if _divides(first, second, taught, ends):
                yield from _divided(note, length, first, second, key)


def _under(note: Note, chord: Chord, key: Key) -> tuple[Pitch, ...]:
    """The chord's bass in every octave that leaves room below the note."""
    assert note.pitch is not None
    top = note.pitch.midi - CLOSEST
    return tuple(bass for bass in _basses(chord.bass, key) if bass.midi <= top)


def _divided(
    note: Note, length: Fraction, first: Chord, second: Chord, key: Key
) -> Iterator[Choice]:
    """Two chords under one note, the first `length` quarter notes long, no leap over a fifth."""
    for bass, under in product(_under(note, first, key), _under(note, second, key)):
        moved = bass != under
        if moved and bass.step == under.step:
            continue
        if abs(bass.height - under.height) > 4:
            continue
        if moved and length < 1 and first.name != second.name:
            continue
        yield Part(first, bass, length), Part(second, under, note.duration - length)


def _divisions(note: Note, setting: Setting) -> tuple[Fraction, ...]:
    """How long the first of two parts may be: half, and two thirds in triple time."""
    beat = setting.metre.beat_length
    if note.duration < beat or (note.duration == beat and setting.step < 13):
        return ()
    if note.duration == 3 * beat and setting.metre.beats % 3 == 0:
        return (2 * beat,)
    if (
        note.duration > beat
        and (note.duration / beat).denominator == 1
        and note.duration / beat % 2
    ):
        return (note.duration - beat,)
    return (note.duration / 2,)


def _wrongly_doubled(chord: Chord, tone: Tone) -> bool:
    """Whether the melody doubles a dissonance, a leading tone in the bass, or a resolution.

    Nor may it double the bass of an inverted seventh: two voices cannot sound three notes.
    """
    if chord.before and chord.shape == "suspension" and tone == chord.falls_to:
        return True
    if tone != chord.bass:
        return False
    leading = tone == (7, 0) and chord.name in ("V", "V7", "vii")
    inverted = chord.shape == "seventh" and chord.bass != chord.tones[0]
    return bool(tone[1]) or leading or inverted


def _divides(first: Chord, second: Chord, taught: Vocabulary, ends: bool) -> bool:
    """Whether two chords may share the time of one melody note."""
    if first == second or second.before or (ends and second.seventh is not None):
        return False
    if first.bass == second.bass:
        if first.before:
            resolved = second.name == first.name or (second.name == first.name + "7" and not ends)
            if not resolved or second.shape == "suspension":
                return False
        elif second.name != first.name + "7" and (
            {first.shape, second.shape} != {"triad", "sixth"} or ends
        ):
            return False
        return f"{bare(first.figures)}, {bare(second.figures)}" in taught.successions
    if ends or first.before:
        return False
    # the bass moves under the note: another place of the same chord, or a step to the next
    near = (first.bass[0] - second.bass[0]) % 7 in (1, 2, 5, 6)
    return near and "-, 6" in taught.successions


def _texts(path: tuple[Choice, ...]) -> list[str]:
    """The figurings of all parts; over one bass the second is spelled as answer to the first."""
    parts = [part for choice in path for part in choice]
    seconds = {id(choice[1]) for choice in path if len(choice) == 2}
    texts = [part.chord.figures for part in parts]
    for index, (a, b) in enumerate(pairwise(parts)):
        if a.bass != b.bass or not (a.chord.before or id(b) in seconds):
            continue
        first, second = _answering(texts[index], texts[index + 1])
        texts[index], texts[index + 1] = first, second
    return texts


def _answering(first: str, second: str) -> tuple[str, str]:
    sign = "" if second in (UNFIGURED, "3") else f" {second}"
    fifth = "5" in second
    if bare(second) == UNFIGURED:
        top = first.split()[0]
        if top == "4" or first.startswith("5 4"):
            return first, second if sign else "3"
        if first.startswith("6 4"):
            return first, second if fifth else f"5{sign}" if sign else "5 3"
        if top == "9":
            return first, f"8{sign}"
        if top.endswith("6"):
            return first, second if fifth else f"5{sign}"
    if bare(first) == UNFIGURED:
        own = "" if first == UNFIGURED else f" {first}"
        if bare(second).startswith("7"):
            return f"8{own}", second
        if bare(second).startswith("6"):
            return first if "5" in first else f"5{own}", second
    return first, second
