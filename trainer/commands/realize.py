"""`realize`: the best realizations of an exercise, their number, the nearest to a take."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from trainer.commands.exercises import in_key
from trainer.commands.log_option import log_option
from trainer.commands.printing import print_json
from trainer.commands.shelves import open_library
from trainer.errors import ExerciseError, InputError, TrainerError
from trainer.judging.take import Conditions, Take
from trainer.score.exercise import Exercise, Realization
from trainer.theory.hands import HANDS, Hands
from trainer.theory.realize import Solution, Solver
from trainer.theory.rules import SCHOOLS, School
from trainer.theory.voicing import VOICES, Voicing

_MOST = 1000  # realizations asked for at once
_COLUMNS = 8  # moments to a line


@click.command()
@click.argument("exercise", required=False)
@click.option(
    "--best",
    type=click.IntRange(1, _MOST),
    default=1,
    show_default=True,
    metavar="N",
    help="How many realizations, the best first.",
)
@click.option("--count", "counted", is_flag=True, help="Also say how many there are in all.")
@click.option(
    "--from",
    "take_id",
    metavar="TAKE",
    help="The nearest legal realization to a take of the log; after its last chord, the best way "
    "on. The exercise, school and hands are the take's.",
)
@log_option
@click.option("--key", help="Transposed: a final such as G or Bb, or 'easier'.")
@click.option(
    "--school",
    type=click.Choice(tuple(SCHOOLS)),
    help="Which school's rules to keep.  [default: strict]",
)
@click.option(
    "--hands",
    type=click.Choice(HANDS),
    help="How the hands share the voices.  [default: 1+3]",
)
@click.option(
    "--keep",
    "kept",
    multiple=True,
    metavar="RULE",
    help="Keep this rule and only those named so; several times. Default: the gross ones.",
)
@click.option(
    "--midi",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the first one as a Standard MIDI File.",
)
@click.option(
    "--musicxml",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the first one as MusicXML.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(
    exercise: str | None,
    best: int,
    counted: bool,
    take_id: str | None,
    location: str | None,
    key: str | None,
    school: School | None,
    hands: Hands | None,
    kept: tuple[str, ...],
    midi: Path | None,
    musicxml: Path | None,
    as_json: bool,
) -> None:
    """Realize EXERCISE (id, title or file) in four parts."""
    take = None if take_id is None else _take(take_id, location, exercise, best, key)
    found, conditions = _asked(exercise, key, take)
    solver = Solver(
        found.moments,
        school=school or conditions.school,
        hands=hands or conditions.hands,
        rules=kept or None,
        struck_five_is_diminished=found.struck_five_is_diminished,
    )
    try:
        solutions = solver.best(best) if take is None else (solver.nearest(_heard(take)),)
    except TrainerError as error:
        raise error.at(file=found.source or found.id) from None
    written = with_middle(found, solutions[0])
    for path, suffix in ((midi, ".mid"), (musicxml, ".musicxml")):
        if path is not None:
            _write(written, path, suffix)
    if as_json:
        print_json(plain(found, solver, solutions))
    else:
        click.echo("\n".join(_lines(found, solver, solutions, counted)))


def plain(exercise: Exercise, solver: Solver, solutions: Sequence[Solution]) -> dict[str, Any]:
    """The report as one versioned object; a voice that rests is null."""
    return {
        "version": 1,
        "exercise": exercise.id,
        "key": str(exercise.key),
        "count": solver.count(),
        "moments": [
            {
                "index": moment.index,
                "bar": moment.bar,
                "beat": float(moment.beat),
                "figuring": str(moment.figuring),
            }
            for moment in exercise.moments
        ],
        "realizations": [
            {"cost": solution.cost, "voices": _voices(solution.voicings)} for solution in solutions
        ],
    }


def with_middle(exercise: Exercise, solution: Solution) -> Exercise:
    """The exercise with the solution as its written middle voices."""
    from dataclasses import replace

    from trainer.score.interchange import with_realization

    return with_realization(
        replace(exercise, alto=(), tenor=()), Realization(tuple(solution.voicings))
    )


def _take(
    take_id: str, location: str | None, exercise: str | None, best: int, key: str | None
) -> Take:
    from trainer.commands.log_option import open_log

    if best != 1 or key is not None:
        other = "--best" if best != 1 else "--key"
        raise InputError(
            f"{other} and --from do not go together: a take has one nearest realization, in the "
            "key it was played in",
            remedy="leave one of them out",
        )
    with open_log(location) as journal:
        take = journal.take(take_id)
    if exercise is not None and open_library().find(exercise).id != take.exercise_id:
        raise InputError(
            f"take {take_id} is of {take.exercise_id}, not of {exercise}",
            remedy="leave the exercise out, or name another take",
        )
    return take


def _asked(exercise: str | None, key: str | None, take: Take | None) -> tuple[Exercise, Conditions]:
    if take is not None:
        from trainer.score.kern import parse_exercise

        played = parse_exercise(take.exercise, file=take.exercise_id, identity=take.exercise_id)
        return played, take.conditions
    if exercise is None:
        raise InputError("say what to realize", remedy="an exercise, or --from and a take's id")
    return in_key(open_library().find(exercise), key), Conditions()


def _heard(take: Take) -> dict[int, Sequence[int]]:
    """The keys under the fingers at each moment, with what the program played of the given."""
    from trainer.judging.passes import judge

    return {found.index: found.keys for found in judge(take).moments if found.keys}


def _write(exercise: Exercise, path: Path, suffix: str) -> None:
    from trainer.score.interchange import export

    if path.suffix.lower() != suffix:
        raise ExerciseError(
            f"{path.suffix or 'no suffix'} is not the suffix of such a file",
            file=path,
            remedy=f"name it {path.stem}{suffix}",
        )
    export(exercise, path, solution=True)


def _voices(voicings: Sequence[Voicing]) -> dict[str, list[str | None]]:
    return {
        voice: [None if (pitch := voicing[voice]) is None else str(pitch) for voicing in voicings]
        for voice in VOICES
    }


def _lines(
    exercise: Exercise, solver: Solver, solutions: Sequence[Solution], counted: bool
) -> list[str]:
    lines = [f"{exercise.title or exercise.id}, {exercise.key.in_words}"]
    if counted:
        number = solver.count()
        lines.append(f"{number:,} legal realizations" if number != 1 else "1 legal realization")
    for number, solution in enumerate(solutions, 1):
        lines.append("")
        head = f"{number}. " if len(solutions) > 1 else ""
        lines.append(f"{head}cost {solution.cost}")
        lines += _staves(exercise, solution)
    return lines


def _staves(exercise: Exercise, solution: Solution) -> list[str]:
    """Notes voice by voice under their bars, the figures below the bass."""
    lines = []
    voices = _voices(solution.voicings)
    for start in range(0, len(exercise.moments), _COLUMNS):
        moments = exercise.moments[start : start + _COLUMNS]
        rows = {"bar": [f"{moment.bar}.{float(moment.beat):g}" for moment in moments]}
        for voice in VOICES:
            notes = voices[voice][start : start + _COLUMNS]
            rows[voice] = ["-" if note is None else note for note in notes]
        rows["figures"] = [str(moment.figuring) if moment.figured else "" for moment in moments]
        widths = [max(map(len, column)) + 2 for column in zip(*rows.values(), strict=True)]
        if start:
            lines.append("")
        for name, cells in rows.items():
            line = "".join(c.ljust(w) for c, w in zip(cells, widths, strict=True))
            lines.append(f"  {name:<9}{line}".rstrip())
    return lines
