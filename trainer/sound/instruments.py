"""The instruments there are to sound through instead of the own tone: MIDI outputs.

They are listed in processes of our own: a MIDI library may hang where its server does.
"""

from __future__ import annotations

import contextlib

from trainer.apart import Line, Process
from trainer.midi_library import mido_backends

LIST = "trainer.sound.instruments:serve"
PATIENCE = 8.0  # seconds that the list may take


class Instruments:
    """`names` are the ports there were when it was made, none before it is known."""

    def __init__(self) -> None:
        self.names: tuple[str, ...] = ()
        with contextlib.suppress(OSError):  # the system allows no more processes
            Process(LIST, self._take, patience=PATIENCE)

    def _take(self, names: tuple[str, ...]) -> None:
        self.names = names


def outputs() -> tuple[list[tuple[str, str]], list[str]]:
    """The outputs of every interface that answers, each with what mido calls its interface; and
    why others do not answer."""
    import mido

    found: list[tuple[str, str]] = []
    troubles: list[str] = []
    for way in mido_backends():
        try:
            found += [(way, name) for name in mido.Backend(way).get_output_names()]
        except Exception as error:  # the libraries raise kinds of their own
            troubles.append(" ".join(str(error).split()))
    return found, troubles


def serve(line: Line) -> None:
    """The whole life of the process that lists."""
    found, _ = outputs()
    line.tell(tuple(dict.fromkeys(name for _, name in found)))
