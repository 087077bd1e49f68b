"""`drill`: today's plan, shown and played."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trainer.commands.log_option import log_option
from trainer.commands.manuals_option import chosen_manuals, manuals_option
from trainer.errors import InputError

if TYPE_CHECKING:
    from trainer.conducting.setup import Setup
    from trainer.conducting.sources import Source
    from trainer.conducting.todays_drill import Drill
    from trainer.conducting.way_out import WayOut
    from trainer.listening.assigning import Assignment
    from trainer.practice.material import Material
    from trainer.practice.past import Past
    from trainer.practice.result import PassResult
    from trainer.score.library import Library
    from trainer.settings import Settings

PARTS = ("warm-up", "due", "weak", "step", "ladder", "sight")


@click.command()
@click.option(
    "--minutes",
    type=click.FloatRange(1, 180),
    metavar="MIN",
    help="How long today (else the settings' 'minutes'); shortens a plan under way.",
)
@click.option("--plan-only", is_flag=True, help="Show the plan and how far it is; play nothing.")
@click.option("--again", is_flag=True, help="Begin another plan on the same day.")
@click.option(
    "--skip", type=click.Choice(PARTS), multiple=True, help="Pass over a part of today's plan."
)
@click.option(
    "--input",
    "source",
    metavar="INPUT",
    help="Ports by name or a part of it, 'typing', or 'demo' (a demo player).",
)
@manuals_option
@click.option("--view", type=click.Choice(["window", "terminal", "none"]), help="What to see.")
@click.option("--seed", type=int, default=0, help="The demo player's day: 0, 1, 2 …")
@click.option("--quick", is_flag=True, help="Demo player, no view: as fast as it can be computed.")
@click.option("--silent", is_flag=True, help="Without sound.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object at the end.")
@log_option
def command(
    minutes: float | None,
    plan_only: bool,
    again: bool,
    skip: tuple[str, ...],
    source: str | None,
    manuals: str | None,
    view: str | None,
    seed: int,
    quick: bool,
    silent: bool,
    as_json: bool,
    location: str | None,
) -> None:
    """Play today's plan: a warm-up, what is due, what is weak, the course, a piece, one at sight.

    Where it was left, it goes on: after a pause, after Ctrl-C, after a power cut. The same day and
    the same log give the same plan.
    """
    from trainer.conducting.todays_drill import beginning, open_drill
    from trainer.practice.material import open_material
    from trainer.review.assignments import set_for_player
    from trainer.score.library import Library
    from trainer.settings import load

    if quick and (source != "demo" or view != "none"):
        raise InputError("--quick needs --input demo and --view none")
    settings = load()
    assigned = chosen_manuals(manuals, settings)
    library = Library(settings.exercises)
    material = open_material(library)
    now = datetime.now().astimezone()
    before, since = _look_back(location, settings, material, beginning(settings.player, now))
    drill = open_drill(
        settings.player,
        material,
        since,
        now,
        before=before,
        minutes=minutes,
        again=again,
        skip=skip,
        assigned=set_for_player(),
    )
    if not as_json:
        _show(drill)
    takes: Sequence[str] = ()
    status = 0
    if not plan_only and drill.following is not None:
        drill, takes, status = _play(
            drill,
            material,
            library,
            settings,
            source=source,
            manuals=assigned,
            view=view,
            seed=seed,
            quick=quick,
            silent=silent,
            as_json=as_json,
            location=location,
        )
        if not as_json:
            click.echo(_ended(drill))
    if as_json:
        from trainer.commands.printing import print_json

        print_json({**as_data(drill), "takes": list(takes)})
    raise click.exceptions.Exit(status)


def _look_back(
    location: str | None, settings: Settings, material: Material, until: datetime
) -> tuple[Past | None, tuple[PassResult, ...]]:
    """What the player has played until then and since, from the log; nothing where there is no
    log yet.

    Raises LogError for a log that cannot be read.
    """
    from trainer.commands.log_option import open_log
    from trainer.journal import LOG_VARIABLE, log_location
    from trainer.journal.opening import is_url
    from trainer.review.looking_back import look_back

    where = log_location(location or os.environ.get(LOG_VARIABLE) or settings.log)
    if not is_url(where) and not Path(where).exists():
        return None, ()
    player = settings.player
    with closing(open_log(where)) as journal:
        back = look_back(journal, player.id, material, until, player.begin_at)
    return back.before, back.since


def _play(
    drill: Drill,
    material: Material,
    library: Library,
    settings: Settings,
    *,
    source: str | None,
    manuals: Sequence[Assignment],
    view: str | None,
    seed: int,
    quick: bool,
    silent: bool,
    as_json: bool,
    location: str | None,
) -> tuple[Drill, Sequence[str], int]:
    """Play until the plan is done or the player leaves; the drill then, the takes' ids, and the
    status to end with."""
    from trainer.commands import performing
    from trainer.conducting.drill_plan import DrillPlan
    from trainer.conducting.shell import QuickClock, RealClock, Shell
    from trainer.conducting.way_out import WayOut

    player = settings.player
    view = performing.chosen_view(view)
    source = source or player.input or performing.automatic_input(view)
    performing.check_typing(source, view)
    plan: DrillPlan | None = None
    shell: Shell | None = None
    with WayOut() as way:
        hook = performing.Hook()
        output = performing.open_sound(player, view, hook, way, silent or quick)
        writer = performing.open_writer(location, settings, way)
        plan = DrillPlan(
            drill,
            material,
            library,
            player,
            _sources(source, manuals, hook, way, seed),
            lambda line: click.echo(line, err=as_json),
            ("bass", "melody") if source == "typing" else None,
        )
        clock = QuickClock() if quick else RealClock()
        shell = plan.shell(output, writer, settings.latency_of, clock)
        hook.shell = shell
        letters = source == "typing"
        performing.play(shell, settings, view, way, letters_are_keys=letters, as_json=as_json)
    if plan is None or shell is None:
        return drill, (), way.status
    return plan.drill, [id for id, _ in shell.results if id is not None], way.status


def _sources(
    name: str, manuals: Sequence[Assignment], hook: Any, way: WayOut, seed: int
) -> Callable[[Setup], Source]:
    """The player's hands stay the same from task to task; the demo player learns each anew."""
    from trainer.commands.performing import Demo, open_source

    kept: list[Source] = []
    passes = 0

    def source(setup: Setup) -> Source:
        nonlocal passes
        passes += 1
        if name == "demo":
            return open_source(name, setup, hook, way, Demo(seed + passes))
        if not kept:
            kept.append(open_source(name, setup, hook, way, Demo(seed), manuals))
        return kept[0]

    return source


# ── showing ──────────────────────────────────────────────────────────────────────────────────


def _show(drill: Drill) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    plan, at = drill.plan, drill.before.standing
    console.print(
        f"{plan.day:%A %d %B} · {plan.minutes:g} minutes · step {at.step.number} of the course: "
        f"{at.step.title}"
    )
    console.print(at.step.aim, style="italic")
    if not any(requirement.reached for requirement in at.requirements) and not drill.since:
        console.print(f"\n{at.step.text}\n")
    if drill.since:
        console.print(f"{drill.minutes_spent:.0f} minutes of it are played.")
    if drill.before.left_out:
        console.print(
            f"{drill.before.left_out} passes in the log are dated in the future and wait for "
            "their day; check the computer's date."
        )
    table = Table("", "part", "minutes", "what", "why", box=None, pad_edge=False)
    following = drill.following
    for part in plan.parts:
        here = following is not None and following.part is part
        sign = "→" if here else "–" if part.kind in drill.begun.skipped else ""
        table.add_row(sign, part.kind, f"{part.minutes:.0f}", part.title, part.reason)
    console.print(table)
    if following is None:
        console.print(_ended(drill))


def _ended(drill: Drill) -> str:
    if drill.following is None:
        return "Today's plan is done. That is enough for today; tomorrow it is a new one."
    return "The plan waits where you left it: `mittelstimme drill` goes on."


def as_data(drill: Drill) -> dict[str, Any]:
    """The object that `drill --json` prints."""
    from trainer.practice.plan import matches

    plan, at, following = drill.plan, drill.before.standing, drill.following
    return {
        "format": "mittelstimme-drill",
        "version": 1,
        "day": plan.day.isoformat(),
        "minutes": plan.minutes,
        "minutes_spent": round(drill.minutes_spent, 2),
        "done": following is None,
        "step": {
            "number": at.step.number,
            "title": at.step.title,
            "aim": at.step.aim,
            "opens": at.step.opens,
            "finished": at.finished,
            "requirements": [
                {"words": one.words, "reached": one.reached, "needed": one.needed}
                for one in at.requirements
            ],
        },
        "next": None if following is None else following.task.exercise_id,
        "parts": [
            {
                "kind": part.kind,
                "title": part.title,
                "reason": part.reason,
                "minutes": round(part.minutes, 2),
                "skipped": part.kind in drill.begun.skipped,
                "tasks": [
                    {
                        "exercise": task.exercise_id,
                        "key": task.key or (task.ladder.key if task.ladder else None),
                        "tempo": task.ladder.tempo if task.ladder else task.tempo,
                        "passes": sum(matches(task, result) for result in drill.since),
                    }
                    for task in part.tasks
                ],
            }
            for part in plan.parts
        ],
    }
