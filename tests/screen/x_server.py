"""An X server without a screen, whose picture can be looked at."""

from __future__ import annotations

import os
import struct
import subprocess
from pathlib import Path

import numpy as np


class Server:
    """Its picture is a file (X11's XWD format)."""

    def __init__(self, folder: Path, size: tuple[int, int] = (1280, 800)) -> None:
        reading, writing = os.pipe()
        self._process = subprocess.Popen(
            ["Xvfb", "-displayfd", str(writing), "-screen", "0", f"{size[0]}x{size[1]}x24",
             "-fbdir", str(folder), "-nolisten", "tcp", "-noreset"],
            pass_fds=[writing],
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(writing)
        with os.fdopen(reading) as told:
            self.display = f":{told.readline().strip()}"
        self._file = folder / "Xvfb_screen0"

    def picture(self) -> np.ndarray:
        """Rows of (red, green, blue)."""
        return self.rows(0, None)

    def rows(self, first: int, count: int | None) -> np.ndarray:
        """So many rows of the picture from one on (None: all there are), at once."""
        with self._file.open("rb", buffering=0) as file:
            head = struct.unpack(">25I", file.read(100))
            size, width, height, line, colours = head[0], head[4], head[5], head[12], head[19]
            count = height if count is None else count
            file.seek(size + 12 * colours + first * line)
            data = file.read(count * line)
        rows = np.frombuffer(data, np.uint8).reshape(count, line)
        return rows[:, : 4 * width].reshape(count, width, 4)[:, :, 2::-1]

    def close(self) -> None:
        self._process.terminate()
        self._process.wait(60)
