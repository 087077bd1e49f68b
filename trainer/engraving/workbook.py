"""A printed book of exercises: title page, contents, music with an empty middle, solutions, index.

The music is engraved system by system, so that pages break between systems. What the book contains
is a value, `Workbook`; how it looks is in `workbook_pages`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from trainer.engraving.blank_staff import with_blank_staff
from trainer.engraving.mei import Middle
from trainer.engraving.page import engrave_systems
from trainer.engraving.press import MM
from trainer.engraving.press.binding import bound
from trainer.engraving.press.music import Picture, picture
from trainer.engraving.press.sheets import Sheet
from trainer.engraving.workbook_pages import Entry, Tune, pages
from trainer.errors import ExerciseError, TrainerError
from trainer.score.exercise import Exercise
from trainer.score.interchange.exporting import write_whole

Paper = Literal["a4", "letter"]

SHEETS: dict[Paper, Sheet] = {
    "a4": Sheet(210 * MM, 297 * MM, 20 * MM, 18 * MM, 20 * MM),
    "letter": Sheet(8.5 * 72, 11 * 72, 20 * MM, 18 * MM, 20 * MM),
}
_SPACE = 1.75 * MM  # between two staff lines, as in a hymn book
_SPACE_OF_SOLUTIONS = 1.5 * MM
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

    def words(self) -> str:
        """All that is printed of what people wrote, one thing after another."""
        found = [self.title, self.subtitle]
        for item in self.items:
            found += [item.exercise.title, item.exercise.tune]
            found += item.exercise.remarks if item.solution is not None else ()
        return " ".join(found)


def save_workbook(
    book: Workbook, path: Path, progress: Callable[[int, int], None] = lambda at, of: None
) -> int:
    """Write the PDF; the number of its pages.

    `progress(at, of)` is told of each exercise engraved. Raises ExerciseError where the book is
    empty or the file cannot be written.
    """
    if not book.items:
        raise ExerciseError("a workbook of no exercises", remedy="choose at least one")
    entries = []
    for number, item in enumerate(book.items, 1):
        progress(number, len(book.items))
        try:
            entries.append(_entry(number, item, book))
        except TrainerError as error:
            raise error.at(file=item.exercise.source or item.exercise.id) from None
    sheet = SHEETS[book.paper]
    # a page holds two systems and their empty staves, else three
    undivided = 2 if book.blank_staff else 3
    printed = pages(book.title, book.subtitle, entries, tunes(book), sheet, undivided)
    write_whole(path, bound(printed, sheet, book.title))
    return len(printed)


def _entry(number: int, item: Item, book: Workbook) -> Entry:
    exercise = item.exercise
    measure = SHEETS[book.paper].measure
    systems = _systems(exercise, measure, _SPACE, None, blank_staff=book.blank_staff)
    solved: tuple[Picture, ...] = ()
    if item.solution is not None:
        solved = _systems(item.solution, measure, _SPACE_OF_SOLUTIONS, "suggested")
    return Entry(
        number,
        exercise.title or exercise.id,
        "" if exercise.title.endswith(exercise.key.in_words) else exercise.key.in_words,
        facts(exercise),
        systems,
        solved,
        item.own,
        tuple(exercise.remarks) if item.solution is not None else (),
    )


def facts(exercise: Exercise) -> str:
    """Key, place in the course, tempo: what stands under a title."""
    found = [exercise.key.in_words]
    found += [f"step {exercise.level}"] if exercise.level else []
    found += [f"{exercise.tempo:g} beats a minute"]
    return " · ".join(found)


def tunes(book: Workbook) -> tuple[Tune, ...]:
    """The tunes by name with the numbers of their settings, in alphabetical order."""
    numbers: dict[str, list[int]] = {}
    for number, item in enumerate(book.items, 1):
        if item.exercise.tune:
            numbers.setdefault(item.exercise.tune, []).append(number)
    ordered = sorted(numbers.items(), key=lambda tune: tune[0].casefold())
    return tuple(Tune(name, tuple(found)) for name, found in ordered)


def _systems(
    exercise: Exercise, measure: float, space: float, middle: Middle, *, blank_staff: bool = False
) -> tuple[Picture, ...]:
    engraved = engrave_systems(exercise, measure / space * _FINE, space_px=_FINE, middle=middle)
    drawn = (with_blank_staff(page, exercise) if blank_staff else page.svg for page in engraved)
    return tuple(picture(svg) for svg in drawn)
