"""The log: every take as it was played, and what was said of it.

Events are the truth and are never changed; marks are derived, kept per rule-set version, and can
be made again.
"""

from __future__ import annotations

import os
from pathlib import Path

from trainer.folders import data_folder

LOG_VARIABLE = "MITTELSTIMME_LOG"  # a path or a database URL; the option `--log` goes before it


def default_path() -> Path:
    """The log in the user's data folder; nothing is created."""
    return data_folder() / "log.sqlite"


def log_location(given: str | Path | None = None) -> str:
    """Which log is meant: the one given, else `MITTELSTIMME_LOG`, else the default path."""
    return str(given or os.environ.get(LOG_VARIABLE) or default_path())
