"""The player's sound: the output that the settings ask for."""

from __future__ import annotations

from trainer.settings import Player
from trainer.sound.output import Output, open_output


def open_sound(player: Player) -> Output:
    """The output a player has chosen; silence that says so where there is no audio device.

    Raises InputError where a chosen MIDI instrument is not there.
    """
    return open_output(
        sound=player.sound,
        temperament=player.temperament,
        standard=player.pitch,
        volume=player.volume,
        midi_port=player.midi_out,
    )
