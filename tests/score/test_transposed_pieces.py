"""Transposition of whole pieces, shipped ones and random ones: every key, and back again."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.score.strategies import KEYS, exercises
from trainer.errors import ExerciseError, PitchError
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.score.transpose import COMPASS, easier, moved, transposed
from trainer.theory.key import Key
from trainer.theory.pitch import Interval
from trainer.theory.sonority import sonorities

SHIPPED = [read_exercise(path) for path in sorted(exercises_folder().glob("*.krn"))]


@settings(max_examples=150, deadline=None)
@given(exercises(), st.sampled_from(KEYS))
def test_the_way_there_and_back_changes_nothing(exercise: Exercise, key: Key) -> None:
    letters = key.final.step - exercise.key.final.step
    semitones = key.final.pitch_class - exercise.key.final.pitch_class
    semitones += 12 * round((letters * 12 / 7 - semitones) / 12)
    try:
        there = moved(exercise, Interval(letters, semitones))
    except PitchError:
        assume(False)
    assert moved(there, Interval(-letters, -semitones)) == exercise


@pytest.mark.parametrize("exercise", SHIPPED, ids=[exercise.id for exercise in SHIPPED])
def test_shipped_pieces_go_to_every_key_and_come_back(exercise: Exercise) -> None:
    mode = exercise.key.mode
    for key in KEYS:
        if key.mode == mode:
            try:
                there = transposed(exercise, key)
            except PitchError:
                continue  # a modulation passes seven accidentals there
            assert there.key.final == key.final
            back = transposed(there, exercise.key)
            octaves = {
                b.pitch.height - a.pitch.height
                for a, b in zip(exercise.bass, back.bass, strict=True)
                if a.pitch is not None and b.pitch is not None
            }
            assert len(octaves) == 1 and octaves <= {-7, 0, 7}
            octave = octaves.pop() // 7
            assert moved(back, Interval(-7 * octave, -12 * octave)) == exercise


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(SHIPPED), st.sampled_from(KEYS))
def test_sonorities_keep_their_intervals(exercise: Exercise, key: Key) -> None:
    assume(key.mode == exercise.key.mode)
    try:
        there = transposed(exercise, key)
    except PitchError:
        assume(False)
    for here, moved_to in zip(sonorities(exercise.moments), sonorities(there.moments), strict=True):
        if here.bass is None or moved_to.bass is None:
            continue
        low, new = here.bass.midi, moved_to.bass.midi
        assert [(m.number, (m.name.pitch_class - low) % 12) for m in here.members] == [
            (m.number, (m.name.pitch_class - new) % 12) for m in moved_to.members
        ]


def test_easier_is_the_nearest_key_with_fewer_accidentals() -> None:
    flat = transposed(next(e for e in SHIPPED if e.id == "evening-bells"), "Db")
    nearer = easier(flat)
    assert abs(nearer.key.signature) < 5
    moves = abs(nearer.bass[0].pitch.midi - flat.bass[0].pitch.midi)  # type: ignore[union-attr]
    assert moves == 1  # C major or D major, a semitone away


def test_easier_keeps_every_voice_in_its_compass() -> None:
    for exercise in SHIPPED:
        try:
            easy = easier(exercise)
        except ExerciseError:
            continue
        low, high = COMPASS["bass"]
        assert all(n.pitch is None or low <= n.pitch.midi <= high for n in easy.bass)
        assert abs(easy.key.signature) < abs(exercise.key.signature)


def test_nothing_is_easier_than_no_accidentals() -> None:
    with pytest.raises(ExerciseError, match="no easier key than C major"):
        easier(next(e for e in SHIPPED if e.id == "evening-bells"))


@pytest.mark.parametrize(
    ("to", "says"),
    [
        ("g minor", "the mode stays: say G"),
        ("G#", "would need a signature of 8 accidentals; ask for ab"),
        ("h", "not a note name"),
        ("", "not a note name"),
    ],
)
def test_a_key_that_cannot_be_is_refused(to: str, says: str) -> None:
    with pytest.raises(PitchError, match=says):
        transposed(SHIPPED[0], to)


def test_the_melody_keeps_its_intervals() -> None:
    exercise = next(e for e in SHIPPED if e.id == "evening-rain")
    there = transposed(exercise, "f#")

    def steps(one: Exercise) -> list[Interval]:
        pitches = [n.pitch for n in one.melody if n.pitch is not None]
        return [Interval.between(a, b) for a, b in pairwise(pitches)]

    assert steps(there) == steps(exercise)
