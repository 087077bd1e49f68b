"""`exercises check`: is a piece fit to be practised? One line for each place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import click

from trainer.commands.exercises import in_key
from trainer.commands.printing import print_json
from trainer.commands.shelves import ProgressBar, open_library
from trainer.errors import ExerciseError, TrainerError
from trainer.score.check import Remark, check
from trainer.score.library import Library


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
    wanted = list(exercises)
    if everything:
        wanted += [item.path for item in library.entries() if item.path.endswith(".krn")]
    checked = _checked(library, _named(wanted), key)
    if quiet:
        checked = [
            replace(one, found=tuple(r for r in one.found if r.weight != "remark"))
            for one in checked
        ]
    sums = Counter(remark.weight for one in checked for remark in one.found)
    if as_json:
        print_json(
            {
                "format": "mittelstimme-check",
                "version": 1,
                "checked": len(checked),
                "gross": sums["gross"],
                "weak": sums["weak"],
                "remark": sums["remark"],
                "exercises": [
                    {"id": one.id, "found": [asdict(remark) for remark in one.found]}
                    for one in checked
                ],
            }
        )
    else:
        for one in checked:
            for remark in one.found:
                click.echo(f"{one.id}: {remark}")
        told = f"{sums['gross']} gross, {sums['weak']} weak, {sums['remark']} remarks"
        click.echo(f"{len(checked)} checked: {told}")
    if sums["gross"]:
        ctx.exit(1)


@dataclass(frozen=True, slots=True)
class _Checked:
    id: str
    found: tuple[Remark, ...]


def _named(wanted: Sequence[str]) -> list[str]:
    """The exercises named, each folder as those in it."""
    if not wanted:
        raise ExerciseError("say what to check", remedy="name exercises or folders, or use --all")
    names = [inner for name in wanted for inner in _inside(name)]
    if not names:
        raise ExerciseError(
            f"there is no exercise in {', '.join(wanted)}", remedy="they end in .krn"
        )
    return names


def _checked(library: Library, names: Sequence[str], key: str | None) -> list[_Checked]:
    """Each in turn; of several one that cannot be read is a finding, not the end."""
    results = []
    with ProgressBar("checking") as bar:
        for number, name in enumerate(names, 1):
            identity = Path(name).stem
            try:
                exercise = in_key(library.find(name), key)
                identity = exercise.id
                found = check(exercise)
            except TrainerError as error:
                if len(names) == 1:
                    raise
                found = (Remark("gross", "file", str(error)),)
            results.append(_Checked(identity, found))
            bar(number, len(names))
    return results


def _inside(name: str) -> list[str]:
    path = Path(name)
    return sorted(map(str, path.rglob("*.krn"))) if path.is_dir() else [name]
