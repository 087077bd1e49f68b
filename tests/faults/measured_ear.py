"""The process that listens, as it is, with a note of when each message came where; see
`measured_midi`. It imports no more than it must: the program waits for it."""

from __future__ import annotations

import os
import time
from array import array
from pathlib import Path
from typing import Any

from trainer.apart import Line
from trainer.apart.passage import Row
from trainer.listening import ear

MEASURES = "MIDI_MEASURES"


class Notes:
    """Times in order, kept in memory until the end."""

    def __init__(self, name: str) -> None:
        self._name = name
        self.times = array("d")

    def write(self) -> None:
        (Path(os.environ[MEASURES]) / self._name).write_bytes(self.times.tobytes())


def serve(line: Line) -> None:
    """The life of a listening process."""
    stamped, touched, piped = Notes("stamped"), Notes("touched"), Notes("piped")
    told, send = line.tell, ear.send

    def send_and_note(entrance: int, row: Row) -> bool:
        sent = send(entrance, row)
        if sent:
            touched.times.append(time.monotonic())
        return sent

    def tell(said: Any) -> None:
        told(said)
        now = time.monotonic()
        if isinstance(said, ear.Arrived):
            for at, _, _ in said.messages:
                stamped.times.append(at)
                piped.times.append(now)

    line.tell = tell  # type: ignore[method-assign]
    ear.send = send_and_note
    ear.serve(line)
    if stamped.times:  # not an interface at which nobody played
        for notes in (stamped, touched, piped):
            notes.write()
