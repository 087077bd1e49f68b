"""The player's notes in the free middle, and the marks a teacher would write."""

from __future__ import annotations

from itertools import combinations

import pytest

from tests.engraving.marks_demo import fault, pitches, verdict_of
from tests.engraving.pieces import hymn, piece
from trainer.engraving.ink import Sign, Stroke, to_svg
from trainer.engraving.marks import FORMS, marked, marks, played
from trainer.engraving.middle_voices import BLACK, HALF, write
from trainer.engraving.page import engrave
from trainer.theory.rules import RULES

SPACE = 10.0


def heads(drawings: tuple[object, ...]) -> list[Sign]:
    return [d for d in drawings if isinstance(d, Sign) and d.code in (BLACK, HALF)]


def test_a_middle_voice_stands_on_the_staff_its_pitch_belongs_to() -> None:
    exercise = piece("c5:4", "c3:4", {}, key="C")
    geometry = engrave(exercise, 800, None, space_px=SPACE)[0].geometry
    system = geometry.systems[0]
    column = write(exercise, geometry, 0, pitches("e4 g3"))
    assert [n.y for n in column.notes] == [system.treble_y(30), system.bass_y(25)]


@pytest.mark.parametrize("melody", ["c5", "b4", "a4"])
@pytest.mark.parametrize("middle", ["b4 a4", "c5 b4", "a4 g4", "c5 a4", "b4 b4", "a4 a4"])
def test_heads_within_a_third_never_cover_one_another(melody: str, middle: str) -> None:
    exercise = piece(f"{melody}", "c4", {}, key="C")
    geometry = engrave(exercise, 800, None, space_px=SPACE)[0].geometry
    given = geometry.notes["melody-0"]
    column = write(exercise, geometry, 0, pitches(middle))
    placed = [(n.pitch.height, n.x) for n in column.notes]
    for (height1, x1), (height2, x2) in combinations(placed, 2):
        assert abs(height1 - height2) > 1 or abs(x1 - x2) >= 1.17 * SPACE
    for height, x in placed:
        near = abs(height - pitches(melody)[0].height)
        assert near > 1 or abs(x - given.x) >= 1.1 * SPACE or (near == 0 and x == given.x)


def test_accidentals_already_in_the_bar_are_not_repeated_and_are_cancelled() -> None:
    exercise = piece("c5 c5 c5 c5", "c3 c3 c3 c3", {}, key="C")
    geometry = engrave(exercise, 800, None, space_px=SPACE)[0].geometry

    def signs(moment: int, note: str, before: dict[int, tuple[str, ...]]) -> int:
        written = {m: tuple(pitches(" ".join(notes))) for m, notes in before.items()}
        drawn = write(exercise, geometry, moment, pitches(note), before=written).drawings
        return len([d for d in drawn if isinstance(d, Sign)]) - len(heads(drawn))

    assert signs(0, "f#4", {}) == 1
    assert signs(1, "f#4", {0: ("f#4",)}) == 0
    assert signs(2, "f4", {0: ("f#4",), 1: ("f#4",)}) == 1
    assert signs(1, "f4", {}) == 0


def test_a_note_far_from_its_staff_has_all_its_ledger_lines() -> None:
    exercise = piece("c6", "c2", {}, key="C")
    geometry = engrave(exercise, 800, None, space_px=SPACE)[0].geometry

    def ledgers(note: str) -> int:
        drawn = write(exercise, geometry, 0, pitches(note)).drawings
        return len([d for d in drawn if isinstance(d, Stroke) and d.y1 == d.y2])

    assert ledgers("c4") == 1
    assert ledgers("b3") == 0
    assert ledgers("c6") == 2
    assert ledgers("c2") == 2


def test_consecutive_fifths_get_two_strokes_and_a_five() -> None:
    exercise = hymn()
    page = engrave(exercise, 1600, None, space_px=SPACE)[0]
    middles = ["b4 g4", "g4 d4", "a4 d4", "b4 e4"]
    bad = fault("consecutive-fifths", "gross", (2, 3), "at", "a4 d4 b4 e4")
    verdict = verdict_of(exercise, middles, [bad])
    columns = played(exercise, page.geometry, verdict.moments)
    (mark,) = marks(exercise, page.geometry, verdict.faults, columns)
    strokes = [d for d in mark.drawings if isinstance(d, Stroke)]
    assert len(strokes) == 2
    assert [d.code for d in mark.drawings if isinstance(d, Sign)] == [0xEA57]
    left, right = page.geometry.moments[2], page.geometry.moments[3]
    for stroke, y1, y2 in zip(strokes, ("a4", "d4"), ("b4", "e4"), strict=True):
        system = page.geometry.systems[0]
        assert left < stroke.x1 < stroke.x2 <= right
        assert stroke.y1 == pytest.approx(system.treble_y(pitches(y1)[0].height))
        assert stroke.y2 == pytest.approx(system.treble_y(pitches(y2)[0].height))


def test_a_foreign_note_gets_a_cross_that_does_not_touch_its_head() -> None:
    exercise = hymn()
    page = engrave(exercise, 1600, None, space_px=SPACE)[0]
    verdict = verdict_of(exercise, ["b4 g#4"], [fault("foreign-note", "gross", (0,), "t", "g#4")])
    columns = played(exercise, page.geometry, verdict.moments)
    (mark,) = marks(exercise, page.geometry, verdict.faults, columns)
    head = columns[0].notes[1]
    assert all(
        isinstance(d, Stroke) and min(d.x1, d.x2) > head.x + head.width for d in mark.drawings
    )


def test_parallels_over_a_page_turn_are_drawn_on_both_pages() -> None:
    exercise = piece("g4 a4 b4 c5 " * 30, "g3 f#3 g3 a3 " * 30, {})
    pages = engrave(exercise, 500, 260, space_px=8)
    last, first = pages[0].last, pages[1].first
    bad = fault("consecutive-octaves", "gross", (last, first), "sb", "c5 a3 g4 g3")
    verdict = verdict_of(exercise, [], [bad])
    for page in pages[:2]:
        (mark,) = marks(exercise, page.geometry, verdict.faults, {})
        assert len([d for d in mark.drawings if isinstance(d, Stroke)]) == 2
    assert marks(exercise, pages[2].geometry, verdict.faults, {}) == ()


def test_every_rule_is_drawn_in_some_form() -> None:
    exercise = hymn()
    page = engrave(exercise, 1600, None, space_px=SPACE)[0]
    for rule in RULES:
        bad = fault(rule.id, rule.weight, (2, 3), "at", "a4 d4 b4 e4")
        (mark,) = marks(exercise, page.geometry, (bad,), {})
        assert mark.drawings, rule.id
    assert set(FORMS) <= {rule.id for rule in RULES}


def test_a_marked_page_is_one_picture_without_fonts() -> None:
    exercise = hymn()
    page = engrave(exercise, 1600, None, space_px=SPACE)[0]
    verdict = verdict_of(exercise, ["b4 g4"], [])
    svg = marked(page, exercise, verdict, 0.15)
    assert svg.count("<svg ") == 1
    assert "<text" not in svg
    assert 'class="marks"' in to_svg(()) and svg.count('class="marks"') == 1
