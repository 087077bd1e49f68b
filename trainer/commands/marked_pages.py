"""The marked pages of `assess`: of a written piece, of a take, of a folder of homework."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from trainer.commands.printing import print_json, say_lacking
from trainer.errors import InputError, TrainerError
from trainer.judging.verdict import PassVerdict
from trainer.score.exercise import Exercise
from trainer.theory.hands import Hands
from trainer.theory.rules import School

if TYPE_CHECKING:
    from trainer.judging.assessment import Assessed
    from trainer.review.sheet import Sheet

_SCORES = {".krn", ".musicxml", ".xml", ".mxl", ".mei"}


@dataclass(frozen=True, slots=True)
class Outputs:
    """Where pages are wanted; None where they are not."""

    html: Path | None = None
    pdf: Path | None = None
    musicxml: Path | None = None

    def __bool__(self) -> bool:
        return any((self.html, self.pdf, self.musicxml))


def file(path: Path, school: School, hands: Hands, given: str, outputs: Outputs) -> Assessed:
    """Mark a written realization and write the pages that are asked for.

    Raises ExerciseError and FigureError for the file, InputError for what cannot be written.
    """
    from trainer.judging.assessment import assess

    found = assess(path, school, hands, given)
    if outputs:
        from trainer.review.sheet import written_sheet

        sheet = written_sheet("piece", found.exercise, found.verdict)
        under = f"{found.exercise.key.in_words}, {found.exercise.metre}; {path.name}"
        _write(sheet, under, found.exercise, found.verdict, outputs)
    return found


def take(id: str, location: str | None, outputs: Outputs) -> Assessed:
    """Mark a take of the log again and write the pages that are asked for.

    Raises LogError, ExerciseError, InputError.
    """
    from trainer.commands.log_option import open_log
    from trainer.judging.assessment import Assessed
    from trainer.judging.passes import judge
    from trainer.review.marking import written_out
    from trainer.review.sheet import take_sheet
    from trainer.score.kern import parse_exercise

    with open_log(location) as journal:
        summary, played = journal.summary(id), journal.take(id)
        verdict = judge(played) if played.events else journal.verdict(id)
    if verdict is None:
        raise InputError(f"take {id} has neither its playing nor marks in this log")
    identity = played.exercise_id
    exercise = parse_exercise(played.exercise, file=identity, identity=identity)
    if outputs:
        sheet = take_sheet("take", played, exercise, verdict)
        tempo = "without a clock" if summary.tempo is None else f"{summary.tempo:g} beats a minute"
        under = f"{exercise.key.in_words}, {tempo}; played {summary.started:%Y-%m-%d %H:%M}"
        _write(sheet, under, written_out(exercise, verdict), verdict, outputs)
    return Assessed(exercise, verdict)


def _write(
    sheet: Sheet, under: str, exercise: Exercise, verdict: PassVerdict, outputs: Outputs
) -> None:
    from trainer.review.html import write_page, write_whole
    from trainer.review.marked_paper import marked_pdf
    from trainer.review.marking import marked_html, marked_musicxml

    if outputs.html is not None:
        write_page(outputs.html, marked_html(sheet, under, datetime.now().astimezone()))
    if outputs.pdf is not None:
        write_whole(outputs.pdf, marked_pdf(sheet, under))
        say_lacking(f"{sheet.title} {under}", outputs.pdf.name)
    if outputs.musicxml is not None:
        write_page(outputs.musicxml, marked_musicxml(exercise, sheet.comments))


# ---- a folder of homework -------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Marked:
    """One file of a folder: its figures, or why it could not be marked."""

    file: Path
    title: str
    counts: dict[str, int]
    trouble: str = ""


def folder(
    ctx: click.Context,
    where: Path,
    school: School,
    hands: Hands,
    given: str,
    outputs: Outputs,
    as_json: bool,
) -> None:
    """Mark every score in a folder: a table, and a page each in the folders asked for.

    Status 1 if there are gross faults or files that cannot be marked. Raises InputError.
    """
    files = sorted(f for f in where.iterdir() if f.suffix.lower() in _SCORES)
    if not files:
        kinds = ", ".join(sorted(_SCORES))
        raise InputError(f"there is no score in {where}", remedy=f"put files in it: {kinds}")
    for wanted in (outputs.html, outputs.pdf, outputs.musicxml):
        if wanted is not None:
            _make(wanted)
    found = [_one(one, school, hands, given, outputs) for one in files]
    if outputs.html is not None:
        _index(where, found, outputs.html)
    if as_json:
        plain = [_plain(one) for one in found]
        print_json({"format": "mittelstimme-homework", "version": 1, "files": plain})
    else:
        Console().print(_table([one for one in found if not one.trouble]))
        for one in found:
            if one.trouble:
                print(one.trouble)
    if any(one.trouble or one.counts["gross"] for one in found):
        ctx.exit(1)


def _make(wanted: Path) -> None:
    try:
        wanted.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{wanted} cannot be made ({error.strerror})", remedy="name another folder"
        ) from None


def _one(path: Path, school: School, hands: Hands, given: str, outputs: Outputs) -> _Marked:
    places = Outputs(
        _place(outputs.html, path, ".html"),
        _place(outputs.pdf, path, ".pdf"),
        _place(outputs.musicxml, path, ".musicxml"),
    )
    try:
        found = file(path, school, hands, given, places)
    except InputError:
        raise
    except TrainerError as error:
        return _Marked(path, path.stem, {}, str(error))
    counts = Counter(fault.weight for fault in found.verdict.faults)
    harmony = found.verdict.harmony
    figures = {"complete": harmony.complete, "chords": harmony.judged}
    figures |= {weight: counts[weight] for weight in ("gross", "weak", "remark")}
    return _Marked(path, found.exercise.title or path.stem, figures)


def _place(wanted: Path | None, file: Path, suffix: str) -> Path | None:
    return None if wanted is None else wanted / f"{file.name}{suffix}"


def _plain(one: _Marked) -> dict[str, Any]:
    head = {"file": str(one.file), "title": one.title}
    return {**head, "trouble": one.trouble} if one.trouble else {**head, **one.counts}


def _table(found: list[_Marked]) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("file")
    for name in ("complete", "chords", "gross", "weak", "remarks"):
        table.add_column(name, justify="right")
    for one in found:
        table.add_row(Text(one.file.name), *(str(value) for value in one.counts.values()))
    return table


def _index(where: Path, found: list[_Marked], target: Path) -> None:
    from trainer.review.html import render, write_page

    rows = [
        {
            "href": f"{one.file.name}.html",
            "name": one.file.name,
            "title": one.title,
            "counts": one.counts,
            "trouble": one.trouble,
        }
        for one in found
    ]
    made = datetime.now().astimezone()
    text = render("homework.html", (), made, where=where.resolve().name, rows=rows)
    write_page(target / "index.html", text)
