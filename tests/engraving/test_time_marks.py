"""Early, late, skipped: what a page shows of time. (Forms: our own.)"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from tests.engraving.marks_demo import verdict_of
from tests.engraving.pieces import hymn
from trainer.engraving.boxes import box_of
from trainer.engraving.ink import Stroke
from trainer.engraving.marks import marked, played
from trainer.engraving.page import Page, engrave
from trainer.engraving.time_marks import BEAT, TimeMark, time_marks
from trainer.judging.verdict import MomentVerdict

SPACE = 10.0
MIDDLES = ["b4 g4", "g4 d4", "a4 d4", "b4 e4", "", "g4 d4", "f#4 a3", "g4 c4", "f#4 a3"]


def hymn_page() -> Page:
    return engrave(hymn(), 1600, None, space_px=SPACE)[0]


def at(moment: MomentVerdict, beats: float | None) -> MomentVerdict:
    """So late, at 60."""
    return replace(moment, late_ms=None if beats is None else 1000 * beats, late_beats=beats)


def drawn(*late: float | None) -> tuple[TimeMark, ...]:
    moments = verdict_of(hymn(), MIDDLES, []).moments
    verdicts = [at(m, beats) for m, beats in zip(moments, late, strict=False)]
    return time_marks(hymn_page().geometry, verdicts, 0.15)


def reach(mark: TimeMark) -> float:
    """From the beat to where the chord was, in staff spaces, to the right."""
    upright, along = mark.drawings
    assert isinstance(upright, Stroke) and isinstance(along, Stroke)
    assert upright.x1 == upright.x2 == along.x1
    return (along.x2 - along.x1) / SPACE


def test_a_late_chord_leads_right_and_an_early_one_left_as_far_as_it_was_off() -> None:
    late, early, twice = drawn(0.25, -0.25, 0.5)
    assert (late.kind, early.kind) == ("late", "early")
    assert reach(late) == pytest.approx(0.25 * BEAT)
    assert reach(early) == pytest.approx(-0.25 * BEAT)
    assert reach(twice) == pytest.approx(0.5 * BEAT)


def test_more_than_a_beat_is_drawn_as_one() -> None:
    assert [reach(mark) for mark in drawn(1.0, 2.5, -7.0)] == pytest.approx([BEAT, BEAT, -BEAT])


def test_within_the_tolerance_and_without_a_clock_nothing_is_drawn() -> None:
    assert drawn(0.15, -0.15, None, 0.0) == ()
    assert [mark.moment for mark in drawn(0.15, 0.151, -0.16)] == [1, 2]


def test_the_upright_stands_at_the_chord_it_concerns() -> None:
    page = hymn_page()
    (mark,) = drawn(None, None, 0.3)
    upright = mark.drawings[0]
    assert isinstance(upright, Stroke)
    head = page.geometry.notes["melody-2"]
    assert head.x < upright.x1 < head.x + 1.18 * SPACE
    assert upright.y2 < page.geometry.systems[0].treble


def test_a_skipped_chord_is_an_empty_place_between_the_staves() -> None:
    page = hymn_page()
    moments = verdict_of(hymn(), MIDDLES, []).moments
    (mark,) = time_marks(page.geometry, moments, 0.15)
    system, x = page.geometry.systems[0], page.geometry.moments[4]
    assert (mark.moment, mark.kind) == (4, "skipped")
    boxes = [box_of(drawing) for drawing in mark.drawings]
    assert min(b.left for b in boxes) < x and max(b.right for b in boxes) > x + SPACE
    assert min(b.top for b in boxes) > system.treble + 4 * SPACE
    assert max(b.bottom for b in boxes) < system.bass
    assert not [b for b in boxes if b.left < x + 0.6 * SPACE < b.right], "something stands inside"


def test_neither_lies_on_print_notes_or_one_another() -> None:
    page = hymn_page()
    moments = [at(m, 0.9 if m.index % 2 else -0.9) for m in verdict_of(hymn(), MIDDLES, []).moments]
    columns = played(hymn(), page.geometry, moments)
    found = time_marks(page.geometry, moments, 0.15, columns)
    assert len(found) == len(moments)
    boxes = [[box_of(d) for d in mark.drawings] for mark in found]
    others = [*page.geometry.printed]
    others += [box_of(d) for column in columns.values() for d in column.drawings]
    assert not [(a, b) for mark in boxes for a in mark for b in others if a.touches(b)]
    assert not [(a, b) for one, two in pairwise(boxes) for a in one for b in two if a.touches(b)]


def test_a_moment_of_another_page_is_passed_over() -> None:
    assert time_marks(hymn_page().geometry, [MomentVerdict(900, "not-played")], 0.15) == ()


def test_the_marked_page_shows_them() -> None:
    page, verdict = hymn_page(), verdict_of(hymn(), MIDDLES, [])
    late = replace(verdict, moments=tuple(at(m, 0.4) for m in verdict.moments))
    more = marked(page, hymn(), late, 0.15).count("<path") - marked(
        page, hymn(), verdict, 0.15
    ).count("<path")
    assert more == 2 * (len(MIDDLES) - 1)
