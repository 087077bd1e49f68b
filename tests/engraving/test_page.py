"""What stands where on an engraved page."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from lxml import etree

from tests.engraving.pieces import hymn, piece
from trainer.engraving.figure_drawing import HEIGHT, numeral
from trainer.engraving.glyphs import text
from trainer.engraving.ink import Sign
from trainer.engraving.mei import NAMESPACE, to_mei
from trainer.engraving.middle_voices import VoiceNote, write
from trainer.engraving.page import engrave
from trainer.theory.figures import Figuring
from trainer.theory.pitch import Pitch

MEI = f"{{{NAMESPACE}}}"
NAME = "{http://www.w3.org/XML/1998/namespace}id"


def test_every_note_figure_and_moment_has_its_id() -> None:
    exercise = hymn()
    root = etree.fromstring(to_mei(exercise).encode())
    ids = [e.get(NAME) for e in root.iter() if e.get(NAME)]
    assert len(ids) == len(set(ids))
    assert {f"melody-{i}" for i in range(len(exercise.melody))} <= set(ids)
    assert {f"bass-{i}" for i in range(len(exercise.bass))} <= set(ids)
    assert {f"moment-{m.index}" for m in exercise.moments} <= set(ids)
    assert {f"figure-{m.index}" for m in exercise.moments if m.figured} <= set(ids)


def test_the_stems_of_the_given_voices_point_outward() -> None:
    page = engrave(hymn(), 1200, 800, space_px=8)[0]
    for name, head in page.geometry.notes.items():
        if head.tip is not None:
            outward = head.tip < head.y if name.startswith("melody") else head.tip > head.y
            assert outward, name


def test_a_raised_note_shows_its_accidental_once_in_a_bar_and_a_natural_after_it() -> None:
    exercise = piece("c5 c#5 c#5 c5 c5 c5:3", "c3:4 c3:4", {}, key="C")
    root = etree.fromstring(to_mei(exercise).encode())
    shown = {e.get(NAME): e.get("accid") for e in root.iter(f"{MEI}note") if e.get("accid")}
    assert shown == {"melody-1": "s", "melody-3": "n"}


def test_a_note_stands_on_the_staff_line_of_its_pitch() -> None:
    exercise = hymn()
    page = engrave(exercise, 2400, None, space_px=10)[0]
    system = page.geometry.systems[0]
    for index, note in enumerate(exercise.melody):
        assert note.pitch is not None
        expected = system.treble_y(note.pitch.height)
        assert page.geometry.notes[f"melody-{index}"].y == pytest.approx(expected, abs=0.6)
    for index, note in enumerate(exercise.bass):
        assert note.pitch is not None
        expected = system.bass_y(note.pitch.height)
        assert page.geometry.notes[f"bass-{index}"].y == pytest.approx(expected, abs=0.6)


def test_figures_stand_under_their_moment_even_where_no_note_begins() -> None:
    page = engrave(hymn(), 1600, None, space_px=8)[0]
    for index, (x, y) in page.geometry.figures.items():
        assert x == pytest.approx(page.geometry.moments[index], abs=1.5)
        system = page.geometry.system_of(index)
        assert y > system.bass + 4 * system.space


def test_figures_are_drawn_larger_than_a_staff_space_and_as_outlines() -> None:
    page = engrave(hymn(), 1600, None, space_px=8)[0]
    assert "<text" not in page.svg
    shapes, _ = numeral(Figuring.parse("6").figures[0], HEIGHT * 8)
    assert shapes[0].outline.bottom - shapes[0].outline.top >= 14


def test_systems_break_at_the_end_of_a_phrase_within_a_bar() -> None:
    exercise = hymn()
    pages = engrave(exercise, 700, 600, space_px=10)
    systems = [system for page in pages for system in page.geometry.systems]
    assert systems[1].moments[0] == exercise.phrases[1].first
    root = etree.fromstring(to_mei(exercise, breaks=frozenset({Fraction(9)})).encode())
    assert [m.get("n") for m in root.iter(f"{MEI}measure")].count("2") == 1


def test_each_page_holds_whole_systems_and_every_moment_stands_once() -> None:
    exercise = piece("g4 a4 b4 c5 " * 40, "g3 f#3 g3 a3 " * 40, {})
    pages = engrave(exercise, 640, 400, space_px=8)
    assert len(pages) > 3
    found = [m for page in pages for system in page.geometry.systems for m in system.moments]
    assert found == list(range(len(exercise.moments)))
    assert all(page.geometry.height <= 400.5 for page in pages)


def test_the_same_exercise_gives_the_same_picture() -> None:
    first, second = (engrave(hymn(), 900, 700, space_px=8)[0].svg for _ in range(2))
    without = [re.sub(r'id="[a-z][0-9a-z]+"', "", svg) for svg in (first, second)]
    assert without[0] == without[1]


def test_every_system_but_the_first_tells_its_bar_in_brackets_where_it_begins_within_it() -> None:
    line = "g4 a4 b4 c5 b4 a4^ "
    exercise = piece(line * 4, "g3 f#3 g3 a3 g3 d3 " * 4, {})
    page = engrave(exercise, 360, None, space_px=8)[0]
    systems = page.geometry.systems
    assert len(systems) > 1
    firsts = [exercise.moments[system.moments[0]] for system in systems]
    told = [str(m.bar) if m.beat == 1 else f"({m.bar})" for m in firsts]
    assert any(m.beat != 1 for m in firsts[1:])
    drawn = dict(re.findall(r'translate\(\S+ (\S+)\)" d="([^"]+)"', page.svg))
    tops = [f"{system.treble - 1.9 * system.space:.2f}" for system in systems]
    assert [drawn.get(top) for top in tops] == [
        None,
        *(text(number, "italic", 1.75 * systems[0].space).path for number in told[1:]),
    ]


@pytest.mark.parametrize(
    ("mine", "pencilled"),
    [("b3", "bb3"), ("bb3", "b3"), ("c4", "bb3"), ("a3", "bb3"), ("f3", "e3")],
)
def test_a_note_in_pencil_covers_no_note_that_was_played(mine: str, pencilled: str) -> None:
    """Its head lay over the wrong one on its line, and the wrong one's sign before it was read as
    its own."""
    exercise = piece("g4:2 g4:2", "g2:2 g2:2", {}, key="F")
    geometry = engrave(exercise, 1200, None, space_px=10)[0].geometry
    wrong, right = Pitch.parse(mine), Pitch.parse(pencilled)
    column = write(exercise, geometry, 0, [VoiceNote("tenor", wrong, "mark")], tenor_above=False)
    added = write(
        exercise,
        geometry,
        0,
        [VoiceNote("tenor", right, "pencil")],
        tenor_above=False,
        before={0: column},
        beside=column,
    )
    (played,), (offered,) = column.notes, added.notes
    near = abs(wrong.height - right.height) < 2
    apart = abs(played.x - offered.x) >= 0.9 * played.width
    assert apart or not near
    signs = {sign.code: sign.x for sign in added.drawings if isinstance(sign, Sign)}
    flat, natural = 0xE260, 0xE261
    if wrong.height == right.height:  # the sign stands between the two heads
        sign = signs[flat if right.alter < 0 else natural]
        assert played.x + played.width <= sign < offered.x
