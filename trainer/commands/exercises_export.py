"""`exercises export`: an exercise, its solution or a take as MusicXML, MEI, Humdrum or MIDI."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from trainer.commands.exercises import in_key
from trainer.commands.log_option import log_option
from trainer.commands.printing import print_json
from trainer.commands.shelves import open_library
from trainer.errors import InputError
from trainer.score.exercise import Exercise, Realization


@click.command()
@click.argument("exercise", required=False)
@click.option(
    "-o",
    "--output",
    "outputs",
    multiple=True,
    required=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="File to write: .musicxml, .mxl, .mei, .krn or .mid. May be given several times.",
)
@click.option("--key", help="Transposed: a final such as G or Bb, or 'easier'.")
@click.option(
    "--solution",
    is_flag=True,
    help="With alto and tenor: the written solution, or the best realization where there is none.",
)
@click.option("--take", "take_id", metavar="TAKE", help="A take from the log, as it was played.")
@log_option
@click.option("--json", "as_json", is_flag=True, help="One object instead of lines.")
def command(
    exercise: str | None,
    outputs: tuple[Path, ...],
    key: str | None,
    solution: bool,
    take_id: str | None,
    location: str | None,
    as_json: bool,
) -> None:
    """Write EXERCISE (id, title or file) for other programs."""
    from trainer.score.interchange import export

    if (exercise is None) == (take_id is None):
        raise InputError("say what to export", remedy="an exercise, or --take and a take's id")
    if take_id is not None:
        found, solution = _played(take_id, location), True
    else:
        assert exercise is not None
        found = open_library().find(exercise)
    found = in_key(found, key)
    if solution and not (found.alto and found.tenor):
        found = _solved(found)
    for path in outputs:
        export(found, path, solution=solution)
    if as_json:
        print_json(
            {
                "format": "mittelstimme-written",
                "version": 1,
                "exercise": found.id,
                "key": str(found.key),
                "solution": solution,
                "files": [str(path) for path in outputs],
            }
        )
    else:
        for path in outputs:
            click.echo(f"{found.id} -> {path}")


def _solved(exercise: Exercise) -> Exercise:
    from trainer.score.interchange import with_realization
    from trainer.theory.realize import Solver

    solver = Solver(exercise.moments, struck_five_is_diminished=exercise.struck_five_is_diminished)
    return with_realization(exercise, Realization(solver.best(1)[0].voicings))


def _played(take_id: str, location: str | None) -> Exercise:
    """The exercise of a take with the voices that were heard; what was not played rests."""
    from trainer.commands.log_option import open_log
    from trainer.judging.passes import judge
    from trainer.score.interchange import with_realization
    from trainer.score.kern import parse_exercise
    from trainer.theory.voicing import Voicing

    with open_log(location) as journal:
        take = journal.take(take_id)
    exercise = parse_exercise(take.exercise, identity=take.exercise_id)
    heard = {found.index: found.voicing for found in judge(take).moments}
    silence = Voicing(None, None, None, None)
    voicings = tuple(heard.get(moment.index) or silence for moment in exercise.moments)
    bare = replace(exercise, alto=(), tenor=())
    return with_realization(bare, Realization(voicings))
