"""A printed book of exercises: title page, contents, music with an empty middle, solutions, index.

The music is engraved system by system, so that pages break between systems; typst sets the text and
makes the PDF. What the book contains is a value, `Workbook`; how it looks is `workbook.typ`.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from trainer.engraving.blank_staff import with_blank_staff
from trainer.engraving.mei import Middle
from trainer.engraving.page import engrave_systems
from trainer.errors import ExerciseError, TrainerError
from trainer.resources import assets_folder
from trainer.score.exercise import Exercise
from trainer.score.interchange.exporting import write_whole

Paper = Literal["a4", "letter"]

# text width in millimetres: the sheet less 20 mm on either side
WIDTHS: dict[Paper, float] = {"a4": 210 - 40, "letter": 215.9 - 40}
_TYPST_PAPER: dict[Paper, str] = {"a4": "a4", "letter": "us-letter"}
_SPACE = 1.75  # millimetres between two staff lines, as in a hymn book
_SPACE_OF_SOLUTIONS = 1.5
_FINE = 40.0  # pixels between two staff lines while engraving: rounding to pixels vanishes in print


@dataclass(frozen=True, slots=True)
class Item:
    """An exercise of the book, and the same with its middle voices written in for the appendix.

    `own` says that these are the author's, not found by the rules. Without `solution` the
    exercise has none and its commentary is left out.
    """

    exercise: Exercise
    solution: Exercise | None = None
    own: bool = False


@dataclass(frozen=True, slots=True)
class Workbook:
    """`blank_staff` leaves an empty staff above each system to write on."""

    title: str
    items: tuple[Item, ...]
    subtitle: str = ""
    paper: Paper = "a4"
    blank_staff: bool = False


def save_workbook(
    book: Workbook, path: Path, progress: Callable[[int, int], None] = lambda at, of: None
) -> int:
    """Write the PDF; the number of its pages.

    `progress(at, of)` is told of each exercise engraved. Raises ExerciseError where the book is
    empty or the file cannot be written.
    """
    if not book.items:
        raise ExerciseError("a workbook of no exercises", remedy="choose at least one")
    import typst

    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        contents = _contents(book, work, progress)
        (work / "book.json").write_text(json.dumps(contents), encoding="utf-8")
        source = work / "workbook.typ"
        source.write_text(
            Path(__file__).with_suffix(".typ").read_text(encoding="utf-8"), encoding="utf-8"
        )
        fonts = [str(assets_folder() / "fonts")]
        pdf = typst.compile(
            str(source), root=folder, font_paths=fonts, ignore_system_fonts=True, format="pdf"
        )
        pages = json.loads(
            typst.query(
                str(source),
                "<last-page>",
                root=folder,
                field="value",
                one=True,
                font_paths=fonts,
                ignore_system_fonts=True,
            )
        )
    assert isinstance(pdf, bytes)
    write_whole(path, pdf)
    return int(pages)


def _contents(book: Workbook, folder: Path, progress: Callable[[int, int], None]) -> dict[str, Any]:
    width = WIDTHS[book.paper]
    exercises = []
    for number, item in enumerate(book.items, 1):
        progress(number, len(book.items))
        exercise = item.exercise
        try:
            systems = list(_systems(folder, f"{number}", exercise, width, _SPACE, None, book))
            solved = []
            if item.solution is not None:
                name, space = f"solution-{number}", _SPACE_OF_SOLUTIONS
                solved = list(_systems(folder, name, item.solution, width, space, "suggested"))
        except TrainerError as error:
            raise error.at(file=exercise.source or exercise.id) from None
        exercises.append(
            {
                "number": number,
                "title": exercise.title or exercise.id,
                "key": "" if exercise.title.endswith(str(exercise.key)) else key_name(exercise),
                "facts": facts(exercise),
                "systems": systems,
                "solution": solved,
                "own": item.own,
                "commentary": list(exercise.remarks) if item.solution is not None else [],
            }
        )
    return {
        "title": book.title,
        "subtitle": book.subtitle,
        "paper": _TYPST_PAPER[book.paper],
        "width": width,
        "blank-staff": book.blank_staff,
        "exercises": exercises,
        "tunes": tunes(book),
    }


def key_name(exercise: Exercise) -> str:
    """`B♭ major`, `f♯ minor`."""
    final, _, mode = str(exercise.key).partition(" ")
    return f"{final[0]}{final[1:].replace('b', '♭').replace('#', '♯')} {mode}"


def facts(exercise: Exercise) -> str:
    """Key, place in the course, tempo: what stands under a title."""
    found = [key_name(exercise)]
    found += [f"step {exercise.level}"] if exercise.level else []
    found += [f"{exercise.tempo:g} beats a minute"]
    return " · ".join(found)


def tunes(book: Workbook) -> list[dict[str, Any]]:
    """The tunes by name with the numbers of their settings, in alphabetical order."""
    numbers: dict[str, list[int]] = {}
    for number, item in enumerate(book.items, 1):
        if item.exercise.tune:
            numbers.setdefault(item.exercise.tune, []).append(number)
    ordered = sorted(numbers.items(), key=lambda tune: tune[0].casefold())
    return [{"name": name, "numbers": found} for name, found in ordered]


def _systems(
    folder: Path,
    name: str,
    exercise: Exercise,
    width: float,
    space: float,
    middle: Middle,
    book: Workbook | None = None,
) -> Iterator[str]:
    pages = engrave_systems(exercise, width / space * _FINE, space_px=_FINE, middle=middle)
    for index, page in enumerate(pages):
        svg = page.svg
        if book is not None and book.blank_staff:
            svg = with_blank_staff(page, exercise)
        file = folder / f"{name}-{index}.svg"
        file.write_text(svg, encoding="utf-8")
        yield file.name
