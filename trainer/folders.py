"""Where the user's own files lie: the platform's folders, or one folder of choice.

`MITTELSTIMME_HOME` set in the environment puts everything into that folder instead: a stick
carried from machine to machine, a classroom station, a test.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import platformdirs

from trainer.files import check_place

_NAME = "mittelstimme"
HOME = "MITTELSTIMME_HOME"


def config_folder() -> Path:
    """The folder of the settings file. It need not exist yet."""
    return _home() or platformdirs.user_config_path(_NAME, appauthor=False, roaming=True)


def data_folder() -> Path:
    """The folder of the log and of the user's exercises. It need not exist yet."""
    return _home() or platformdirs.user_data_path(_NAME, appauthor=False)


def cache_folder() -> Path:
    """The folder of what can be computed again, such as the library's index."""
    home = _home()
    return home / "cache" if home else platformdirs.user_cache_path(_NAME, appauthor=False)


def replace_text(path: Path, text: str) -> None:
    """Write a file whole: the old text or the new one is there, never half of one.

    The folder is made if need be. Raises OSError, and then leaves nothing behind.
    """
    check_place(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=".new")
    fresh = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except OSError:
        fresh.unlink(missing_ok=True)
        raise


def _home() -> Path | None:
    home = os.environ.get(HOME, "").strip()
    return Path(home).expanduser().absolute() if home else None
