"""Which log a command speaks of, and whose takes."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from trainer.errors import LogError
from trainer.journal import LOG_VARIABLE, default_path

if TYPE_CHECKING:
    from trainer.journal.store import Journal, Player

_F = TypeVar("_F", bound=Callable[..., object])


def log_option(function: _F) -> _F:
    """`--log`: a path or database URL."""
    text = f"The log: a file or a postgresql:// URL (else ${LOG_VARIABLE}, else the settings')."
    return click.option("--log", "location", metavar="LOG", help=text)(function)


def player_option(function: _F) -> _F:
    """`--player`: a name or the beginning of an id."""
    text = "Whose takes: a name or the beginning of an id."
    return click.option("--player", metavar="PLAYER", help=text)(function)


def which_log(given: str | None) -> str:
    """The log meant: the one given, else the environment's, else the settings', else the usual."""
    from trainer.settings import load

    return given or os.environ.get(LOG_VARIABLE) or load().log or str(default_path())


def open_log(given: str | None) -> Journal:
    """A log that exists, for reading; takes whose program died are closed first where one may.

    Raises LogError.
    """
    from trainer.journal.opening import is_url
    from trainer.journal.store import Journal
    from trainer.journal.writer import settle

    where = which_log(given)
    if is_url(where) or (Path(where).exists() and _writable(Path(where))):
        journal = Journal.open(where)
        settle(journal)
        return journal
    return Journal.open(where, write=False)


def _writable(path: Path) -> bool:
    return os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK)


def whose(journal: Journal, given: str | None) -> Player | None:
    """The player asked for; else the one at the keyboard if the log knows them; else the only one.

    None where that leaves several or nobody. Raises LogError for an unknown player.
    """
    if given:
        return journal.player(given)
    from trainer.settings import load

    everybody = journal.players()
    playing = load().player.id
    for one in everybody:
        if one.id == playing and one.takes:
            return one
    active = [one for one in everybody if one.takes]
    return active[0] if len(active) == 1 else None


def one_player(journal: Journal, given: str | None) -> Player:
    """As `whose`, but it must be somebody. Raises LogError."""
    player = whose(journal, given)
    if player is None:
        names = ", ".join(f"{one.label} ({one.id[:8]})" for one in journal.players()) or "nobody"
        raise LogError(
            "it is not clear whose takes are meant",
            remedy=f"name one with --player: the log has {names}",
        )
    return player
