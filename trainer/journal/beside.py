"""The files of a log, and the names of those that are put beside it."""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path

PARTS = ("", "-wal", "-shm")  # of one SQLite database


def dated(path: Path, word: str) -> Path:
    """A name beside `path` that is not taken: `log-2026-03-02-WORD.sqlite`."""
    stem = f"{path.stem}-{date.today().isoformat()}-{word}"
    found = path.with_name(f"{stem}{path.suffix}")
    number = 1
    while os.path.lexists(found):
        number += 1
        found = path.with_name(f"{stem}-{number}{path.suffix}")
    return found


def move(path: Path, target: Path) -> None:
    """Give a log another name, with what belongs to it. Raises OSError."""
    for part in reversed(PARTS):
        one = Path(f"{path}{part}")
        if one.exists():
            one.rename(f"{target}{part}")


def remove(path: Path) -> None:
    """Take a log away, with what belongs to it; one that is not there is no error."""
    for part in PARTS:
        Path(f"{path}{part}").unlink(missing_ok=True)
