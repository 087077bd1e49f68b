"""The option that says what each keyboard plays, and its reading."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from trainer.listening.assigning import Assignment
    from trainer.settings import Settings

manuals_option = click.option(
    "--manuals",
    metavar="MANUALS",
    help="What each keyboard plays: 'Pedals = bass, Console/1 = right hand', or none.",
)


def chosen_manuals(given: str | None, settings: Settings) -> tuple[Assignment, ...]:
    """As given, else as the player at the keyboard has set it; raises SettingsError for what cannot
    be."""
    from trainer.listening.assigning import assignments
    from trainer.settings import changed

    if given is not None:
        settings = changed(settings, "manuals", given)
    return assignments(settings.player.manuals)
