"""Pages of passes, read back from the drawing: every note stands where the verdict has it.

At full length, over every piece and drill: `python -m tests.faults.engraving`.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from datetime import UTC, datetime

import pytest

from tests.engraving.crowding import overlaps
from tests.engraving.marks_demo import verdict_of
from tests.engraving.page_readback import as_played, differences
from tests.engraving.pieces import hymn, piece
from trainer.engraving.marks import marked
from trainer.engraving.page import engrave, engrave_systems
from trainer.judging.take import Conditions, Take
from trainer.resources import exercises_folder
from trainer.review.sheet import take_sheet
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.theory.realize.solver import Solver
from trainer.theory.voicing import Voicing

PIECES = sorted(exercises_folder().glob("*.krn"))
MIDDLES = ["b4 g4", "g4 d4", "a4 d#4", "b4 e4", "", "g4 d4", "f#4 a3", "g4 c4", "f#4 a3"]


def voicings(exercise: Exercise) -> tuple[Voicing, ...]:
    solver = Solver(exercise.moments, struck_five_is_diminished=exercise.struck_five_is_diminished)
    return solver.best(1)[0].voicings


@pytest.mark.parametrize("path", PIECES[::9], ids=lambda path: path.stem)
@pytest.mark.parametrize("wild", [0.0, 0.4])
def test_what_is_written_into_a_page_is_what_was_heard(path: object, wild: float) -> None:
    exercise = read_exercise(path)  # type: ignore[arg-type]
    verdict = as_played(exercise, voicings(exercise), random.Random(7), wild=wild)
    pages = engrave(exercise, 900, None, space_px=8)
    drawn = [marked(page, exercise, verdict, 0.15) for page in pages]
    compared, told = differences(exercise, drawn, verdict.moments)
    assert told == []
    assert compared > 2 * len(exercise.moments)


def test_the_sheet_of_a_take_shows_the_same() -> None:
    exercise = read_exercise(PIECES[3])
    verdict = as_played(exercise, voicings(exercise), random.Random(3), wild=0.3)
    take = Take(exercise.id, "", Conditions(), (), 0.0, datetime(2026, 1, 1, tzinfo=UTC))
    sheet = take_sheet("take", take, exercise, verdict)
    compared, told = differences(exercise, map(str, sheet.systems), verdict.moments)
    assert told == []
    assert compared > 2 * len(exercise.moments)


@pytest.mark.parametrize("space", [3.5, 5.0, 14.0, 31.0])
def test_at_any_size(space: float) -> None:
    exercise = read_exercise(PIECES[0])
    verdict = as_played(exercise, voicings(exercise), random.Random(5), wild=0.3)
    pages = engrave_systems(exercise, 90 * space, space_px=space)
    drawn = [marked(page, exercise, verdict, 0.15) for page in pages]
    assert differences(exercise, drawn, verdict.moments)[1] == []


def test_two_notes_on_one_place_are_told_apart_by_their_signs() -> None:
    exercise = piece("f4 f4 f#4 f4", "c3 c3 c3 c3", {}, key="C")
    verdict = verdict_of(exercise, ["f#4 c4", "f4 c4", "f4 c4", "f#4 c4"], [])
    (page,) = engrave(exercise, 900, None, space_px=10)
    drawn = [marked(page, exercise, verdict, 0.15)]
    assert differences(exercise, drawn, verdict.moments) == (16, [])


@pytest.mark.parametrize("width", [260, 300, 340, 420])
def test_signs_do_not_mind_the_barlines_of_other_systems(width: float) -> None:
    """Every alto is its melody raised: two signs before each head, in whatever column it stands."""
    exercise = piece("g4 a4 g4 a4 " * 6, "c3 c3 c3 c3 " * 6, {}, key="C")
    heard = [f"{'g#4' if n % 2 == 0 else 'a#4'} c4" for n in range(24)]
    verdict = verdict_of(exercise, heard, [])
    pages = engrave(exercise, width, None, space_px=7)
    drawn = [marked(page, exercise, verdict, 0.15) for page in pages]
    assert len(pages[0].geometry.systems) > 1
    assert differences(exercise, drawn, verdict.moments) == (24 * 4, [])


@pytest.mark.parametrize(
    ("melody", "bass", "key", "heard"),
    [
        ("b4", "g3:1/2 g3:1/2", "C", "b4 a4"),  # one head for a quarter and an eighth
        ("b4:2", "g3 g3", "C", "b4 a4"),  # none for a half and a quarter
        ("ab4", "f3", "f", "fb4 f4"),  # two on one place, each with its sign
        ("bb4", "g2", "C", "bb4 b4"),  # three on one place, two of them one head
        ("b4:2", "c3:2", "C", "a#4 f4"),
        ("b4", "g2", "C", "e4 gb2"),  # as low as the bass
    ],
)
def test_after_a_barline_nothing_stands_on_it_nor_on_a_head(
    melody: str, bass: str, key: str, heard: str
) -> None:
    """A note beside its given one may find no room at its left: it then stands at the right."""
    quarters = (melody.count(" ") + 1) * (2 if ":2" in melody else 1)
    exercise = piece(
        f"c5 c5 c5 c5 {melody} " + "c5 " * (4 - quarters), f"c3 c3 c3 c3 {bass}", {}, key
    )
    verdict = verdict_of(exercise, ["g4 e4"] * 4 + [heard], [])
    for space in (6, 10, 24):
        (page,) = engrave(exercise, 90 * space, None, space_px=space)
        drawn = [marked(page, exercise, verdict, 0.15)]
        told = differences(exercise, drawn, verdict.moments)[1]
        assert [one for one in told if "is on no page" not in one] == []
        assert overlaps(page, exercise, verdict) == Counter()


# ---- the reader sees what is wrong -------------------------------------------------------------


def hymn_svg() -> str:
    (page, *_) = engrave(hymn(), 1600, None, space_px=10)
    return marked(page, hymn(), verdict_of(hymn(), MIDDLES, []), 0.15)


def told(svg: str) -> list[str]:
    moments = verdict_of(hymn(), MIDDLES, []).moments
    return differences(hymn(), [svg], moments)[1]


def moved(svg: str, which: int, x: float, y: float) -> str:
    """The drawing with one of the player's signs set elsewhere."""
    before, marks = svg.split('<g class="marks">')
    places = list(re.finditer(r"translate\((-?[\d.]+) (-?[\d.]+)\)", marks))
    place = places[which]
    there = f"translate({float(place[1]) + x:.2f} {float(place[2]) + y:.2f})"
    return before + '<g class="marks">' + marks[: place.start()] + there + marks[place.end() :]


def test_the_page_as_it_is_reads_right() -> None:
    assert told(hymn_svg()) == []


def test_a_note_on_another_line_is_noticed() -> None:
    assert [one.split()[0] for one in told(moved(hymn_svg(), 0, 0, 5))] == ["missing", "extra"]


def test_a_note_on_another_beat_is_noticed() -> None:
    assert told(moved(hymn_svg(), 0, 60, 0))


def test_a_note_that_is_not_there_is_noticed() -> None:
    svg = hymn_svg()
    before, marks = svg.split('<g class="marks">')
    fewer = re.sub(r'<path transform="translate[^>]+>', "", marks, count=1)
    assert [one.split()[0] for one in told(f'{before}<g class="marks">{fewer}')] == ["missing"]


def test_a_missing_accidental_is_noticed() -> None:
    """The d sharp's sign is the last of the third chord: four heads come before its own two."""
    assert [one.split("pitch=")[1][:5] for one in told(moved(hymn_svg(), 6, 0, -400))] == [
        "'d#4'",
        "'d4',",
    ]
