"""What is the user's own: the folders, the settings, the log."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from trainer import folders
from trainer.checkup.finding import Finding, of_error
from trainer.errors import LogError, SettingsError

_LITTLE = 50_000_000  # bytes free, below which a log may soon find no room
_ELSEWHERE = "make it writable, or set MITTELSTIMME_HOME to a folder that is"


def home() -> tuple[Finding, ...]:
    """Whether settings, log and cache can be written where they lie, or would lie."""
    wanted = (folders.config_folder(), folders.data_folder(), folders.cache_folder())
    places = list(dict.fromkeys(wanted))
    for place in places:
        why = _refused(place)
        if why:
            return (Finding("folders", "wrong", f"{place} cannot be written ({why})", _ELSEWHERE),)
    said = ", ".join(str(place) for place in places)
    free = shutil.disk_usage(_existing(folders.data_folder())).free
    if free < _LITTLE:
        said = f"only {free / 1e6:.0f} MB are free for {folders.data_folder()}"
        return (Finding("folders", "wrong", said, "make room on the disk"),)
    return (Finding("folders", "good", f"{said}; {free / 1e9:.1f} GB free"),)


def _existing(folder: Path) -> Path:
    """The folder, or where it would have to be made."""
    return next(one for one in (folder, *folder.parents) if one.exists())


def _refused(folder: Path) -> str:
    """Why nothing can be written there; nothing is left behind by the trial."""
    place = _existing(folder)
    if not place.is_dir():
        return f"{place} is a file"
    try:
        with tempfile.NamedTemporaryFile(dir=place, prefix="mittelstimme-") as trial:
            trial.write(b"trial")
            trial.flush()
    except OSError as error:
        return error.strerror or str(error)
    return ""


def settings() -> tuple[Finding, ...]:
    """Whether the file can be read, and who plays."""
    from trainer.settings import load, settings_path

    path = settings_path()
    if not path.exists():
        return (Finding("settings", "good", f"none yet; the first start makes {path}"),)
    try:
        found = load(path)
    except SettingsError as error:
        return (of_error("settings", "fatal", error),)
    said = f"{found.player.name} plays, of {len(found.players)}; {path}"
    return (Finding("settings", "good", said),)


def log() -> tuple[Finding, ...]:
    """Whether the log can be opened and its database is sound, as far as a quick look goes."""
    from sqlalchemy import text

    from trainer.journal import LOG_VARIABLE, log_location
    from trainer.journal.store import Journal
    from trainer.settings import load, settings_path

    kept = load().log if settings_path().exists() else ""
    where = log_location(os.environ.get(LOG_VARIABLE) or kept)
    if "://" not in where and not Path(where).exists():
        return (Finding("log", "good", f"none yet; the first pass makes {where}"),)
    try:
        with Journal.open(where, write=False) as journal:
            takes = sum(player.takes for player in journal.players())
            with journal.reading() as connection:
                told = "ok"
                if connection.dialect.name == "sqlite":
                    told = str(connection.execute(text("PRAGMA quick_check(1)")).scalar())
    except LogError as error:
        return (of_error("log", "wrong", error, "see `mittelstimme log verify`"),)
    if told != "ok":
        said = f"{_shown(where)} is damaged ({' '.join(told.split())})"
        return (Finding("log", "wrong", said, "`mittelstimme log verify --repair` mends it"),)
    said = f"{takes} {'take' if takes == 1 else 'takes'} in {_shown(where)}"
    return (Finding("log", "good", said),)


def _shown(location: str) -> str:
    from trainer.journal.opening import shown

    return shown(location)
