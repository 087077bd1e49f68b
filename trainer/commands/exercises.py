"""`exercises`: the library, and the teacher's tools to make, check, print and exchange."""

from __future__ import annotations

import importlib
import re
from dataclasses import asdict

import click

from trainer.commands.groups import Group
from trainer.commands.printing import print_json
from trainer.commands.shelves import open_library
from trainer.errors import FigureError, InputError, NoVoicingError
from trainer.score.exercise import Exercise, note_at
from trainer.score.index import Entry, entry
from trainer.score.kern import write_exercise

# subcommand -> module that holds it as `command`, loaded when it is called
_ELSEWHERE: dict[str, str] = {
    "check": "exercises_check",
    "import": "exercises_import",
    "export": "exercises_export",
    "generate": "exercises_generate",
    "print": "exercises_print",
}


class _Group(Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*super().list_commands(ctx), *_ELSEWHERE]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name in _ELSEWHERE:
            command = importlib.import_module(f"trainer.commands.{_ELSEWHERE[cmd_name]}").command
            assert isinstance(command, click.Command)
            return command
        return super().get_command(ctx, cmd_name)


@click.group(cls=_Group)
def command() -> None:
    """The library: find, look at, check, transpose, import, export and print exercises."""


@command.command("list")
@click.argument("words", nargs=-1)
@click.option(
    "--figuring", help="Where it occurs, signs left out: '6 5', or one after another: '4, 3'."
)
@click.option("--sequence", help="A sequence of the bass, such as 'falling 7 6', or a part of it.")
@click.option("--cadence", help="A cadence at a phrase's end, such as 'half' or '6 4'.")
@click.option("--key", help="G, g, d dorian; drills run in every key.")
@click.option("--metre", help="3/4")
@click.option("--level", help="A step of the course, or the first and last: 3-8.")
@click.option("--tune", help="The name of the tune, or a part of it.")
@click.option("--tag", help="One tag.")
@click.option("--json", "as_json", is_flag=True, help="One object instead of a table.")
def list_(
    words: tuple[str, ...],
    figuring: str | None,
    sequence: str | None,
    cadence: str | None,
    key: str | None,
    metre: str | None,
    level: str | None,
    tune: str | None,
    tag: str | None,
    as_json: bool,
) -> None:
    """Exercises and drills with all WORDS in title, tune, tags or id, in course order."""
    if metre is not None and not re.fullmatch(r"\d+/\d+", metre):
        raise InputError(f"{metre!r} is not a metre", remedy="write one like 3/4")
    library = open_library()
    found = library.search(
        " ".join(words),
        figuring=figuring,
        sequence=sequence,
        cadence=cadence,
        key=key,
        metre=metre,
        level=None if level is None else levels(level),
        tune=tune,
        tag=tag,
    )
    ordered = sorted(found, key=lambda item: (item.level or 99, item.id))
    broken = [item.error for item in library.entries() if item.error]
    if as_json:
        print_json(
            {
                "format": "mittelstimme-exercises",
                "version": 1,
                "exercises": [described(item) for item in ordered],
                "unreadable": broken,
            }
        )
        return
    _print_table(ordered)
    for error in broken:
        click.echo(error, err=True)


@command.command()
@click.argument("exercise")
@click.option("--key", help="Transposed: a final such as G or Bb, or 'easier'.")
@click.option("--text", "as_text", is_flag=True, help="The native file itself.")
@click.option("--json", "as_json", is_flag=True, help="One object instead of a table.")
def show(exercise: str, key: str | None, as_text: bool, as_json: bool) -> None:
    """Show EXERCISE (id, title or file) moment by moment."""
    found = in_key(open_library().find(exercise), key)
    if as_text:
        click.echo(write_exercise(found), nl=False)
    elif as_json:
        print_json(
            {
                "format": "mittelstimme-exercise",
                "version": 1,
                "exercise": described(entry(found, found.source)),
                "difficulty": _measured(found),
                "moments": [
                    {
                        "bar": moment.bar,
                        "beat": float(moment.beat),
                        "bass": None if moment.bass is None else str(moment.bass),
                        "figuring": str(moment.figuring),
                        "melody": None if moment.melody is None else str(moment.melody),
                        "fermata": moment.fermata,
                    }
                    for moment in found.moments
                ],
                "commentary": list(found.remarks),
                "text": write_exercise(found),
            }
        )
    else:
        _print_exercise(found)


@command.command()
@click.argument("exercise")
@click.option("--least", default=0.8, show_default=True, help="Likeness, 0 to 1, at which to stop.")
@click.option("--json", "as_json", is_flag=True, help="One object instead of a table.")
def similar(exercise: str, least: float, as_json: bool) -> None:
    """Other settings of the melody of EXERCISE, in whatever key and metre."""
    from trainer.score.similar import similar_to

    library = open_library()
    found = library.find(exercise)
    matches = [
        match
        for match in similar_to(entry(found, found.source), library.entries(), least)
        if match.entry.path != found.source
    ]
    if as_json:
        print_json(
            {
                "format": "mittelstimme-similar",
                "version": 1,
                "exercise": found.id,
                "similar": [
                    {"likeness": round(match.likeness, 3), **described(match.entry)}
                    for match in matches
                ],
            }
        )
        return
    if not matches:
        click.echo(f"no other setting of the melody of {found.id}")
    for match in matches:
        item = match.entry
        click.echo(
            f"{match.likeness:5.0%}  {item.id:<32} {item.key:<10} {item.metre:<5} {item.title}"
        )


def in_key(exercise: Exercise, key: str | None) -> Exercise:
    """The exercise as it is (None), in the key of that name, or in an `easier` one."""
    from trainer.score.transpose import easier, transposed

    if key is None:
        return exercise
    return easier(exercise) if key == "easier" else transposed(exercise, key)


def described(item: Entry) -> dict[str, object]:
    """An entry as the commands report it in JSON."""
    return {
        "id": item.id,
        "title": item.title,
        "tune": item.tune,
        "key": item.key,
        "metre": item.metre,
        "level": item.level,
        "tempo": item.tempo,
        "moments": item.moments,
        "voices": item.voices,
        "tags": list(item.tags),
        "figurings": list(item.figurings),
        "sequences": list(item.sequences),
        "cadences": list(item.cadences),
        "path": item.path,
    }


def levels(text: str) -> tuple[int, int]:
    """The first and last step of the course that `5` or `3-8` names; raises InputError."""
    match = re.fullmatch(r"(\d{1,2})(?:-(\d{1,2}))?", text.strip())
    if match is None:
        raise InputError(f"{text!r} is not a level", remedy="write one like 5 or 3-8")
    first, last = int(match[1]), int(match[2] or match[1])
    if not 1 <= first <= last <= 24:
        raise InputError(f"there are no levels {text}", remedy="they go from 1 to 24, as in 3-8")
    return first, last


def _measured(exercise: Exercise) -> dict[str, float] | None:
    """Difficulty and its six parts; None for what cannot be realized, as `check` will say."""
    from trainer.score.difficulty import difficulty  # brings the solver, which `list` needs not

    try:
        measured = difficulty(exercise)
    except (FigureError, NoVoicingError):
        return None
    parts = {name: round(value, 2) for name, value in asdict(measured).items()}
    return {"value": round(measured.value, 1), **parts}


def _print_table(entries: list[Entry]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for column in ("step", "id", "title", "key", "metre", "figurings"):
        right = "right" if column == "step" else "left"
        table.add_column(column, justify=right, no_wrap=column in ("id", "key"))  # type: ignore[arg-type]
    for item in entries:
        figurings = " · ".join(f for f in item.figurings if f != "-" and "," not in f) or "5 3"
        level = str(item.level) if item.level else ""
        table.add_row(level, item.id, item.title, item.key, item.metre, figurings)
    console = Console()
    console.print(table)
    console.print(f"{len(entries)} exercises")


def _print_exercise(exercise: Exercise) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    console = Console()
    facts = [str(exercise.key), str(exercise.metre), f"tempo {exercise.tempo:g}"]
    facts += [f"step {exercise.level}"] if exercise.level else []
    facts += [f"tune {exercise.tune}"] if exercise.tune else []
    console.print(f"[bold]{exercise.title or exercise.id}[/bold] ({exercise.id})", highlight=False)
    measured = _measured(exercise)
    facts += [f"difficulty {measured['value']:g}"] if measured else []
    console.print(", ".join([*facts, *exercise.tags]), highlight=False)
    voices = [name for name in ("melody", "alto", "tenor") if getattr(exercise, name)]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for column in ("bar", "beat", *voices, "bass", "figures"):
        table.add_column(column, justify="right" if column in ("bar", "beat") else "left")
    for moment in exercise.moments:
        notes = [note_at(getattr(exercise, name), moment.onset) for name in (*voices, "bass")]
        names = ["" if n is None or n.pitch is None else str(n.pitch) for n in notes]
        figures = str(moment.figuring) if moment.figured else ""
        fermata = " 𝄐" if moment.fermata else ""
        table.add_row(str(moment.bar), f"{float(moment.beat):g}", *names, figures + fermata)
    console.print(table)
    for paragraph in exercise.remarks:
        console.print(paragraph, highlight=False)
