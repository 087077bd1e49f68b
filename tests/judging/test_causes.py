"""The cause named first is what happened; what follows from it hangs below."""

from __future__ import annotations

from collections import Counter
from functools import cache
from random import Random
from typing import get_args

import pytest

from tests.journal.samples import STARTED
from trainer.judging.causes import Cause, causes
from trainer.judging.judge import Judge
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Take
from trainer.judging.task import task
from trainer.judging.why import LESSONS, Why
from trainer.listening.events import KeyDown
from trainer.practice.demo import PERFECT, perform, realization
from trainer.practice.mishaps import MISHAPS, somewhere
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.score.library import Library
from trainer.theory.voicing import Voicing

PASSES = 360
# three steps of the scale, and a piece from each of several keys: passes are many, pieces few
PIECES = (
    *("bellows", "blue-hour", "candle-ends", "cold-stove", "dundee", "all-souls-lane"),
    *("ach-gott-und-herr", "alle-menschen", "aus-tiefer-not", "christ-lag", "erhalt-uns"),
    *("evening-frost", "ferry-bell", "herzlich-tut", "in-dulci-jubilo", "innsbruck-2"),
    *("gott-des-himmels", "jesu-meine-freude-2", "liebster-jesu", "lamp-on-the-stairs-2"),
)


@cache
def piece(id: str) -> tuple[Exercise, tuple[Voicing, ...]]:
    exercise = Library().find(id)
    return exercise, realization(exercise, Conditions())


def keys_of(voicings: tuple[Voicing, ...]) -> dict[int, tuple[int, ...]]:
    return {n: tuple(p.midi for p in one if p is not None) for n, one in enumerate(voicings)}


def test_the_first_cause_named_is_the_true_one() -> None:
    """At a chord of a piece that is otherwise right, one thing happens."""
    tried: Counter[str] = Counter()
    wrong: list[tuple[str, ...]] = []
    for number in range(PASSES):
        exercise, voicings = piece(PIECES[number % len(PIECES)])
        judging, asked = Judge(exercise, Conditions()), task(exercise, Conditions())
        kind = MISHAPS[number % len(MISHAPS)]
        found = somewhere(asked, voicings, kind, Random(number), judging.complete)
        if found is None:
            continue
        index, come_out = found
        keys = tuple(pitch.midi for pitch in come_out if pitch is not None)
        verdict = judging.judge_chords(keys_of(voicings) | {index: keys})
        named = [one for one in causes(judging, verdict) if one.moment == index]
        tried[kind] += 1
        if not named or named[0].kind != kind:
            wrong.append((kind, exercise.id, str(index), str(named[:1])))
    assert sum(tried.values()) >= 300 and min(tried.values()) >= 15, tried
    assert len(wrong) <= 0.05 * sum(tried.values()), wrong


def test_a_figure_that_changes_over_the_same_keys_is_missed_by_lying_still() -> None:
    """The suspension that stays where it was."""
    exercise, voicings = piece("four-three-cadence")
    conditions = Conditions(tempo=60.0)
    asked = task(exercise, conditions)
    events = perform(exercise, conditions, voicings, 0.0, manner=PERFECT, slips=[])
    assert asked.line is not None
    at = 5
    due = asked.line.time(at)
    beat = asked.line.beat_length(at)
    near = [e.time for e in events if isinstance(e, KeyDown) and abs(e.time - due) < beat / 2]
    gone = [e for e in events if abs(e.time - near[0]) < beat / 3]
    held = tuple(e for e in events if e not in gone)
    take = Take(exercise.id, write_exercise(exercise), conditions, held, 0.0, STARTED)
    found = causes(Judge(exercise, conditions), judge(take))
    assert [(one.kind, one.moment) for one in found if one.kind != "fault"] == [("held-on", at)]


def test_every_fault_belongs_to_one_cause() -> None:
    chance = Random(5)
    exercise, voicings = piece("bellows")
    judge = Judge(exercise, Conditions())
    for _ in range(60):
        chords = keys_of(voicings)
        for index in chance.sample(sorted(chords), 3):
            chords[index] = tuple(
                sorted({k + chance.choice([-2, -1, 0, 1]) for k in chords[index]})
            )
        verdict = judge.judge_chords(chords)
        shared = [n for one in causes(judge, verdict) for n in (*one.explains, *one.follow)]
        assert sorted(shared) == list(range(len(verdict.faults)))


def cause_of(id: str, chords: dict[int, tuple[int, ...]], at: int) -> Cause:
    exercise, voicings = piece(id)
    judge = Judge(exercise, Conditions())
    verdict = judge.judge_chords(keys_of(voicings) | chords)
    return next(one for one in causes(judge, verdict) if one.moment == at)


@pytest.mark.parametrize(
    ("id", "at", "keys", "kind", "text", "remedy"),
    [
        # the table of causes, one example each (common practice, no source)
        (
            "bellows",
            6,
            (50,),
            "bass-alone",
            "Bar 2, beat 3: only the bass was played.",
            "Over d stand f sharp and a.",
        ),
        (
            "cold-stove",
            14,
            (52, 67, 71, 76),
            "accidental-forgotten",
            "Bar 5, beat 1: g sharp is asked, not g.",
            "Read the accidental in the figures.",
        ),
        (
            "dundee",
            6,
            (41, 58, 65, 69),
            "finger-beside",
            "Bar 2, beat 2: one finger a semitone above its key, b flat for a.",
            "",
        ),
        (
            "candle-ends",
            6,
            (50, 69, 74, 77),
            "figure-not-read",
            "Bar 3, beat 1: a plain triad, where 6 stands.",
            "Over d stand f and b flat.",
        ),
        (
            "bellows",
            16,
            (40, 64, 67, 71),
            "bass-misread",
            "Bar 5, beat 3: the bass was read a third too low: e for g, and the chord is right over"
            " it.",
            "",
        ),
        (
            "bellows",
            6,
            (50, 64, 67, 71),
            "hand-shifted",
            "Bar 2, beat 3: the right hand lay a step too high.",
            "",
        ),
    ],
)
def test_each_cause_has_its_sentence(
    id: str, at: int, keys: tuple[int, ...], kind: str, text: str, remedy: str
) -> None:
    found = cause_of(id, {at: keys}, at)
    assert (found.kind, found.text, found.remedy) == (kind, text, remedy)


def test_every_cause_has_its_lesson() -> None:
    assert set(LESSONS) == set(get_args(Why))
    assert len({lesson.title for lesson in LESSONS.values()}) == len(LESSONS)
