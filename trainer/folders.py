"""Where the user's own files lie: the platform's folders, or one folder of choice.

`MITTELSTIMME_HOME` set in the environment puts everything into that folder instead: a stick
carried from machine to machine, a classroom station, a test.
"""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

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


def _home() -> Path | None:
    home = os.environ.get(HOME, "").strip()
    return Path(home).expanduser().absolute() if home else None
