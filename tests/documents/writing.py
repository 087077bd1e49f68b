"""Writes the reference of commands and of reports: `python -m tests.documents.writing`.

What stands in `assets/reference/commands.md` and `reports.md` is what the program itself prints;
`test_reference.py` runs the same commands and compares.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from trainer.journal.copies import keep_copy

ROOT = Path(__file__).parents[2]
REFERENCE = ROOT / "assets" / "reference"
SHOWN = 2  # elements of a list that are shown; a line says how many more there are


@dataclass(frozen=True)
class Report:
    """One command that prints an object, and what is said about it. `before` are commands that
    make what it reports of."""

    command: str
    words: str = ""
    before: tuple[str, ...] = ()


PASS = "--input demo --view none --quick"
REPORTS = (
    Report(
        f"practice evening-lamp --to 1 {PASS} --slip wrong@2 --json",
        "`outcome` is complete, incomplete, foreign, wrong-bass, wrong-melody or not-played; `missing`, "
        "`foreign` and `additions` are intervals over the bass as figures; `instead` is a voicing that "
        "avoids the fault, bass first.",
    ),
    Report(
        "review --json",
        "`events` name their kind: `down` (a key, with velocity), `up`, `pedal`, `onward`; `manual` "
        "beside a key says what its keyboard was told to play, where that was not everything; times "
        "are seconds of the recording machine's own clock. `low` and `high` are Wilson's score interval "
        "at 95 %.",
        (f"practice cadence-simple@G {PASS}",),
    ),
    Report("review --class --json", "The CSV has the same figures, a line a player."),
    Report(
        "drill --plan-only --minutes 3 --json",
        "`key` is null where the exercise is played as it is written; `tempo` is the rung at which the "
        "plan begins, null for an untimed question; `passes` counts those played since the plan was "
        "begun; `next` is the exercise that comes next, null when done. After playing there are `takes` "
        "as in `practice`.",
    ),
    Report("rules --json", "`weight` is null where the school does not mind the rule."),
    Report("exercises list evening --level 11 --json"),
    Report("exercises show triads-common-tones --json", "`text` is the native file."),
    Report(
        "exercises check evening-rain --json",
        "Weights gross, weak, remark; subjects figures, outer voices, bass, voicing, compass, solution, "
        "metadata, file.",
    ),
    Report(
        "exercises export evening-bells --key D --solution -o bells.musicxml -o bells.mid --json"
    ),
    Report(
        "exercises import bells.musicxml --into imported --json",
        "A file that failed has `error` instead of what was taken.",
    ),
    Report(
        "exercises similar bellows --json",
        "`likeness` is 0 to 1: twice the longest common subsequence of the outlines over the sum of "
        "their lengths.",
    ),
    Report("exercises generate --step 9 --key G --metre 4/4 --bars 8 --seed 7 --out new --json"),
    Report(
        "realize evening-rain --json",
        "`count` is of all legal realizations, an integer of any size; a voice that rests is null; `c4` "
        "is middle C.",
    ),
    Report(
        "assess homework/bells.musicxml --json",
        "A fault's `bar` and `beat` say where it is heard, an ornament included; `moments` which moments "
        "it concerns.",
        ("exercises export evening-bells --solution -o homework/bells.musicxml",),
    ),
    Report("assess homework --html marked --json"),
    Report("log export me.bundle --json"),
    Report("log merge me.bundle --json"),
    Report(
        "log verify --json",
        "`troubles` are what was found, each with take, what and remedy; `left` what is still there after "
        "`--repair`; `kept` where the old log is; `known` takes were as an earlier check had found them; "
        "`judged` takes have lost marks made anew, `unmarked` could not be judged.",
    ),
    Report(
        "log remark --json", "`left` are takes that could not be judged, each with take and why."
    ),
    Report(
        "log restore --json", "`restored` is the copy put back, `kept` where the log as it was is."
    ),
    Report("log assignment week.toml --json"),
    Report(
        "doctor --json",
        "`state` is good, without (practice does without it), wrong (practice goes on) or fatal "
        "(`able` is false then, and the status 1).",
    ),
    Report("settings --json", "Also after `settings set` and `settings player`."),
    Report("keyboard list --json", "Without a keyboard `ports` is empty."),
)

ASSIGNMENT = """title = "Second week of Lent"
until = 2099-03-20

[[piece]]
exercise = "bellows"     # an id of the library
keys = ["G", "D"]        # left out: in any key
tempo = 56               # beats a minute

[[piece]]
exercise = "falling-fifths"
tempo = 60
"""


def reported(folder: Path) -> Iterator[tuple[Report, Any]]:
    """Every report with the object it prints, made in an empty folder."""
    home = folder / "home"
    (folder / "homework").mkdir()
    (folder / "week.toml").write_text(ASSIGNMENT, encoding="utf-8")
    _run(["settings", "set", "first_run_seen", "on"], folder, home)
    for report in REPORTS:
        for command in report.before:
            _run(command.split(), folder, home)
        if report.command.startswith("log restore"):  # no program before it may have had the time
            keep_copy(home / "log.sqlite", date.today(), threading.Event())
        yield report, json.loads(_run(report.command.split(), folder, home))


def _run(words: list[str], folder: Path, home: Path) -> str:
    environment = {**os.environ, "MITTELSTIMME_HOME": str(home), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-m", "trainer", *words],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        stdin=subprocess.DEVNULL,
    )
    if done.returncode not in (0, 1):
        raise AssertionError(f"{' '.join(words)}: {done.stderr}")
    return done.stdout


def shortened(value: Any) -> Any:
    """With long lists cut."""
    if isinstance(value, dict):
        return {key: shortened(inner) for key, inner in value.items()}
    if isinstance(value, list):
        shown = [shortened(inner) for inner in value[:SHOWN]]
        numbers = all(isinstance(inner, int | float) for inner in value)
        if numbers and len(value) <= 12:
            return value
        more = len(value) - SHOWN
        return [*shown, f"… {more} more"] if more > 0 else shown
    return value


def agrees(sample: Any, real: Any) -> bool:
    """Whether a shortened sample has the shape of a real object: the same names, the same kinds."""
    if isinstance(sample, dict) and isinstance(real, dict):
        return sample.keys() == real.keys() and all(agrees(sample[k], real[k]) for k in sample)
    if isinstance(sample, list) and isinstance(real, list):
        shown = [one for one in sample if not (isinstance(one, str) and one.startswith("… "))]
        return bool(shown) == bool(real) and all(
            any(agrees(one, other) for other in real) for one in shown
        )
    if sample is None or real is None:
        return not isinstance(sample, dict | list) and not isinstance(real, dict | list)
    number = int | float
    if isinstance(sample, number) and isinstance(real, number):
        return isinstance(sample, bool) == isinstance(real, bool)
    return type(sample) is type(real)


def reports_text(objects: Iterator[tuple[Report, Any]]) -> str:
    """The page of reports."""
    parts = [
        "# Reports as JSON\n\n"
        "Written by `python -m tests.documents.writing`: every object below was printed by the "
        "program, long lists cut. Every command that reports something prints one such object under "
        "`--json`. Exit status: 0 done; 1 done, and the answer is no; 2 bad input, with one line on "
        "stderr that says what and where.\n"
    ]
    for report, value in objects:
        text = json.dumps(shortened(value), indent=1, ensure_ascii=False)
        words = f"{report.words}\n\n" if report.words else ""
        parts.append(f"## `{report.command}`\n\n{words}```json\n{text}\n```\n")
    return "\n".join(parts)


def commands_text() -> str:
    """The page of commands, each as its own `--help` says it."""
    from trainer.commands import cli

    parts = [
        "# Commands\n\nWritten by `python -m tests.documents.writing` from the program's own `--help`.\n"
    ]
    context = click.Context(cli, info_name="mittelstimme", max_content_width=96, terminal_width=96)
    parts += _helps(cli, context)
    return "\n".join(parts)


def _helps(command: click.Command, context: click.Context) -> Iterator[str]:
    yield f"## {context.command_path}\n\n```\n{command.get_help(context).rstrip()}\n```\n"
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            inner = command.get_command(context, name)
            assert inner is not None
            yield from _helps(inner, click.Context(inner, info_name=name, parent=context))


def main() -> None:
    REFERENCE.mkdir(exist_ok=True)
    (REFERENCE / "commands.md").write_text(commands_text(), encoding="utf-8")
    with TemporaryDirectory() as folder:
        text = reports_text(reported(Path(folder)))
    (REFERENCE / "reports.md").write_text(
        text.replace(folder, "…").replace(str(ROOT), "…"), encoding="utf-8"
    )


if __name__ == "__main__":
    main()
