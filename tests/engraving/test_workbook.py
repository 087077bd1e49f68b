"""The printed workbook, looked at through pdftotext and pdftoppm."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from lxml import etree
from numpy.typing import NDArray
from pypdf import PdfReader

from tests.judging.lessons import lesson
from trainer.commands import main
from trainer.engraving.blank_staff import with_blank_staff
from trainer.engraving.page import engrave_systems
from trainer.engraving.workbook import Item, Workbook, save_workbook, tunes
from trainer.engraving.workbook_pages import Tune
from trainer.errors import ExerciseError
from trainer.score.exercise import Exercise
from trainer.score.library import Library

needs_poppler = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="pdftotext reads the printed pages back"
)
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def settings() -> list[Exercise]:
    library = Library()
    return [library.find("evening-rain"), library.find("four-three-cadence")]


def pages(path: Path) -> list[str]:
    text = subprocess.run(
        ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
    ).stdout
    return text.split("\f")[:-1]


def sheet(path: Path) -> str:
    text = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    found = re.search(r"Page size:\s*(.*)", text)
    assert found is not None
    return found[1]


def read_gray(path: Path) -> NDArray[np.uint8]:
    """A picture in the plain format of pdftoppm: a head of three words, then bytes."""
    data = path.read_bytes()
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", data)
    assert head is not None
    return np.frombuffer(data[head.end() :], np.uint8).reshape(int(head[2]), int(head[1]))


def printed(tmp_path: Path, *arguments: str) -> tuple[int, Path]:
    path = tmp_path / "book.pdf"
    with pytest.raises(SystemExit) as end:
        main(["exercises", "print", *arguments, "-o", str(path)])
    return int(end.value.code or 0), path


@needs_poppler
def test_the_book_has_title_contents_exercises_solutions_and_tunes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, path = printed(
        tmp_path,
        "evening-rain",
        "four-three-cadence",
        "--subtitle",
        "for the evening class",
        "--json",
    )
    report = json.loads(capsys.readouterr().out)
    assert status == 0 and [e["number"] for e in report["exercises"]] == [1, 2]
    found = pages(path)
    assert len(found) == report["pages"]
    assert "Exercises in Thoroughbass" in found[0] and "for the evening class" in found[0]
    assert "physician" in found[0]
    assert "Contents" in found[1] and "Solutions" in found[1]
    titles = [e["title"] for e in report["exercises"]]
    assert all(title in found[1] for title in titles)
    assert all(any(title in page for page in found[2:]) for title in titles)


@needs_poppler
def test_every_page_reference_is_right(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, path = printed(tmp_path, "--level", "9-10")
    assert status == 0, capsys.readouterr().err
    book = pages(path)
    checked = 0
    for number, page in enumerate(book, 1):
        for here, what, there in re.findall(
            r"^\s*(\d+)\.\s[^\n]*\n(?:[^\n]*\n)?[^\n]*?(solution|exercise) on page (\d+)",
            page,
            re.M,
        ):
            target = book[int(there) - 1]
            other = "exercise" if what == "solution" else "solution"
            assert re.search(rf"^\s*{here}\.\s", target, re.M)
            if number != int(there):
                assert f"{other} on page {number}" in target
            checked += 1
    assert checked > 8


@needs_poppler
@pytest.mark.parametrize(
    ("paper", "size"), [("a4", "595.276 x 841.89 pts (A4)"), ("letter", "612 x 792 pts (letter)")]
)
def test_the_paper_is_a4_or_letter(
    tmp_path: Path, paper: str, size: str, settings: list[Exercise]
) -> None:
    path = tmp_path / "book.pdf"
    book = Workbook("Sheets", (Item(settings[0]),), paper=paper)  # type: ignore[arg-type]
    assert save_workbook(book, path) == len(pages(path)) == 3
    assert sheet(path) == size


@needs_poppler
def test_an_exercise_is_printed_in_each_of_the_keys_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, path = printed(
        tmp_path, "evening-rain", "--key", "g", "--key", "c", "--no-solutions", "--json"
    )
    report = json.loads(capsys.readouterr().out)
    assert status == 0
    assert [e["key"] for e in report["exercises"]] == ["g minor", "c minor"]
    assert [e["solution"] for e in report["exercises"]] == [None, None]
    text = "".join(pages(path))
    assert "g minor" in text and "c minor" in text and "Solutions" not in text


def test_a_blank_staff_stands_clear_above_the_system(settings: list[Exercise]) -> None:
    page = engrave_systems(settings[0], 3000, space_px=40.0)[0]
    root = etree.fromstring(with_blank_staff(page, settings[0]).encode())
    (blank,) = [g for g in root.iter(f"{SVG}g") if g.get("class") == "blank"]
    lines = [p.get("d") for p in blank if re.fullmatch(r"M[\d.]+ -?[\d.]+H[\d.]+", p.get("d"))]
    assert len(lines) == 5
    lowest = max(float(re.findall(r" (-?[\d.]+)H", line)[0]) for line in lines)
    system = page.geometry.systems[0]
    assert lowest <= min(system.top, system.treble) - 4 * system.space
    _, top, _, height = map(float, root.get("viewBox").split())
    assert top <= lowest - 5 * system.space and height > page.geometry.height


def test_the_middle_of_an_exercise_is_empty(settings: list[Exercise]) -> None:
    for page in engrave_systems(settings[0], 3000, space_px=40.0):
        assert {name.split("-")[0] for name in page.geometry.notes} == {"melody", "bass"}


def test_tunes_are_indexed_with_all_their_settings(settings: list[Exercise]) -> None:
    items = [Item(replace(settings[0], tune=t)) for t in ("Bells", "anchor", "Bells", "")]
    assert tunes(Workbook("x", tuple(items))) == (Tune("anchor", (2,)), Tune("Bells", (1, 3)))


def test_an_empty_book_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ExerciseError, match="no exercises"):
        save_workbook(Workbook("Nothing", ()), tmp_path / "book.pdf")


@needs_poppler
def test_signs_of_any_typesetting_language_are_only_words(tmp_path: Path) -> None:
    title = r"#panic() $x$ *b* @y \(z) 100% <i>"
    exercise = replace(lesson("C", "c3 g2 c3", "", "e4 d4 e4"), title=title)
    path = tmp_path / "book.pdf"
    solved = replace(exercise, commentary=('#import "x": y',))
    assert save_workbook(Workbook("#a[b]", (Item(exercise, solved),)), path) >= 3
    assert f"1. {title}" in " ".join(" ".join(pages(path)).split())


@needs_poppler
def test_the_book_is_set_in_the_shipped_faces_and_in_nothing_else(
    tmp_path: Path, settings: list[Exercise]
) -> None:
    path = tmp_path / "book.pdf"
    flat = replace(settings[0], title="A title with B♭")
    save_workbook(Workbook("Sheets", (Item(flat, flat, own=True),)), path)
    told = subprocess.run(["pdffonts", path], capture_output=True, text=True, check=True)
    rows = told.stdout.splitlines()[2:]
    names = {row.split()[0].split("+")[1] for row in rows}
    assert names == {"EBGaramond12-Regular", "EBGaramond12-Italic", "MittelstimmeSigns"}
    assert all(re.search(r"yes yes yes", row) for row in rows)  # embedded, cut down, searchable
    assert told.stderr == ""


def test_links_and_outline_lead_where_they_say(tmp_path: Path, settings: list[Exercise]) -> None:
    """Read by pypdf, which knows nothing of how the book was made."""
    path = tmp_path / "book.pdf"
    items = tuple(Item(replace(one, tune="Rain"), one, own=True) for one in settings)
    save_workbook(Workbook("Sheets", items), path)
    book = PdfReader(path, strict=True)
    assert book.metadata is not None and book.metadata.title == "Sheets"
    text = [page.extract_text() for page in book.pages]
    number = {page.indirect_reference.idnum: n for n, page in enumerate(book.pages)}
    followed = 0
    for page in book.pages:
        for one in page.get("/Annots", []):
            link = one.get_object()
            target = text[number[link["/Dest"][0].idnum]]
            box = [float(n) for n in link["/Rect"]]
            assert box[0] < box[2] and box[1] < box[3] and 0 < box[1] < page.mediabox.height
            heads = ("Solutions", "Index of tunes", *(one.title for one in settings))
            assert any(head in target for head in heads)
            followed += 1
    assert followed >= 4 * len(items)
    outline = book.outline
    titles = [one.title for one in outline if not isinstance(one, list)]
    assert titles == ["Contents", "Exercises", "Solutions", "Index of tunes"]
    below = [[str(one.title) for one in part] for part in outline if isinstance(part, list)]
    named = [f"{n}.  {one.title}" for n, one in enumerate(settings, 1)]
    assert below == [named, named]
    for part in (one for one in outline if isinstance(one, list)):
        for entry in part:
            page = text[book.get_destination_page_number(entry)]
            assert str(entry.title).split("  ")[1] in page


def test_the_same_book_is_the_same_file(tmp_path: Path, settings: list[Exercise]) -> None:
    for name in ("a.pdf", "b.pdf"):
        save_workbook(Workbook("Sheets", (Item(settings[0]),)), tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@needs_poppler
def test_a_piece_of_few_systems_is_not_divided_and_nothing_leaves_the_paper(
    tmp_path: Path, settings: list[Exercise]
) -> None:
    """Ink is looked for on the pages themselves: none in the margins but the page's number."""
    path = tmp_path / "book.pdf"
    items = tuple(Item(one, one, own=True) for one in settings * 3)
    save_workbook(Workbook("Sheets", items, blank_staff=True), path)
    subprocess.run(["pdftoppm", "-gray", "-r", "36", path, tmp_path / "page"], check=True)
    for picture in sorted(tmp_path.glob("page-*.pgm")):
        ink = read_gray(picture) < 128
        side, head, foot = (round(mm / 25.4 * 36) - 2 for mm in (20, 18, 8))
        assert not ink[:, :side].any() and not ink[:, -side:].any()
        assert not ink[:head].any() and not ink[-foot:].any()


@needs_poppler
def test_letters_that_no_shipped_face_has_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, _ = printed(tmp_path, "evening-rain", "--no-solutions", "--title", "音 Übung 音")
    error = capsys.readouterr().err
    assert status == 0
    assert error == "book.pdf: the shipped faces lack 音; an empty box stands for each\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "nothing to print was chosen"),
        (("no-such-tune",), "there is no exercise 'no-such-tune'"),
        (("--tag", "no-such-tag"), "no exercise fits what was asked"),
        (("--level", "many"), "'many' is not a level"),
    ],
)
def test_what_cannot_be_printed_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], said: str
) -> None:
    status, path = printed(tmp_path, *arguments)
    error = capsys.readouterr().err
    assert status == 2 and said in error and error.count("\n") == 1
    assert not path.exists()


def test_a_piece_nobody_can_realize_is_printed_without_a_solution(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from trainer.score.kern import write_exercise

    stuck = tmp_path / "stuck.krn"
    stuck.write_text(write_exercise(lesson("C", "c3 d3", ",4", "c4 a4")), encoding="utf-8")
    status, path = printed(tmp_path, str(stuck), "--json")
    captured = capsys.readouterr()
    assert status == 0 and path.exists()
    assert json.loads(captured.out)["exercises"][0]["solution"] is None
    assert "without a solution" in captured.err and "unprepared-suspension" in captured.err
