"""`exercises generate`: new pieces to read at sight."""

from __future__ import annotations

import re
import secrets
from pathlib import Path

import click

from trainer.commands.printing import print_json
from trainer.commands.shelves import ProgressBar
from trainer.composing.generate import generate
from trainer.errors import ExerciseError, InputError
from trainer.score.difficulty import difficulty
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.theory.key import Key
from trainer.theory.moment import Metre

_LARGEST_SEED = 1_000_000


@click.command()
@click.option("--step", required=True, type=int, help="Step of the course, 4 to 24.")
@click.option("--key", help="G, g, d dorian; by chance among the step's keys if not given.")
@click.option("--metre", help="4/4, 3/4 or 2/2; by chance if not given.")
@click.option("--bars", default=8, show_default=True, help="Length in bars, 2 to 64.")
@click.option(
    "--seed", type=int, help="The same seed gives the same piece; by chance if not given."
)
@click.option("--count", default=1, show_default=True, help="How many, with the seeds that follow.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for the files; else one piece is printed.",
)
@click.option("--json", "as_json", is_flag=True, help="One object that says what was made.")
def command(
    step: int,
    key: str | None,
    metre: str | None,
    bars: int,
    seed: int | None,
    count: int,
    out: Path | None,
    as_json: bool,
) -> None:
    """Make new pieces to read at sight: melody and figured bass at a step of the course.

    With --out each is a native file in that folder; a file that is there is not overwritten.
    """
    if count < 1:
        raise InputError(f"{count} pieces cannot be made", remedy="use --count 1 or more")
    if count > 1 and out is None:
        raise InputError("several pieces need a place", remedy="name a folder with --out")
    first = secrets.randbelow(_LARGEST_SEED) if seed is None else seed
    wanted = None if key is None else Key.parse(key)
    measure = None if metre is None else _metre(metre)
    made: list[tuple[Exercise, Path | None]] = []
    with ProgressBar("generating") as bar:
        for number in range(count):
            piece = generate(step, seed=first + number, key=wanted, metre=measure, bars=bars)
            made.append((piece, None if out is None else _kept(piece, out)))
            bar(number + 1, count)
    if as_json:
        print_json(
            {
                "version": 1,
                "exercises": [
                    {
                        "id": piece.id,
                        "title": piece.title,
                        "step": piece.level,
                        "key": str(piece.key),
                        "metre": str(piece.metre),
                        "bars": bars,
                        "seed": first + number,
                        "difficulty": round(difficulty(piece).value, 1),
                        "file": None if path is None else str(path),
                    }
                    for number, (piece, path) in enumerate(made)
                ],
            }
        )
    elif out is None:
        click.echo(write_exercise(made[0][0]), nl=False)
    else:
        for piece, path in made:
            click.echo(f"{path}: {piece.title}")


def _metre(text: str) -> Metre:
    match = re.fullmatch(r"([1-9]\d?)/([1-9]\d?)", text)
    if match is None:
        raise InputError(f"{text!r} is not a metre", remedy="write one like 3/4")
    return Metre(int(match[1]), int(match[2]))


def _kept(piece: Exercise, folder: Path) -> Path:
    path = folder / f"{piece.id}.krn"
    if folder.exists() and not folder.is_dir():
        raise ExerciseError("this is a file, not a folder", file=folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(write_exercise(piece))
    except FileExistsError as error:
        raise ExerciseError(
            "the file is there already", file=path, remedy="use another seed"
        ) from error
    except OSError as error:
        raise ExerciseError(f"cannot be written: {error.strerror}", file=path) from error
    return path
