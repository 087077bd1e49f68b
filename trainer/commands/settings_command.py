"""`settings`: where the file is, what is in force, and how to change it."""

from __future__ import annotations

from typing import Any

import click
from rich.console import Console
from rich.table import Table

from trainer.commands.groups import Group
from trainer.commands.printing import print_json
from trainer.settings import (
    PLAYER_SETTINGS,
    Settings,
    changed,
    load,
    save,
    set_aside,
    settings_path,
)


@click.group(cls=Group, invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(ctx: click.Context, as_json: bool) -> None:
    """Show where the settings are and what is in force; change them."""
    if ctx.invoked_subcommand is None:
        _show(load(), as_json)


@command.command("set", context_settings={"ignore_unknown_options": True})  # so that -12 is a value
@click.argument("name")
@click.argument("value")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def set_value(name: str, value: str, as_json: bool) -> None:
    """Give one setting of the player at the keyboard a new VALUE.

    Several words are separated by commas: `settings set supply bass,melody`; `none` for nothing.
    """
    settings = changed(load(), name, value)
    save(settings)
    _show(settings, as_json)


@command.command()
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def player(name: str | None, as_json: bool) -> None:
    """Say who plays, or let NAME play; a new name is added with the usual settings."""
    settings = load()
    if name is not None:
        settings = settings.played_by(name)
        save(settings)
    if as_json:
        _show(settings, True)
        return
    for other in settings.players:
        print(f"{'→' if other.name == settings.playing else ' '} {other.name}")


@command.command()
def reset() -> None:
    """Begin afresh; the old file stays beside the new one under another name."""
    aside = set_aside()
    load()
    if aside is not None:
        print(f"The old settings are kept in {aside}.")
    print(f"New settings are in {settings_path()}.")


def as_data(settings: Settings) -> dict[str, Any]:
    """The object that `settings --json` prints."""
    player = settings.player
    return {
        "format": "mittelstimme-settings",
        "version": 1,
        "file": str(settings_path()),
        "player": {"name": player.name, "id": player.id},
        "players": [{"name": other.name, "id": other.id} for other in settings.players],
        "settings": {
            setting.name: _plain(getattr(player, setting.name)) for setting in PLAYER_SETTINGS
        },
        "log": settings.log,
        "exercises": list(settings.exercises),
        "latency": dict(settings.latency),
    }


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _show(settings: Settings, as_json: bool) -> None:
    if as_json:
        print_json(as_data(settings))
        return
    player = settings.player
    console = Console(highlight=False)
    console.print(f"Settings of {player.name}, in {settings_path()}", markup=False, soft_wrap=True)
    table = Table("setting", "value", "what it does", box=None, pad_edge=False)
    for setting in PLAYER_SETTINGS:
        table.add_row(setting.name, _words(getattr(player, setting.name)), setting.meaning)
    table.add_row("log", settings.log or "–", "the log: a file or a database URL; –: usual place")
    table.add_row("exercises", "\n".join(settings.exercises) or "–", "folders of your own")
    for port, seconds in settings.latency:
        table.add_row("latency", f"{1000 * seconds:.1f} ms", f"taken off what comes from {port}")
    console.print(table)


def _words(value: Any) -> str:
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, tuple):
        return ", ".join(value) or "none"
    if isinstance(value, float):
        return f"{value:g}"
    return str(value) or "–"
