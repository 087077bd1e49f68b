"""Nothing lies on anything: marks, numbers and what was played keep clear of print and each other.

At full length, over every piece: `python -m tests.faults.crowding`.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import pytest

from tests.engraving.crowding import overlaps
from tests.engraving.marks_demo import fault, verdict_of
from tests.engraving.page_readback import as_played
from tests.engraving.pieces import hymn
from trainer.engraving.boxes import box_of
from trainer.engraving.ink import Sign, Stroke
from trainer.engraving.marks import collapsed, drawn_marks, marks, played, times_and_marks
from trainer.engraving.middle_voices import BLACK
from trainer.engraving.page import Page, engrave
from trainer.judging.causes import explained
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.judging.verdict import PassVerdict
from trainer.practice.demo import realization
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.theory.realize.solver import Solver

PIECES = sorted(exercises_folder().glob("*.krn"))
MIDDLES = ["b4 g4", "g4 d4", "a4 d4", "b4 e4", "g4 e4", "g4 d4", "f#4 a3", "g4 c4", "f#4 a3"]


@pytest.mark.parametrize("path", PIECES[4::14], ids=lambda path: path.stem)
def test_no_mark_lies_on_anything(path: object) -> None:
    exercise = read_exercise(path)  # type: ignore[arg-type]
    solver = Solver(exercise.moments, struck_five_is_diminished=exercise.struck_five_is_diminished)
    voicings = solver.best(1)[0].voicings
    verdict = as_played(exercise, voicings, random.Random(2), wild=0.3)
    found: Counter[tuple[str, str]] = Counter()
    for page in engrave(exercise, 900, None, space_px=8):
        found += overlaps(page, exercise, verdict)
    assert found == Counter()


@pytest.mark.parametrize("seed", [2, 3, 8])
def test_nor_where_eighths_stand_close(seed: int) -> None:
    """Flags reach no head, marks with little choice of place are drawn before those with much."""
    exercise = read_exercise(next(path for path in PIECES if path.stem == "wo-gott-der-herr"))
    voicings = Solver(exercise.moments).best(1)[0].voicings
    verdict = as_played(exercise, voicings, random.Random(seed), wild=0.4)
    found: Counter[tuple[str, str]] = Counter()
    for page in engrave(exercise, 700, None, space_px=7.5):
        found += overlaps(page, exercise, verdict)
    assert found == Counter()


@pytest.mark.parametrize(
    ("stem", "seed", "width", "space"),
    [
        ("herr-jesu-christ-dich", 12, 700, 7.5),
        ("mit-fried-und-freud", 1, 2400, 24.0),
        ("vom-himmel-hoch", 1, 360, 6.0),
    ],
)
def test_nor_where_every_second_chord_has_all_faults(
    stem: str, seed: int, width: int, space: float
) -> None:
    """A bracket that has no room as a whole is broken; a stroke from note to note is crossed
    before anything else is."""
    exercise = read_exercise(next(path for path in PIECES if path.stem == stem))
    voicings = Solver(exercise.moments).best(1)[0].voicings
    verdict = as_played(exercise, voicings, random.Random(seed), wild=0.5)
    found: Counter[tuple[str, str]] = Counter()
    for page in engrave(exercise, width, None, space_px=space):
        found += overlaps(page, exercise, verdict)
    assert found == Counter()


def hymn_page() -> Page:
    return engrave(hymn(), 1600, None, space_px=10)[0]


def test_what_lies_on_something_is_found() -> None:
    """The measure itself: a fermata set onto a time mark's place is touched by it."""
    page, verdict = hymn_page(), verdict_of(hymn(), MIDDLES, [])
    late = replace(
        verdict, moments=tuple(replace(m, late_ms=500.0, late_beats=0.5) for m in verdict.moments)
    )
    assert overlaps(page, hymn(), late) == Counter()
    columns = played(hymn(), page.geometry, late.moments)
    drawn = drawn_marks(hymn(), page.geometry, late, columns, 0.15)
    everywhere = replace(
        page.geometry.printed[0], kind="wall", left=0, top=0, right=1600, bottom=400
    )
    full = replace(page, geometry=replace(page.geometry, printed=(everywhere,)))
    assert sum(overlaps(full, hymn(), late).values()) >= len(drawn) // 2


def test_a_caret_moves_away_from_the_figure_that_joins_two_voices() -> None:
    page = hymn_page()
    faults = [
        fault("consecutive-octaves", "gross", (2, 3), "tb", "d4 a3 e4 b3"),
        fault("missing-third", "gross", (3,), "b", "d4"),
        fault("missing-figure", "gross", (3,), "b", "g4"),
    ]
    verdict = verdict_of(hymn(), MIDDLES, faults)
    columns = played(hymn(), page.geometry, verdict.moments)
    found = marks(hymn(), page.geometry, verdict.faults, columns)
    digits = [[box_of(d) for d in mark.drawings if isinstance(d, Sign)] for mark in found]
    assert [len(boxes) for boxes in digits] == [1, 1, 1]
    assert overlaps(page, hymn(), verdict) == Counter()


def test_a_chord_of_which_only_the_bass_was_heard_has_one_mark() -> None:
    exercise = read_exercise(next(path for path in PIECES if path.stem == "dundee"))
    solver = Solver(exercise.moments)
    keys = {
        index: [pitch.midi for pitch in voicing if pitch is not None]
        for index, voicing in enumerate(solver.best(1)[0].voicings)
    }
    keys[5] = [min(keys[5])]
    verdict = Judge(exercise, Conditions()).judge_chords(keys)
    assert collapsed(verdict.moments) == {5}
    (page, *_) = engrave(exercise, 2000, None, space_px=10)
    columns = played(exercise, page.geometry, verdict.moments)
    assert columns[5].notes == (), "the bass is printed, and nothing else was heard"
    found = marks(
        exercise,
        page.geometry,
        verdict.faults,
        columns,
        hollow=collapsed(verdict.moments),
    )
    touching = [mark.drawings for mark in found if 5 in verdict.faults[mark.fault].moments]
    assert len(touching) >= 10
    (once,) = set(touching)
    assert len(once) == 2 and all(isinstance(d, Stroke) for d in once), "a caret"
    x = page.geometry.moments[5] + 6
    assert all(abs(box_of(d).left - x) < 20 for d in once)


def test_two_keys_that_serve_four_voices_are_written_once() -> None:
    exercise = read_exercise(next(path for path in PIECES if path.stem == "dundee"))
    keys = {5: [43, 58]}
    verdict = Judge(exercise, Conditions()).judge_chords(keys)
    (page, *_) = engrave(exercise, 2000, None, space_px=10)
    (column,) = (c for c in played(exercise, page.geometry, verdict.moments).values() if c.notes)
    heads = [d for d in column.drawings if isinstance(d, Sign) and d.code == BLACK]
    assert [str(note.pitch) for note in column.notes] == ["bb3"]
    assert len(heads) == 1


def wrong_at(index: int, *keys: int) -> tuple[Exercise, PassVerdict]:
    """A piece in which one chord is wrong, with what explains it."""
    exercise = read_exercise(next(path for path in PIECES if path.stem == "bellows"))
    chords = {
        index: [pitch.midi for pitch in voicing if pitch is not None]
        for index, voicing in enumerate(realization(exercise, Conditions()))
    }
    judge = Judge(exercise, Conditions())
    return exercise, explained(judge, judge.judge_chords(chords | {index: list(keys)}))


@pytest.mark.parametrize("keys", [(50,), (50, 64, 67, 71), (50, 62, 67, 69)])
def test_a_cause_has_one_mark_and_what_follows_from_it_none(keys: tuple[int, ...]) -> None:
    exercise, verdict = wrong_at(6, *keys)
    (cause,) = verdict.causes
    assert len(cause.explains) + len(cause.follow) > 1
    drawn = 0
    for page in engrave(exercise, 2000, None, space_px=10):
        columns = played(exercise, page.geometry, verdict.moments)
        _, found = times_and_marks(exercise, page.geometry, verdict, columns, 0.15)
        of_the_chord = [mark for mark in found if 6 in verdict.drawn[mark.fault].moments]
        drawn += len(of_the_chord)
        for mark in of_the_chord:
            assert verdict.drawn[mark.fault] == verdict.weightiest(cause)
    assert drawn == 1
    without = replace(verdict, causes=())
    pages = engrave(exercise, 2000, None, space_px=10)
    singly = [
        mark
        for page in pages
        for mark in times_and_marks(
            exercise,
            page.geometry,
            without,
            played(exercise, page.geometry, verdict.moments),
            0.15,
        )[1]
        if 6 in without.drawn[mark.fault].moments
    ]
    assert len(singly) > 1
