"""What MIDI there is on this machine, asked once; to play, see `trainer.listening.keyboard`."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.apart.haste import Haste
from trainer.listening.chosen_ports import Port
from trainer.listening.keyboard import Keyboard
from trainer.midi_library import title

__all__ = ["Found", "Port", "found", "ports"]

_NOTHING = "/"  # no port can be meant by it


@dataclass(frozen=True, slots=True)
class Found:
    """`library` is the name of the MIDI library; `interfaces` are (title, why it does not answer,
    empty where it does); `hurries` is how those that answer are listened to on a busy machine."""

    library: str
    interfaces: tuple[tuple[str, str], ...]
    ports: tuple[Port, ...]
    hurries: tuple[Haste, ...] = ()


def found() -> Found:
    """What there is now; takes up to some seconds where an interface hangs."""
    looking = Keyboard(lambda event: None, wanted=_NOTHING)
    try:
        looking.settle()
        return Found(title(), looking.interfaces, looking.ports, looking.hurries)
    finally:
        looking.close()


def ports() -> tuple[Port, ...]:
    """The input ports of every interface of this machine that answers now."""
    return found().ports
