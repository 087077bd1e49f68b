"""The printing press: lines, pages, music. What it prints is read back by programs of others."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import resvg_py
from hypothesis import example, given
from hypothesis import strategies as st

from tests.engraving.test_workbook import read_gray
from trainer.engraving.blank_staff import with_blank_staff
from trainer.engraving.page import engrave_systems
from trainer.engraving.press.binding import bound
from trainer.engraving.press.faces import lacking
from trainer.engraving.press.music import picture
from trainer.engraving.press.paths import path
from trainer.engraving.press.setting import Words, lines
from trainer.engraving.press.sheets import (
    Block,
    Music,
    Page,
    Place,
    Section,
    Sheet,
    Text,
    paged,
    pages_of,
    paragraph,
    stacked,
)
from trainer.score.library import Library

needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None, reason="poppler reads the printed pages back"
)
PAPER = Sheet(300.0, 400.0, 20.0, 30.0, 50.0)
words = st.text("abc fi♭ \n-", max_size=200).filter(str.strip)


@example("aa", "aaaaa----------------------ff aaa-----------", 99.0)  # wider together than apart
@given(words, words, st.floats(40, 300))
def test_no_word_is_lost_and_no_line_too_long(first: str, second: str, measure: float) -> None:
    runs = [Words(first), Words(second, 14, "italic")]
    for justified in (False, True):
        found = lines(runs, measure, justified=justified)
        set_words = "".join("".join(run.text for run in line.runs) for line in found)
        assert set_words.split() or not (first + second).split()
        assert "".join(set_words.split()) == "".join((first + second).split())
        assert all(line.width <= measure + 0.01 for line in found)


def test_justified_lines_are_as_wide_as_the_measure_but_for_the_last() -> None:
    text = "A tied note is prepared, struck again by the bass beneath it, and resolved. " * 4
    found = lines([Words(text)], 200, justified=True)
    assert len(found) > 4
    assert [line.width for line in found[:-1]] == pytest.approx([200] * (len(found) - 1))
    assert found[-1].width < 200


def test_a_word_wider_than_the_line_is_broken() -> None:
    found = lines([Words("figured" * 20)], 100)
    assert len(found) > 5 and all(line.width <= 100 for line in found)


def test_what_stays_together_goes_to_the_next_page_whole() -> None:
    """The page has room for 320 points."""

    def block(height: float, name: str) -> Block:
        return Block(height, (Place(0, name),), above=10, below=20)

    fits = [block(150, "a"), block(150, "b")]  # and the 20 between them: 320
    assert pages_of(paged([Section(tuple(fits))], PAPER)) == {"a": 1, "b": 1}
    over = [block(150, "a"), block(150.1, "b")]
    assert pages_of(paged([Section(tuple(over))], PAPER)) == {"a": 1, "b": 2}
    together = stacked([block(50, "b"), block(80, "c")])
    found = paged([Section((block(200, "a"), together, block(10, "d")))], PAPER)
    assert pages_of(found) == {"a": 1, "b": 2, "c": 2, "d": 2}
    second = [mark.y for mark in found[1].marks if isinstance(mark, Place)]
    assert second == [30, 30 + 50 + 20, 30 + 50 + 20 + 80 + 20]


def test_the_second_column_is_filled_before_the_next_page() -> None:
    rows = [Block(100, (Text(0, 10, lines([Words(str(n))], 50)[0]),)) for n in range(8)]
    found = paged([Section(tuple(rows), columns=2, gutter=20)], PAPER)
    assert [
        [(mark.x, mark.y) for mark in page.marks if isinstance(mark, Text)] for page in found
    ] == [
        [(20, 40), (20, 140), (20, 240), (160, 40), (160, 140), (160, 240)],
        [(20, 40), (20, 140)],
    ]


@needs_poppler
def test_words_can_be_found_and_copied_from_the_paper(tmp_path: Path) -> None:
    said = "Affligé, fifths & “octaves” – f♯ minor, B♭ major · Höh (p. 3)"
    text = paragraph([Words(said), Words(" in italics", face="italic")], 250)
    (page,) = paged([Section((text,))], PAPER)
    (tmp_path / "page.pdf").write_bytes(bound([page], PAPER, "Über alles (\\)"))
    read = subprocess.run(
        ["pdftotext", tmp_path / "page.pdf", "-"], capture_output=True, text=True, check=True
    )
    assert " ".join(read.stdout.split()) == f"{said} in italics"
    assert read.stderr == ""


@needs_poppler
@pytest.mark.parametrize("id", ["evening-rain", "bellows", "seven-flats"])
def test_the_music_on_paper_is_the_engraved_picture(tmp_path: Path, id: str) -> None:
    """Two drawing programs that share nothing: resvg draws the engraver's SVG, poppler the PDF."""
    exercise = Library().find(id)
    system = engrave_systems(exercise, 1200, space_px=10, middle="suggested")[0]
    svg = with_blank_staff(system, exercise)
    music = picture(svg)
    paper = Sheet(music.width, music.height, 0, 0, 0)
    pdf = bound([Page((Music(0, 0, music.width, music),))], paper, "system")
    (tmp_path / "system.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-gray", "-r", "72", "-singlefile", tmp_path / "system.pdf", tmp_path / "pdf"],
        check=True,
    )
    drawn = bytes(resvg_py.svg_to_bytes(svg_string=svg, background="white"))
    (tmp_path / "svg.png").write_bytes(drawn)
    ours, theirs = read_gray(tmp_path / "pdf.pgm") / 255, png_gray(drawn)
    high, wide = (min(a, b) for a, b in zip(ours.shape, theirs.shape, strict=True))
    ours, theirs = ours[:high, :wide], theirs[:high, :wide]
    # both put thin lines on pixels in their own way; averaged over a staff space they are the same
    assert np.abs(coarse(ours) - coarse(theirs)).max() < 0.2
    # as much ink: all stems together are four parts in a hundred of it
    assert np.mean(1 - ours) == pytest.approx(np.mean(1 - theirs), rel=0.015)


def png_gray(data: bytes) -> np.ndarray:
    import io

    import pygame

    surface = pygame.image.load(io.BytesIO(data), "svg.png")
    return pygame.surfarray.array3d(surface).mean(axis=2).T / 255


def coarse(picture: np.ndarray, by: int = 10) -> np.ndarray:
    high, wide = (n // by * by for n in picture.shape)
    return picture[:high, :wide].reshape(high // by, by, wide // by, by).mean(axis=(1, 3))


@pytest.mark.parametrize(
    ("data", "drawn"),
    [
        ("M1 2L3 4Z", "1 2 m 3 4 l h"),
        ("M1 2 3 4 5 6", "1 2 m 3 4 l 5 6 l"),  # pairs after the first are lines (SVG 8.3.2)
        ("m1 2 3 4z", "1 2 m 4 6 l h"),
        ("M1 2h3v4H0V0", "1 2 m 4 2 l 4 6 l 0 6 l 0 0 l"),
        ("M0 0Q3 3 6 0", "0 0 m 2 2 4 2 6 0 c"),  # a quadratic curve raised to a cubic one
        ("M0 0C1 1 2 1 3 0S5 -1 6 0", "0 0 m 1 1 2 1 3 0 c 4 -1 5 -1 6 0 c"),  # mirrored handle
        ("M0 0S5 -1 6 0", "0 0 m 0 0 5 -1 6 0 c"),  # nothing to mirror
        ("M0 0Q3 3 6 0T12 0", "0 0 m 2 2 4 2 6 0 c 8 -2 10 -2 12 0 c"),
        ("M-.5.25l1e1-2", "-0.5 0.25 m 9.5 -1.75 l"),
    ],
)
def test_paths_are_walked_as_the_standard_says(data: str, drawn: str) -> None:
    assert path(data).replace("\n", " ") == drawn


@pytest.mark.parametrize(
    "svg",
    [
        '<text x="1">a</text>',
        '<path d="M0 0A1 1 0 0 0 2 2"/>',
        '<g transform="rotate(3)"><path d="M0 0L1 1"/></g>',
        '<path d="M0 0L1 1" fill="red"/>',
    ],
)
def test_a_drawing_that_the_press_does_not_know_is_refused(svg: str) -> None:
    with pytest.raises(ValueError, match=r"^an? (drawing|path|ink) "):
        picture(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{svg}</svg>')


def test_letters_that_no_face_has_are_told() -> None:
    assert lacking("Höh, f♯ – Ω и 音音 漢\n") == "音漢"
