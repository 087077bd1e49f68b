"""Which MIDI library this machine has, behind the small surface of `interfaces`."""

from __future__ import annotations

from trainer.listening.interfaces import Interface
from trainer.midi_library import library


def titles() -> tuple[str, ...]:
    """The interfaces that the library of this machine knows, whether they answer or not."""
    if library() == "portmidi":
        return ("PortMidi",)
    from trainer.listening import rtmidi_ports

    return rtmidi_ports.titles()


def interface(title: str) -> Interface:
    """The interface of that title; nothing is opened yet."""
    if library() == "portmidi":
        from trainer.listening.portmidi_ports import PortMidi

        return PortMidi()
    if title == "JACK":
        from trainer.listening.jack_ports import Jack

        return Jack()
    from trainer.listening.rtmidi_ports import RtMidi

    return RtMidi(title)
