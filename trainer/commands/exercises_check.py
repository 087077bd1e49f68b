"""`exercises check`: is a piece fit to be practised? One line for each place."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from pathlib import Path

import click

from trainer.commands.exercises import in_key
from trainer.commands.printing import print_json
from trainer.commands.shelves import ProgressBar, open_library
from trainer.errors import ExerciseError, TrainerError
from trainer.score.check import Remark, check
from trainer.score.exercise import Exercise


@click.command()
@click.argument("exercises", nargs=-1)
@click.option("--all", "everything", is_flag=True, help="Every piece of the library.")
@click.option("--key", help="Checked in another key: a final such as G or Bb, or 'easier'.")
@click.option("--quiet", is_flag=True, help="Leave out remarks; tell gross and weak only.")
@click.option("--json", "as_json", is_flag=True, help="One object instead of lines.")
@click.pass_context
def command(
    ctx: click.Context,
    exercises: tuple[str, ...],
    everything: bool,
    key: str | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Check EXERCISES (ids, titles, files, folders): figures, outer voices, hands, metadata.

    Exit status 1 says that something gross was found.
    """
    library = open_library()
    names = list(exercises)
    if everything:
        names += [item.path for item in library.entries() if item.path.endswith(".krn")]
    if not names:
        raise ExerciseError("say what to check", remedy="name exercises or folders, or use --all")
    asked = names
    names = [inner for name in names for inner in _inside(name)]
    if not names:
        raise ExerciseError(
            f"there is no exercise in {', '.join(asked)}", remedy="they end in .krn"
        )
    results: list[tuple[str, str, tuple[Remark, ...]]] = []
    with ProgressBar("checking") as bar:
        for number, name in enumerate(names, 1):
            exercise: Exercise | None = None
            try:
                exercise = in_key(library.find(name), key)
                found = check(exercise)
            except TrainerError as error:
                if len(names) == 1:
                    raise
                found = (Remark("gross", "file", str(error)),)
            shown = tuple(one for one in found if not (quiet and one.weight == "remark"))
            results.append((exercise.id if exercise else Path(name).stem, name, shown))
            bar(number, len(names))
    sums = Counter(one.weight for *_, found in results for one in found)
    if as_json:
        print_json(
            {
                "format": "mittelstimme-check",
                "version": 1,
                "checked": len(results),
                "gross": sums["gross"],
                "weak": sums["weak"],
                "remark": sums["remark"],
                "exercises": [
                    {"id": identity, "found": [asdict(one) for one in found]}
                    for identity, _, found in results
                ],
            }
        )
    else:
        for identity, _, found in results:
            for one in found:
                click.echo(f"{identity}: {one}")
        told = f"{sums['gross']} gross, {sums['weak']} weak, {sums['remark']} remarks"
        click.echo(f"{len(results)} checked: {told}")
    if sums["gross"]:
        ctx.exit(1)


def _inside(name: str) -> list[str]:
    path = Path(name)
    return sorted(map(str, path.rglob("*.krn"))) if path.is_dir() else [name]
