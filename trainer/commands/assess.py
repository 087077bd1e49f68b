"""`assess`: mark a complete four-part realization against its own figures."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from trainer.commands.log_option import log_option
from trainer.commands.printing import print_json
from trainer.judging.verdict import PassVerdict
from trainer.score.exercise import Exercise
from trainer.theory.fault import WEIGHTS, Fault
from trainer.theory.hands import HANDS, Hands
from trainer.theory.rules import SCHOOLS, School

_OUT: click.Path = click.Path(path_type=Path)
_TAKE = re.compile(r"[0-9a-f-]{4,36}")  # an id of the log, or its beginning


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE|FOLDER|TAKE")
@click.option(
    "--school",
    type=click.Choice(tuple(SCHOOLS)),
    default="strict",
    show_default=True,
    help="Which school's rules to mark by.",
)
@click.option(
    "--hands",
    type=click.Choice(HANDS),
    default="2+2",
    show_default=True,
    help="How the hands share the voices; 1+3 keeps the upper three within an octave.",
)
@click.option(
    "--given",
    type=click.Choice(["bass,melody", "bass", "none"]),
    default="bass",
    show_default=True,
    help="Voices that are not the writer's doing: faults between them alone are not marked.",
)
@click.option("--html", type=_OUT, help="The marked page; of a folder, a folder of pages.")
@click.option("--pdf", type=_OUT, help="The same on paper.")
@click.option("--musicxml", type=_OUT, help="The four voices with the marks as words.")
@log_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(
    ctx: click.Context,
    file: Path,
    school: School,
    hands: Hands,
    given: str,
    html: Path | None,
    pdf: Path | None,
    musicxml: Path | None,
    location: str | None,
    as_json: bool,
) -> None:
    """Mark FILE, a four-part realization with figures, note by note; a FOLDER of them; or a TAKE
    of the log, by its id, under the conditions it was played in.

    Exit status 1 says that gross faults were found.
    """
    from trainer.commands import marked_pages

    outputs = marked_pages.Outputs(html, pdf, musicxml)
    if file.is_dir():
        marked_pages.folder(ctx, file, school, hands, given, outputs, as_json)
        return
    if file.exists() or not _TAKE.fullmatch(str(file)):
        found = marked_pages.file(file, school, hands, given, outputs)
    else:
        found = marked_pages.take(str(file), location, outputs)
    exercise, verdict = found.exercise, found.verdict
    for remark in found.remarks:
        click.echo(f"note: {remark}", err=True)
    if as_json:
        print_json(plain(file, exercise, verdict))
    else:
        click.echo("\n".join(_lines(exercise, verdict)))
    if any(fault.weight == "gross" for fault in verdict.faults):
        ctx.exit(1)


def plain(file: Path, exercise: Exercise, verdict: PassVerdict) -> dict[str, Any]:
    """The report as one versioned object; pitches are left to the text."""
    moments = exercise.moments
    return {
        "version": 1,
        "file": str(file),
        "moments": [
            {
                "index": found.index,
                "bar": moments[found.index].bar,
                "beat": float(moments[found.index].beat),
                "figuring": str(moments[found.index].figuring),
                "verdict": found.outcome,
                "missing": list(found.missing),
                "foreign": list(found.foreign),
                "additions": list(found.additions),
            }
            for found in verdict.moments
        ],
        "faults": [_plain_fault(exercise, fault) for fault in verdict.faults],
        "summary": _summary(verdict),
    }


def _plain_fault(exercise: Exercise, fault: Fault) -> dict[str, Any]:
    bar, beat = exercise.place(
        exercise.moments[fault.moments[-1]].onset if fault.onset is None else fault.onset
    )
    return {
        "rule": fault.rule,
        "weight": fault.weight,
        "moments": list(fault.moments),
        "bar": bar,
        "beat": float(beat),
        "voices": list(fault.voices),
        "text": fault.text,
    }


def _summary(verdict: PassVerdict) -> dict[str, int]:
    weights = Counter(fault.weight for fault in verdict.faults)
    return {
        "moments": len(verdict.moments),
        "complete": sum(found.outcome == "complete" for found in verdict.moments),
        **{weight: weights[weight] for weight in WEIGHTS},
    }


def _lines(exercise: Exercise, verdict: PassVerdict) -> Sequence[str]:
    summary = _summary(verdict)
    remarks = f"{summary['remark']} remark{'' if summary['remark'] == 1 else 's'}"
    lines = [exercise.title or exercise.id] if exercise.title or exercise.id else []
    for weight in WEIGHTS:
        lines += [
            f"  {fault.weight:<7}{fault.text}" for fault in verdict.faults if fault.weight == weight
        ]
    lines.append(
        f"{summary['complete']} of {summary['moments']} chords complete; "
        f"{summary['gross']} gross, {summary['weak']} weak, {remarks}."
    )
    return lines
