"""The command line: one module a command, loaded when it is called."""

from __future__ import annotations

import contextlib
import errno
import importlib
import io
import os
import sys

import click

from trainer import __version__
from trainer.commands.groups import Group
from trainer.errors import TrainerError

# name of the command -> (module that holds it as `command`, one line of help)
COMMANDS: dict[str, tuple[str, str]] = {
    "practice": ("practice", "Play one exercise: in tempo or untimed, window or terminal."),
    "drill": ("drill", "Today's plan: warm-up, what is due and weak, a piece, one at sight."),
    "exercises": ("exercises", "The library: list, show, check, import, export, print, similar."),
    "realize": ("realize", "Suggested realizations: the best, how many, the nearest to a take."),
    "assess": ("assess", "Mark a complete four-part realization against its own figures."),
    "review": ("review", "What practice adds up to: takes, minutes, pieces, figurings, faults."),
    "log": ("log", "Move logs between machines and players; check and repair them."),
    "keyboard": ("keyboard_command", "MIDI keyboards: list, watch, calibrate."),
    "rules": ("rules_command", "Every rule with its explanation, weight, source and an example."),
    "doctor": ("doctor", "What this machine offers for practice, and remedies for what is amiss."),
    "settings": (
        "settings_command",
        "Where the settings are, what is in force, and how to change it.",
    ),
}


class _LazyGroup(Group):
    """Imports a command's module only when that command is called, so that `--help` is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"trainer.commands.{COMMANDS[cmd_name][0]}")
        command = module.command
        assert isinstance(command, click.Command)
        return command

    def told(self, ctx: click.Context) -> list[tuple[str, str]]:
        return [(name, text) for name, (_, text) in COMMANDS.items()]


@click.group(cls=_LazyGroup, invoke_without_command=True)
@click.version_option(__version__, prog_name="mittelstimme")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Mittelstimme: a practice room for thoroughbass at the keyboard.

    Without a command it opens the window, or the terminal view where there is no display.
    """
    if ctx.invoked_subcommand is None:
        from trainer.commands.performing import chosen_view

        if chosen_view(None) == "window":
            _open_window()
        else:
            from trainer.commands.practice import command

            ctx.invoke(command, view="terminal")


def _open_window() -> None:
    import os

    from trainer.conducting.way_out import WayOut
    from trainer.journal import LOG_VARIABLE, log_location
    from trainer.screen.window import run_front
    from trainer.settings import load

    with WayOut() as way:
        run_front(str(log_location(os.environ.get(LOG_VARIABLE) or load().log)), way)
    raise click.exceptions.Exit(way.status)


def main(arguments: list[str] | None = None) -> None:
    """Run the program; every error of ours becomes one line on stderr and exit status 2."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal or a pipe that is not Unicode gets "?" for what it cannot show.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        status = cli.main(args=arguments, prog_name="mittelstimme", standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()
    except BaseException as error:
        status = _told(error)
    sys.exit(status if isinstance(status, int) else 0)


def _told(error: BaseException) -> int:
    """Say in one line what went wrong; the status to end with. What is no fault of the user's or
    the surroundings' is raised again."""
    from trainer.conducting.way_out import Leave

    match error:
        case click.exceptions.Exit():
            return error.exit_code
        case click.Abort() | KeyboardInterrupt():
            return 130
        case Leave():  # a signal before anything was opened
            return error.status
        case BrokenPipeError():
            _hush()
            return 0
        case click.ClickException():
            _say(error.format_message())
        case TrainerError():
            _say(str(error))
        case UnicodeEncodeError() if "surrogates" in error.reason:
            _say("a word of the command is not UTF-8; write it again")
        case OSError() if error.errno in _OF_THE_SURROUNDINGS:
            where = f"{error.filename}: " if error.filename else ""
            _say(f"{where}{_OF_THE_SURROUNDINGS[error.errno]}")
            _hush()
        case _:
            raise error
    return 2


_OF_THE_SURROUNDINGS = {
    errno.ENOSPC: "the disk is full; make room on it",
    errno.EIO: "the device does not answer any more",
}


def _say(line: str) -> None:
    with contextlib.suppress(OSError, ValueError):
        print(f"mittelstimme: {line}", file=sys.stderr)


def _hush() -> None:
    """What could not be written out would be tried, and complained of, once more at the end."""
    with contextlib.suppress(OSError):
        nothing = os.open(os.devnull, os.O_WRONLY)
        for stream in (1, 2):
            os.dup2(nothing, stream)
