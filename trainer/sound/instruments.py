"""The instruments there are to sound through instead of the own tone: MIDI outputs.

They are listed in a process of its own: a MIDI library may hang where its server does.
"""

from __future__ import annotations

import contextlib

from trainer.apart import Line, Process

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


def serve(line: Line) -> None:
    """The whole life of such a process."""
    import mido

    from trainer.midi_library import mido_backend

    try:
        names = mido.Backend(mido_backend()).get_output_names()
    except Exception:  # the interface raises its own kinds where there is none
        return
    line.tell(tuple(dict.fromkeys(names)))
