"""The player's sound: the output that the settings ask for."""

from __future__ import annotations

from trainer.apart import Passage
from trainer.errors import InputError
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


def open_sound(player: Player, passage: Passage | None = None) -> SoundApart:
    """The same, once it is open. Raises InputError where a chosen MIDI instrument is not there."""
    output = opening_sound(player, passage)
    try:
        output.wait_until_open()
    except InputError:
        output.close()
        raise
    return output
