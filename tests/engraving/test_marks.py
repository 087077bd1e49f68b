"""The player's notes in the free middle, and the marks a teacher would write."""

from __future__ import annotations

from itertools import combinations

import pytest

from tests.engraving.marks_demo import fault, pitches, verdict_of
from tests.engraving.pieces import hymn, piece
from trainer.engraving.boxes import box_of
from trainer.engraving.ink import Sign, Stroke, to_svg
from trainer.engraving.mark_forms import FORMS
from trainer.engraving.marks import marked, marks, played
from trainer.engraving.middle_voices import BLACK, HALF, Column, VoiceNote, write
from trainer.engraving.page import Page, engrave
from trainer.score.exercise import Exercise
from trainer.theory.rules import RULES
from trainer.theory.voicing import MIDDLE, UPPER, VoiceName

SPACE = 10.0


def set_in(page: Page, exercise: Exercise, *chords: str, above: bool = False) -> dict[int, Column]:
    """Alto and tenor of each moment, as they are written into a page."""
    columns: dict[int, Column] = {}
    for moment, chord in enumerate(chords):
        names: tuple[VoiceName, ...] = MIDDLE if exercise.melody else UPPER
        notes = [VoiceNote(v, p) for v, p in zip(names, pitches(chord), strict=False)]
        columns[moment] = write(
            exercise, page.geometry, moment, notes, tenor_above=above, before=columns
        )
    return columns


def page_of(exercise: Exercise, width: float = 800) -> Page:
    return engrave(exercise, width, None, space_px=SPACE)[0]


def signs(column: Column) -> list[Sign]:
    """What is neither head, dot nor flag: the accidentals."""
    plain = (BLACK, HALF, 0xE1E7, 0xE240, 0xE241)
    return [d for d in column.drawings if isinstance(d, Sign) and d.code not in plain]


def stems(column: Column) -> list[Stroke]:
    return [d for d in column.drawings if isinstance(d, Stroke) and d.x1 == d.x2]


def test_the_alto_stays_in_the_treble_and_the_tenor_where_its_phrase_stands() -> None:
    exercise = piece("c5 d5^", "c3 b2", {}, key="C")
    page = page_of(exercise)
    system = page.geometry.systems[0]
    below = set_in(page, exercise, "b3 g3", "e4 d4")
    above = set_in(page, exercise, "b3 g3", "e4 d4", above=True)
    assert [n.y for n in below[0].notes] == [system.treble_y(27), system.bass_y(25)]
    assert [n.y for n in below[1].notes] == [system.treble_y(30), system.bass_y(29)]
    assert [n.y for n in above[1].notes] == [system.treble_y(30), system.treble_y(29)]


def test_the_tenor_of_a_pass_does_not_hop_at_middle_c() -> None:
    exercise = piece("c5 d5 e5 d5^ g5 f5 g5:2^", "c3 b2 c3 g2 e3 d3 c3:2", {}, key="C")
    page = page_of(exercise, 1600)
    middles = ["e4 g3", "g4 d4", "g4 c4", "g4 b3", "e5 c5", "d5 a4", "e5 c5"]
    columns = played(exercise, page.geometry, verdict_of(exercise, middles, []).moments)
    tenor = [note for column in columns.values() for note in column.notes if note.voice == "tenor"]
    assert [note.upper for note in tenor] == [False] * 4 + [True] * 3


def test_middle_voices_of_one_staff_share_a_stem_that_turns_its_back_on_the_melody() -> None:
    exercise = piece("c5 d5^", "c3 b2", {}, key="C")
    page = page_of(exercise)
    (stem,) = stems(set_in(page, exercise, "g4 e4", above=True)[0])
    assert stem.y1 < stem.y2, "downward"
    apart = stems(set_in(page, exercise, "g4 e4")[0])
    assert [one.y1 < one.y2 for one in apart] == [True, False]


def test_a_soprano_that_is_not_given_has_its_own_stem() -> None:
    exercise = piece("", "c3 b2", {}, key="C")
    page = page_of(exercise)
    upward, downward = stems(set_in(page, exercise, "c5 g4 e4", above=True)[0])
    assert upward.y2 < upward.y1 and downward.y2 > downward.y1


def test_a_note_shorter_than_a_quarter_has_its_flag() -> None:
    exercise = piece("c5:1/2 d5:1/2 e5", "c3 c3", {}, key="C")
    page = page_of(exercise)
    columns = set_in(page, exercise, "e4 g3", "f4 g3", "g4 g3")
    flags = [
        [d.code for d in column.drawings if isinstance(d, Sign) and d.code in (0xE240, 0xE241)]
        for column in columns.values()
    ]
    assert flags == [[0xE241, 0xE240], [0xE241, 0xE240], []]


def test_a_middle_voice_of_another_length_has_a_head_of_its_own() -> None:
    """A half note and a quarter are never one head. (Common practice, no source.)"""
    exercise = piece("c5:2", "c3 b2", {}, key="C")
    page = page_of(exercise)
    given = page.geometry.notes["melody-0"].x
    assert set_in(page, exercise, "c5 g3")[0].notes[0].x > given + SPACE
    same = piece("c5 c5", "c3 b2", {}, key="C")
    page = page_of(same)
    assert set_in(page, same, "c5 g3")[0].notes[0].x == page.geometry.notes["melody-0"].x


@pytest.mark.parametrize("melody", ["c5", "b4", "a4"])
@pytest.mark.parametrize("middle", ["b4 a4", "c5 b4", "a4 g4", "c5 a4", "b4 b4", "a4 a4"])
def test_heads_within_a_third_never_cover_one_another(melody: str, middle: str) -> None:
    exercise = piece(f"{melody}", "c4", {}, key="C")
    page = page_of(exercise)
    given = page.geometry.notes["melody-0"]
    column = set_in(page, exercise, middle, above=True)[0]
    placed = [(n.pitch.height, n.x) for n in column.notes]
    for (height1, x1), (height2, x2) in combinations(placed, 2):
        assert abs(height1 - height2) > 1 or abs(x1 - x2) >= 1.17 * SPACE
    for height, x in placed:
        near = abs(height - pitches(melody)[0].height)
        assert near > 1 or abs(x - given.x) >= 1.1 * SPACE or (near == 0 and x == given.x)


def test_accidentals_already_in_the_bar_are_not_repeated_and_are_cancelled() -> None:
    exercise = piece("c5 c5 c5 c5", "c3 c3 c3 c3", {}, key="C")
    columns = set_in(page_of(exercise), exercise, "f#4 g3", "f#4 g3", "f4 g3", "f4 g3")
    assert [[sign.code for sign in signs(column)] for column in columns.values()] == [
        [0xE262],
        [],
        [0xE261],
        [],
    ]


def test_a_printed_note_that_the_player_altered_before_gets_its_sign_back() -> None:
    exercise = piece("c5 c5 f4 f4", "c3 c3 c3 c3", {}, key="C")
    page = page_of(exercise)
    columns = set_in(page, exercise, "f#4 g3", "g4 g3", "d4 g3", "d4 g3")
    assert [[sign.code for sign in signs(column)] for column in columns.values()] == [
        [0xE262],
        [],
        [0xE261],
        [],
    ]
    (back,) = signs(columns[2])
    head = page.geometry.notes["melody-2"]
    assert back.y == head.y and back.x < head.x


def test_an_accidental_keeps_clear_of_the_printed_ones() -> None:
    exercise = piece("c5 c#5", "c3 c3", {}, key="C")
    page = page_of(exercise)
    column = set_in(page, exercise, "g4 e4", "a#4 f#4", above=True)[1]
    printed = [box for box in page.geometry.printed if box.kind == "accidental"]
    ours = [box_of(sign) for sign in signs(column)]
    assert (len(printed), len(ours)) == (1, 2)
    boxes = [*printed, *ours, *(b for b in page.geometry.printed if b.kind == "head")]
    assert not [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])]


def test_a_note_far_from_its_staff_has_all_its_ledger_lines() -> None:
    exercise = piece("c6", "c2", {}, key="C")
    page = page_of(exercise)

    def ledgers(note: str, voice: VoiceName) -> int:
        drawn = write(
            exercise, page.geometry, 0, [VoiceNote(voice, pitches(note)[0])], tenor_above=False
        ).drawings
        return len([d for d in drawn if isinstance(d, Stroke) and d.y1 == d.y2])

    assert ledgers("c4", "alto") == 1
    assert ledgers("b3", "alto") == 1
    assert ledgers("a3", "alto") == 2
    assert ledgers("b3", "tenor") == 0
    assert ledgers("c6", "alto") == 2
    assert ledgers("c2", "tenor") == 2


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


def test_a_false_relation_leads_from_the_note_of_one_chord_to_that_of_the_next() -> None:
    exercise = piece("c5 c5^", "c3 g3", {}, key="C")
    page = page_of(exercise)
    columns = set_in(page, exercise, "g4 e4", "eb4 g3")
    relation = fault("false-relation", "remark", (0, 1), "ta", "e4 eb4")
    (mark,) = marks(exercise, page.geometry, [relation], columns)
    (stroke,) = mark.drawings
    assert isinstance(stroke, Stroke)
    e, e_flat = columns[0].notes[1], columns[1].notes[0]
    assert (stroke.y1, stroke.y2) == (e.y, e_flat.y)
    assert e.x < stroke.x1 < stroke.x2 < e_flat.x
