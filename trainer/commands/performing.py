"""What every command that plays has to open: settings, keys, sound, log and a view."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from trainer.display import has_display, open_display
from trainer.errors import InputError, LogError

if TYPE_CHECKING:
    from trainer.conducting.setup import Setup
    from trainer.conducting.shell import Shell
    from trainer.conducting.sources import Source
    from trainer.conducting.way_out import WayOut
    from trainer.journal.writer import Writer
    from trainer.listening.assigning import Assignment
    from trainer.practice.effects import Effect
    from trainer.practice.slips import Slip
    from trainer.settings import Player, Settings
    from trainer.sound.output import Output


class Hook:
    """Hands key events to the shell's sound, in whatever thread they arise, once it exists; what
    listens may have them sound before, through `passage`."""

    def __init__(self) -> None:
        from trainer.apart import passage

        self.shell: Shell | None = None
        self.passage = passage()

    def __call__(self, event: Any) -> None:
        if self.shell is not None:
            self.shell.sound_now(event)


def chosen_view(view: str | None) -> str:
    """The view asked for, or the one there can be; raises InputError for a window without display.

    Without this SDL would draw into memory where nobody sees it and wait for keys for ever. Who
    names a video driver for SDL is taken to mean it.
    """
    if view == "window" and not (has_display() or os.environ.get("SDL_VIDEODRIVER")):
        raise InputError(
            "there is no display to open a window on", remedy="use --view terminal or --view none"
        )
    if view in ("terminal", "none") or not (view or has_display()):
        return view or "terminal"
    try:
        open_display()
    except InputError as error:
        if view is not None:
            raise
        click.echo(f"mittelstimme: {error.what}; going on in the terminal", err=True)
        return "terminal"
    return "window"


def automatic_input(view: str) -> str:
    """The MIDI keyboards if there are any, typing where somebody can type, else the demo player."""
    from trainer.listening.chosen_ports import ALL
    from trainer.listening.ports import ports

    if ports():
        return ALL
    by_hand = view == "window" or (view == "terminal" and sys.stdin.isatty())
    return "typing" if by_hand else "demo"


def check_typing(source: str, view: str) -> None:
    """Raise InputError for letters where there is neither a window nor a terminal to type in."""
    if source == "typing" and not (
        view == "window" or (view == "terminal" and sys.stdin.isatty() and sys.stdout.isatty())
    ):
        raise InputError(
            "nobody can type here: there is neither a window nor a terminal",
            remedy="use --input demo, or a MIDI port",
        )


@dataclass(frozen=True, slots=True)
class Demo:
    """The demo player that is asked for: its first day, its slips, or days like a person's."""

    seed: int = 0
    slips: Sequence[Slip] = ()
    human: bool = False


def open_source(
    name: str,
    setup: Setup,
    hook: Hook,
    way: WayOut,
    demo: Demo | None = None,
    manuals: Sequence[Assignment] = (),
) -> Source:
    """The keys to listen to: `demo`, `typing`, or MIDI ports as `trainer.listening.chosen_ports`
    reads them, which play what `manuals` says.

    Raises InputError for a port that is not there, or is told two things.
    """
    from trainer.conducting.sources import DemoSource, HandsSource, usual
    from trainer.practice.human_day import human_day

    if name == "demo":
        demo = demo or Demo()
        day = human_day if demo.human else usual(slips=demo.slips)
        return DemoSource(setup, hook, day=day, seed=demo.seed)
    if demo is not None and (demo.slips or demo.human):
        raise InputError("--slip and --human are for the demo player", remedy="add --input demo")
    if name == "typing":
        return way.closing("the keyboards", HandsSource(hook, passage=hook.passage))
    source = way.closing("the keyboards", HandsSource(hook, name, hook.passage, manuals))
    source.settle()
    names = ", ".join(source.ports) or "none"
    if source.port is None:
        remedy = f"ports here: {names}; or use --input typing or --input demo"
        raise InputError(source.why_none, remedy=remedy)
    if source.complaint:
        remedy = f"ports here: {names}; write --manuals anew, or --manuals none"
        raise InputError(source.complaint, remedy=remedy)
    return source


def open_sound(player: Player, view: str, hook: Hook, way: WayOut, silent: bool = False) -> Output:
    """The output the player has chosen, or silence where that is wished. A window says itself when
    it is open; before other views it is waited for, as they may begin to play at once."""
    from trainer.conducting import chosen_sound
    from trainer.sound.output import Silence

    if silent:
        return Silence("no sound")
    output = way.closing("the sound", chosen_sound.opening_sound(player, hook.passage))
    if view != "window":
        output.wait_until_open()
    return output


def open_writer(location: str | None, settings: Settings, way: WayOut) -> Writer | None:
    """The log meant: the one given, the environment's, the settings', the usual. Where it cannot
    be written practice goes on without one, and says so."""
    from trainer.journal import LOG_VARIABLE, log_location
    from trainer.journal.writer import Writer

    where = location or os.environ.get(LOG_VARIABLE) or settings.log
    try:
        writer = Writer(log_location(where))
        way.closing("the log", writer, writer.undone)
        writer.player(settings.player.id, settings.player.name)
        return writer
    except LogError as error:
        click.echo(f"mittelstimme: {error}; going on without a log: nothing will be kept", err=True)
        return None


def play(
    shell: Shell,
    settings: Settings,
    view: str,
    way: WayOut,
    *,
    letters_are_keys: bool,
    as_json: bool,
) -> None:
    """Play in the view asked for, until it is over or the program is to end; then `way` leads out.

    What was played is judged and kept. With `as_json` stdout is left free.
    """
    from trainer.care import first_words

    way.at_the_end("the pass", shell.leave)
    words = first_words(settings) if view == "terminal" and not as_json else None
    if words:
        click.echo(words + "\n")
    way.only_at_looks()
    if view == "window":
        from trainer.screen.window import run as run_window

        run_window(shell, settings, way)
    elif view == "terminal":
        from rich.console import Console

        from trainer.terminal.live import run as run_terminal

        run_terminal(shell, way, Console(stderr=as_json), letters_are_keys=letters_are_keys)
    else:
        from trainer.conducting.shell import play_through

        play_through(shell, report, way.look)


def report(effect: Effect) -> None:
    """`--view none`: what happens, one JSON object a line on stderr."""
    from trainer.journal.plain_verdicts import fault_plain, moment_plain
    from trainer.practice import effects

    match effect:
        case effects.PassBegan(take, origin):
            line: dict[str, Any] = {"began": take.exercise_id, "origin": origin}
        case effects.MomentJudged(verdict, faults):
            found = [fault_plain(fault) for fault in faults]
            line = {"moment": moment_plain(verdict), "faults": found}
        case effects.Paused(text):
            line = {"paused": text}
        case effects.Resumed(moment, at, text):
            line = {"resumed": text, "moment": moment, "at": at}
        case effects.BegunAgain(moment, at, text):
            line = {"begun_again": text, "moment": moment, "at": at}
        case effects.TakenBack(moment, text):
            line = {"taken_back": text, "moment": moment}
        case effects.Accompany(_, _, at):
            line = {"count_in": at}
        case effects.Say(text):
            line = {"say": text}
        case effects.PassEnded(_, _, finished):
            line = {"ended": finished}
        case _:
            return
    print(json.dumps(line, ensure_ascii=False), file=sys.stderr, flush=True)
