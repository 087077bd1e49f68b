"""`exercises print`: a workbook as PDF, exercises with an empty middle, their solutions apart."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trainer.commands.exercises import in_key, levels
from trainer.commands.printing import print_json, say_lacking
from trainer.commands.shelves import ProgressBar, open_library
from trainer.errors import InputError, NoVoicingError

if TYPE_CHECKING:
    from trainer.engraving.workbook import Item, Paper, Workbook
    from trainer.score.exercise import Exercise
    from trainer.score.library import Library


@click.command()
@click.argument("exercises", nargs=-1)
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="The PDF to write.",
)
@click.option("--all", "everything", is_flag=True, help="The whole library.")
@click.option("--level", help="A step of the course, or the first and last: 3-8.")
@click.option("--figuring", help="Those in which it occurs, signs left out: '6 5', or '4, 3'.")
@click.option("--tune", help="Settings of this tune.")
@click.option("--tag", help="Those with this tag.")
@click.option(
    "--key",
    "keys",
    multiple=True,
    help="In this key (G, g, Bb, or 'easier'); several times: in each of them. Default: its own.",
)
@click.option("--title", default="Exercises in Thoroughbass", show_default=True)
@click.option("--subtitle", default="", help="A line under the title, such as the class.")
@click.option("--solutions/--no-solutions", default=True, show_default=True)
@click.option("--blank-staff", is_flag=True, help="An empty staff above each system to write on.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
@click.option("--json", "as_json", is_flag=True, help="One object instead of a line.")
def command(
    exercises: tuple[str, ...],
    output: Path,
    everything: bool,
    level: str | None,
    figuring: str | None,
    tune: str | None,
    tag: str | None,
    keys: tuple[str, ...],
    title: str,
    subtitle: str,
    solutions: bool,
    blank_staff: bool,
    paper: Paper,
    as_json: bool,
) -> None:
    """Print EXERCISES (ids, titles or files), or those chosen by the options, in course order.

    A solution that is not written in the exercise is the best one the solver finds.
    """
    from trainer.engraving.workbook import Workbook, save_workbook

    if output.suffix.lower() != ".pdf":
        raise InputError(
            f"{output.name} is not the name of a PDF", remedy=f"name it {output.stem}.pdf"
        )
    library = open_library()
    wanted = list(exercises)
    filters = {"figuring": figuring, "tune": tune, "tag": tag}
    chosen = {name: value for name, value in filters.items() if value is not None}
    if everything or chosen or level is not None:
        bounds = None if level is None else levels(level)
        found = library.search("", level=bounds, **chosen)
        wanted += [entry.id for entry in sorted(found, key=lambda e: (e.level or 99, e.id))]
    if not wanted:
        raise InputError(
            "nothing to print was chosen"
            if not (everything or chosen or level is not None)
            else "no exercise fits what was asked",
            remedy="name exercises, or choose with --level, --figuring, --tune, --tag or --all",
        )
    printed = [
        exercise for name in dict.fromkeys(wanted) for exercise in _in_keys(library, name, keys)
    ]
    items = tuple(item(exercise, solutions) for exercise in printed)
    book = Workbook(title, items, subtitle, paper, blank_staff)
    with ProgressBar("engraving") as bar:
        pages = save_workbook(book, output, bar)
    say_lacking(book.words(), output.name)
    if as_json:
        print_json(described(book, output, pages))
    else:
        count = "1 exercise" if len(items) == 1 else f"{len(items)} exercises"
        click.echo(f"{count} on {pages} pages -> {output}")


def item(exercise: Exercise, solutions: bool) -> Item:
    """The exercise as the book has it; one that cannot be realized is printed without a solution
    and said to be so."""
    from trainer.engraving.workbook import Item
    from trainer.score.exercise import Realization
    from trainer.score.interchange import with_realization
    from trainer.theory.realize import Solver

    if not solutions:
        return Item(exercise)
    if exercise.alto and exercise.tenor:
        return Item(exercise, exercise, own=True)
    try:
        solver = Solver(
            exercise.moments, struck_five_is_diminished=exercise.struck_five_is_diminished
        )
        voicings = solver.best(1)[0].voicings
    except NoVoicingError as error:
        click.echo(f"without a solution: {error.at(file=exercise.source or exercise.id)}", err=True)
        return Item(exercise)
    return Item(exercise, with_realization(exercise, Realization(voicings)))


def described(book: Workbook, path: Path, pages: int) -> dict[str, object]:
    """The report as one versioned object."""
    return {
        "version": 1,
        "file": str(path),
        "pages": pages,
        "paper": book.paper,
        "exercises": [
            {
                "number": number,
                "id": one.exercise.id,
                "title": one.exercise.title,
                "key": str(one.exercise.key),
                "solution": None if one.solution is None else "written" if one.own else "found",
            }
            for number, one in enumerate(book.items, 1)
        ],
    }


def _in_keys(library: Library, name: str, keys: tuple[str, ...]) -> Iterator[Exercise]:
    """The exercise in each of the keys; a drill in scale degrees is written out in them."""
    if not keys:
        yield library.find(name)
        return
    for key in keys:
        if name in library.patterns and key != "easier":
            yield library.find(f"{name}@{key}")
        else:
            yield in_key(library.find(name), key)
