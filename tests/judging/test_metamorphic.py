"""What must not matter does not: key, a tie instead of a second stroke, the order of keys."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from pathlib import Path

import pytest

from tests.judging.lessons import lesson
from trainer.judging.assessment import single_notes
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.judging.verdict import PassVerdict
from trainer.judging.written_voices import written_soundings
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.score.transpose import transposed
from trainer.theory.key import Key
from trainer.theory.sonority import sonorities

SHIPPED = sorted(exercises_folder().glob("*.krn"))[::20]
MAJOR = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
MINOR = ("c", "c#", "d", "eb", "e", "f", "f#", "g", "g#", "a", "bb", "b")
# these do depend on where the piece lies: what would be kept may lie too low elsewhere
HEIGHT = ("too-low", "too-high", "needless-motion")


def played(exercise: Exercise, seed: int) -> dict[int, tuple[int, ...]]:
    """Chords over the written bass, right or wrong, three to five keys, in no special order."""
    choose = random.Random(seed)
    chords = {}
    for moment, sonority in zip(
        exercise.moments,
        sonorities(exercise.moments, exercise.struck_five_is_diminished),
        strict=True,
    ):
        if not moment.chord or moment.bass is None:
            continue
        top = 84 if moment.melody is None else moment.melody.midi
        belonging = [
            k for k in range(moment.bass.midi + 3, top) if k % 12 in sonority.allowed_pitch_classes
        ]
        keys = {moment.bass.midi, top, *choose.sample(belonging, min(2, len(belonging)))}
        if choose.random() < 0.2:
            keys.add(choose.randrange(moment.bass.midi + 1, top))
        shuffled = list(keys)
        choose.shuffle(shuffled)
        chords[moment.index] = tuple(shuffled)
    return chords


def essence(verdict: PassVerdict) -> object:
    def plain(labels: tuple[str, ...]) -> list[str]:
        return [re.sub("[#bn]", "", label) for label in labels]

    return (
        [
            (m.index, m.outcome, sorted(plain(m.missing)), plain(m.foreign), plain(m.additions))
            for m in verdict.moments
        ],
        [(f.rule, f.weight, f.moments, f.voices) for f in verdict.faults if f.rule not in HEIGHT],
        verdict.harmony,
    )


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: str(path.stem))
def test_the_key_changes_no_verdict(path: Path) -> None:
    exercise = read_exercise(path)
    chords = played(exercise, seed=len(path.stem))
    conditions = Conditions()
    home = essence(Judge(exercise, conditions).judge_chords(chords))
    for name in MINOR if exercise.key.is_minor else MAJOR:
        there = transposed(exercise, Key.parse(name))
        first, second = exercise.moments[0].bass, there.moments[0].bass
        assert first is not None and second is not None
        shift = second.midi - first.midi
        moved = {index: tuple(key + shift for key in keys) for index, keys in chords.items()}
        assert essence(Judge(there, conditions).judge_chords(moved)) == home, name


def test_the_order_of_keys_does_not_matter() -> None:
    exercise = lesson("C", "c3 f3 g3 c3", ",,7,")
    judge = Judge(exercise, Conditions())
    chords = played(exercise, seed=3)
    turned = {index: tuple(sorted(keys, reverse=True)) for index, keys in chords.items()}
    assert essence(judge.judge_chords(chords)) == essence(judge.judge_chords(turned))


def test_held_or_struck_again_is_the_same() -> None:
    """Common tones may be held or struck again; both are right."""
    exercise = lesson("C", "c3 f3 g3 c3", ",,,", "c5 c5 b4 c5")
    alto = lesson("C", "e4 f4 d4 e4", ",,,").bass
    tenor = lesson("C", "g3 a3 g3 g3", ",,,").bass

    def verdict(soprano_tied: bool) -> object:
        melody = tuple(
            replace(n, tied=soprano_tied and i == 1) for i, n in enumerate(exercise.melody)
        )
        piece = replace(exercise, melody=melody)
        judge = Judge(piece, Conditions(hands="2+2"))
        lines = [single_notes(v) for v in (melody, alto, tenor, piece.bass)]
        return essence(judge.judge_realization(written_soundings(judge, lines)))

    assert verdict(True) == verdict(False)
