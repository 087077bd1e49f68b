"""The process that sounds, as it is, with a note of when each key came and where it sounds.

What was noted is written at its end into the file `SOUND_MEASURES` names, one JSON line a key.
"""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

from trainer.apart import Line
from trainer.sound import engine, serving
from trainer.sound.requests import Choice, KeyOn, Request

MEASURES = "SOUND_MEASURES"


class Measured(engine.Engine):
    """`asked` when the key was struck, `block` when the block was asked for in which it begins:
    seconds of `time.monotonic()`. `late` are frames by which it begins later than the constant
    lead after the key."""

    def __init__(self, choice: Choice) -> None:
        super().__init__(choice)
        self.keys: list[dict[str, float]] = []
        ENGINES.append(self)

    def _do(self, request: Request) -> None:
        if isinstance(request, KeyOn):
            late = max(0, self.mixer.frame - self.frame(request.at))
            now = time.monotonic()
            self.keys.append({"key": request.key, "asked": request.at, "block": now, "late": late})
        super()._do(request)


ENGINES: list[Measured] = []


def serve(line: Line) -> None:
    engine.Engine = Measured  # type: ignore[misc]
    serving.serve(line)
    where = Path(os.environ[MEASURES])
    where.write_text("".join(json.dumps(key) + "\n" for e in ENGINES for key in e.keys))
