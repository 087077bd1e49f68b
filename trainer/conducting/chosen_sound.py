"""The player's sound: the output that the settings ask for."""

from __future__ import annotations

from trainer.apart import Passage
from trainer.settings import Player
from trainer.sound.apart import SoundApart
from trainer.sound.requests import Choice


def choice(player: Player) -> Choice:
    """What a player has chosen to hear."""
    return Choice(
        sound=player.sound,
        temperament=player.temperament,
        standard=player.pitch,
        volume=player.volume,
        midi_port=player.midi_out,
    )


def opening_sound(player: Player, passage: Passage | None = None) -> SoundApart:
    """The output a player has chosen, at once; it opens beside the program and says how that
    went. Without an audio device, or the MIDI instrument, it is silent. Keys may come to it through
    `passage`."""
    return SoundApart(choice(player), passage)
