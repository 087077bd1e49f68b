"""`doctor`: what this machine offers for practice, and what to do about what it does not."""

from __future__ import annotations

import os
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from trainer.commands.printing import print_json

if TYPE_CHECKING:
    from trainer.checkup.finding import Finding

_MARKS = {"good": "ok", "without": "-", "wrong": "!", "fatal": "!!"}


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(ctx: click.Context, as_json: bool) -> None:
    """Look at Python, libraries, keyboards, sound, display, files, log: a line each, with a remedy.

    Marks: ok; - not there, and practice does without it; ! amiss, practice goes on; !! practice
    cannot begin, and the status is 1. Nothing is changed, and what hangs is not waited for longer
    than half a minute.
    """
    from trainer.checkup.examinations import EXAMINATIONS
    from trainer.checkup.finding import examined

    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    found = examined(EXAMINATIONS)
    able = all(one.state != "fatal" for one in found)
    if as_json:
        findings = [asdict(one) for one in found]
        print_json(
            {"format": "mittelstimme-doctor", "version": 1, "able": able, "findings": findings}
        )
    else:
        for one in found:
            print(_line(one))
        print("ready for practice" if able else "practice cannot begin: see the lines with !!")
    if not able:
        ctx.exit(1)


def _line(one: Finding) -> str:
    remedy = f"; {one.remedy}" if one.remedy else ""
    return f"{_MARKS[one.state]:2} {one.about}: {one.said}{remedy}"
