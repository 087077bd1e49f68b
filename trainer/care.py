"""What the program says once about hands and ears, before the first pass."""

from __future__ import annotations

import contextlib
from dataclasses import replace

from trainer.errors import SettingsError
from trainer.settings import Settings, save

FIRST_WORDS = (
    "Before you begin: practice can hurt hands and hearing. Stop at the first pain, and ask a "
    "teacher or a physician before you go on. The sound starts softly and limits itself; keep it "
    "as soft as you can work with. After 25 minutes of playing, a pause does more than another "
    "pass."
)


def first_words(settings: Settings) -> str | None:
    """The words, if the player at the keyboard has not seen them; they are then seen for good.

    Where the settings cannot be written the words come again next time.
    """
    if settings.player.first_run_seen:
        return None
    with contextlib.suppress(SettingsError):
        save(settings.with_player(replace(settings.player, first_run_seen=True)))
    return FIRST_WORDS
