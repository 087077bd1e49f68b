"""`practice`: one exercise, pass after pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from trainer.commands.log_option import log_option
from trainer.commands.manuals_option import chosen_manuals, manuals_option
from trainer.commands.performing import Demo
from trainer.errors import InputError
from trainer.theory.hands import HANDS, Hands

if TYPE_CHECKING:
    from trainer.conducting.setup import Setup
    from trainer.conducting.shell import Shell
    from trainer.judging.take import Conditions
    from trainer.listening.assigning import Assignment
    from trainer.practice.slips import Slip
    from trainer.score.exercise import Exercise
    from trainer.settings import Settings

FIRST_EXERCISE = "triads-common-tones"


@click.command()
@click.argument("exercise", required=False)
@click.option("--tempo", type=float, metavar="BPM", help="Beats of the tactus a minute.")
@click.option("--untimed", is_flag=True, help="No clock: the program waits at each moment.")
@click.option("--key", metavar="KEY", help="Transpose: the page is shown in that key too.")
@click.option("--at-sight", is_flag=True, help="With --key: the page stays as it is written.")
@click.option(
    "--supply", metavar="VOICES", help="Given voices the program plays: bass,melody or none."
)
@click.option("--inner", is_flag=True, help="Inner voices only: the same as --supply bass,melody.")
@click.option("--no-melody", is_flag=True, help="Bass and figures alone; the top is yours.")
@click.option("--hands", type=click.Choice(HANDS), help="Voices in each hand.")
@click.option("--from", "begin", metavar="PLACE", help="Begin at a bar (3) or phrase (p2).")
@click.option("--to", "end", metavar="PLACE", help="End with a bar (4) or phrase (p2).")
@click.option("--slower", multiple=True, metavar="WHERE", help="Slower here: 3-4:0.7, p2:0.8.")
@click.option("--loop", is_flag=True, help="Again and again, until stopped.")
@click.option("--passes", type=click.IntRange(1), default=1, metavar="N", help="How many times.")
@click.option(
    "--input",
    "source",
    metavar="INPUT",
    help="Ports by name or a part of it, 'typing', or 'demo' (a demo player).",
)
@manuals_option
@click.option("--view", type=click.Choice(["window", "terminal", "none"]), help="What to see.")
@click.option("--seed", type=int, default=0, help="The demo player's day: 0, 1, 2 …")
@click.option(
    "--slip",
    "slips",
    multiple=True,
    metavar="KIND@MOMENT",
    help="Let the demo player slip: wrong, fifths, late, skipped, extra, corrected, doubled, "
    "again; bass-alone, accidental-forgotten, finger-beside, figure-not-read, bass-misread, "
    "hand-shifted.",
)
@click.option("--human", is_flag=True, help="Demo player: what happens to people, by its day.")
@click.option("--quick", is_flag=True, help="Demo player, no view: as fast as it can be computed.")
@click.option("--silent", is_flag=True, help="Without sound.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object at the end.")
@log_option
def command(
    exercise: str | None,
    tempo: float | None,
    untimed: bool,
    key: str | None,
    at_sight: bool,
    supply: str | None,
    inner: bool,
    no_melody: bool,
    hands: Hands | None,
    begin: str | None,
    end: str | None,
    slower: tuple[str, ...],
    loop: bool,
    passes: int,
    source: str | None,
    manuals: str | None,
    view: str | None,
    seed: int,
    slips: tuple[str, ...],
    human: bool,
    quick: bool,
    silent: bool,
    as_json: bool,
    location: str | None,
) -> None:
    """Practise EXERCISE: an id, a title, or a file; a first drill if none is named.

    Listens to a MIDI keyboard if there is one, else to the letters of the typing keyboard, else to
    the demo player. Shows a window where there is a display, else the terminal view.
    """
    from trainer.commands.performing import (
        automatic_input,
        check_typing,
        chosen_view,
    )
    from trainer.conducting.setup import Setup, without_melody
    from trainer.judging.harmony import sonorities_of
    from trainer.score.library import Library
    from trainer.settings import load

    if untimed and tempo is not None:
        raise InputError("--untimed and --tempo exclude each other", remedy="give one of them")
    if loop and passes != 1:
        raise InputError("--loop and --passes exclude each other", remedy="give one of them")
    if quick and (source != "demo" or view != "none"):
        raise InputError("--quick needs --input demo and --view none")
    if human and slips:
        raise InputError("--human and --slip exclude each other", remedy="give one of them")
    if at_sight and key is None:
        raise InputError("--at-sight needs a key to play in", remedy="add --key")
    settings = load()
    assigned = chosen_manuals(manuals, settings)
    written = Library(settings.exercises).find(exercise or FIRST_EXERCISE)
    sonorities_of(written)  # a contradiction in the figures is said before anything opens
    if no_melody:
        written = without_melody(written)
    played = written
    if key is not None:
        from trainer.score.transpose import transposed

        played = transposed(written, key)
    view = chosen_view(view)
    source = source or settings.player.input or automatic_input(view)
    check_typing(source, view)
    conditions = settings.player.conditions(
        None if untimed else played.tempo if tempo is None else tempo
    )
    inner = inner or (source == "typing" and supply is None)
    conditions = _supplied(conditions, "bass,melody" if inner else supply, played)
    if hands is not None:
        conditions = replace(conditions, hands=hands)
    conditions = _passage(conditions, played, begin, end, slower)
    setup = Setup(
        played,
        conditions,
        written if at_sight else played,
        settings.player.id,
        0 if loop else passes,
    )
    _long_enough(setup)
    run(
        setup,
        settings,
        source=source,
        manuals=assigned,
        view=view,
        demo=Demo(seed, tuple(_slip(text) for text in slips), human),
        quick=quick,
        silent=silent,
        as_json=as_json,
        location=location,
    )


def _supplied(conditions: Conditions, supply: str | None, played: Exercise) -> Conditions:
    """With the given voices the program is to play, of those the piece has."""
    parts = conditions.supply if supply is None else _parts(supply)
    here = tuple(part for part in parts if part == "bass" or played.melody)
    return replace(conditions, supply=here)


def _passage(
    conditions: Conditions,
    played: Exercise,
    begin: str | None,
    end: str | None,
    slower: Sequence[str],
) -> Conditions:
    """From here to there only, and slower in some places."""
    from trainer.conducting.setup import place
    from trainer.conducting.setup import slower as slower_at

    first = None if begin is None else place(played, begin)
    last = None if end is None else place(played, end, last=True)
    if last is not None and last < (first or 0):
        raise InputError(f"--to {end} ends before --from {begin} begins")
    stretches = tuple(slower_at(played, where) for where in slower)
    return replace(conditions, first=first, last=last, slower=stretches)


def run(
    setup: Setup,
    settings: Settings,
    *,
    source: str,
    view: str,
    manuals: Sequence[Assignment] = (),
    demo: Demo | None = None,
    quick: bool = False,
    silent: bool = False,
    as_json: bool = False,
    location: str | None = None,
) -> None:
    """Open source, sound and log, play in the view asked for, and put everything away again."""
    from trainer.commands import performing
    from trainer.conducting.shell import QuickClock, RealClock, Shell
    from trainer.conducting.way_out import WayOut

    shell: Shell | None = None
    with WayOut() as way:
        hook = performing.Hook()
        shell = Shell(
            setup,
            performing.open_source(source, setup, hook, way, demo, manuals),
            performing.open_sound(settings.player, view, hook, way, silent or quick),
            performing.open_writer(location, settings, way),
            QuickClock() if quick else RealClock(),
            settings.latency_of,
        )
        hook.shell = shell
        letters = source == "typing"
        performing.play(shell, settings, view, way, letters_are_keys=letters, as_json=as_json)
    if as_json and shell is not None:
        _print_result(shell)
    raise click.exceptions.Exit(way.status)


def _print_result(shell: Shell) -> None:
    from dataclasses import asdict

    from trainer.commands.printing import print_json
    from trainer.journal.plain_verdicts import verdict_plain

    setup = shell.setup
    print_json(
        {
            "format": "mittelstimme-practice",
            "version": 1,
            "exercise": setup.exercise.id,
            "title": setup.exercise.title,
            "key": str(setup.exercise.key),
            "input": shell.source.name,
            "conditions": asdict(shell.session.task.conditions),
            "takes": [
                {"id": id, "verdict": verdict_plain(verdict)} for id, verdict in shell.results
            ],
        }
    )


def _parts(text: str) -> tuple[Any, ...]:
    words = [word.strip() for word in text.split(",") if word.strip() not in ("", "none")]
    for word in words:
        if word not in ("bass", "melody"):
            raise InputError(
                f"--supply {word!r}: the program can play bass and melody",
                remedy="write bass, melody, bass,melody or none",
            )
    return tuple(part for part in ("bass", "melody") if part in words)


def _slip(text: str) -> Slip:
    from trainer.practice.mishaps import MISHAPS
    from trainer.practice.slips import SLIPS, Slip

    kind, at, moment = text.partition("@")
    every = (*SLIPS, *MISHAPS)
    for known in every:
        if kind == known and at and moment.isdigit():
            return Slip(known, int(moment))
    raise InputError(
        f"--slip {text!r} cannot be read",
        remedy=f"write one of {', '.join(every)} and @MOMENT",
    )


def _long_enough(setup: Setup) -> None:
    from trainer.judging.timing import played

    count = len(played(setup.exercise, setup.conditions))
    if setup.passes == 0 and count < 2:
        raise InputError(
            "one moment is too short for a loop", remedy="choose more with --from, --to"
        )
