"""Dated copies of the log, made while it is in use: one a day, seven days and four weeks kept.

They lie in a folder beside the log. Only a copy that is whole takes the place of older ones: a log
that has become damaged never pushes out the last that was not.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
import urllib.parse
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

from trainer.errors import LogError
from trainer.journal.beside import dated, move
from trainer.journal.schema import APPLICATION_ID

DAYS, WEEKS = 7, 4
_AT_ONCE = 256  # pages copied before it is asked whether to stop


class _StoppedError(Exception):
    """The program ends: the copy can wait until tomorrow."""


def folder_of(log: Path) -> Path:
    """Where the copies of a log are."""
    return log.with_name(f"{log.stem}-copies")


def copies(log: Path) -> tuple[tuple[date, Path], ...]:
    """The copies there are, the last first."""
    found = []
    for path in folder_of(log).glob(f"*{log.suffix}"):
        with contextlib.suppress(ValueError):
            day = date.fromisoformat(path.stem)
            if path.is_file():  # what is none of ours may have any kind
                found.append((day, path))
    return tuple(sorted(found, reverse=True))


def keep_copy(log: Path, today: date, stop: threading.Event) -> bool:
    """Copy the log, if anything is in it and today's copy is not there yet, and let go of copies
    that are no longer kept; whether one was made. A `stop` ends it at once.

    Raises LogError where the copy cannot be made or the log is damaged.
    """
    target = folder_of(log) / f"{today.isoformat()}{log.suffix}"
    if target.exists():
        return False
    unfinished = target.with_name(f".{target.name}.new")
    try:
        with contextlib.closing(_reading(log)) as source:
            if source.execute("SELECT 1 FROM take LIMIT 1").fetchone() is None:
                return False
            target.parent.mkdir(parents=True, exist_ok=True)
            unfinished.unlink(missing_ok=True)
            with contextlib.closing(sqlite3.connect(unfinished)) as out:
                _copy(source, out, stop)
                (said,) = out.execute("PRAGMA quick_check(1)").fetchone()
        if said != "ok":
            raise LogError(f"the log is damaged ({said})", file=log, remedy="try `log verify`")
        unfinished.replace(target)
    except _StoppedError:
        return False
    except (OSError, sqlite3.Error, UnicodeDecodeError) as error:  # a damaged one's own words
        raise LogError(f"the log of today cannot be copied ({error})", file=target) from None
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)
    for path in _old(copies(log)):
        with contextlib.suppress(OSError):
            path.unlink()
    return True


def _reading(log: Path) -> sqlite3.Connection:
    name = f"file:{urllib.parse.quote(str(log.resolve()))}?mode=ro"
    return sqlite3.connect(name, uri=True, timeout=10.0)


def _copy(source: sqlite3.Connection, out: sqlite3.Connection, stop: threading.Event) -> None:
    """One state of the log, whatever is written meanwhile."""

    def go_on(_status: int, _left: int, _all: int) -> None:
        if stop.is_set():
            raise _StoppedError

    source.execute("BEGIN")
    source.execute("SELECT count(*) FROM meta").fetchone()
    source.backup(out, pages=_AT_ONCE, progress=go_on)
    out.execute("PRAGMA journal_mode=DELETE")  # one file, to be carried anywhere


def _old(found: Sequence[tuple[date, Path]]) -> list[Path]:
    """The copies to let go of: not among the last days, nor the last of one of the last weeks."""
    weeks: dict[tuple[int, int], Path] = {}
    for day, path in found:
        weeks.setdefault(day.isocalendar()[:2], path)
    kept = {*(path for _, path in found[:DAYS]), *list(weeks.values())[:WEEKS]}
    return [path for _, path in found if path not in kept]


def restore(
    log: Path, copy: Path, before_anything_is_moved: Callable[[], None] = lambda: None
) -> Path | None:
    """Put a copy in the place of the log; where the log as it was is now, if there was one.

    Whatever is raised before anything is moved leaves the log as it was. Raises LogError where the
    copy is not whole, or cannot be put there.
    """
    fresh = log.with_name(f".{log.name}.restored")
    try:
        with contextlib.closing(_reading(copy)) as source:
            (ours,) = source.execute("PRAGMA application_id").fetchone()
            (said,) = source.execute("PRAGMA quick_check(1)").fetchone()
            if ours != APPLICATION_ID or said != "ok":
                raise LogError("this copy is not whole", file=copy, remedy="take another")
            fresh.unlink(missing_ok=True)
            with contextlib.closing(sqlite3.connect(fresh)) as out:
                # in pieces, so that a wish to stop is heard between them
                source.backup(out, pages=_AT_ONCE, progress=lambda *_: None)
        before_anything_is_moved()
        aside = dated(log, "before-restoring") if log.exists() else None
        if aside is not None:
            move(log, aside)
        fresh.replace(log)
    except (OSError, sqlite3.Error, UnicodeDecodeError) as error:
        raise LogError(f"this copy cannot be put back ({error})", file=copy) from None
    finally:
        with contextlib.suppress(OSError):
            fresh.unlink(missing_ok=True)
    return aside
