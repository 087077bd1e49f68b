"""Going on in a new file, where that of the log is no longer the one that was opened."""

from __future__ import annotations

import contextlib
import sqlite3

from trainer.errors import LogError
from trainer.journal.beside import dated, remove
from trainer.journal.since_opened import Session
from trainer.journal.store import Journal
from trainer.journal.watch import Watch


def go_on(journal: Journal, watch: Watch, session: Session) -> Journal:
    """A new log beside the one that was lost, with everything that was written to it.

    Where the file has only lost its name, all of it is still open and is copied. Where others
    have written into it, nothing that is read from it can be trusted: then the new log holds what
    this program has written. Raises LogError; the new file is then gone again.
    """
    path = dated(watch.path, "continued")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if watch.apart and _copied(journal, str(path)):
            return Journal.open(path)
        remove(path)
        new = Journal.open(path)
        try:
            with new.writing() as connection:
                session.write(connection)
        except BaseException:
            new.close()
            raise
        return new
    except OSError as error:
        what = f"the log is lost and another cannot be made ({error.strerror})"
        raise LogError(what, file=path, remedy="give the folder write permission") from None
    except LogError:
        remove(path)
        raise


def _copied(journal: Journal, path: str) -> bool:
    """Copy a log from its open connection; whether that could be done."""
    try:
        with journal.engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert raw is not None
            with contextlib.closing(sqlite3.connect(path)) as target:
                raw.backup(target)
                (said,) = target.execute("PRAGMA quick_check(1)").fetchone()
                return str(said) == "ok"
    except (sqlite3.Error, UnicodeDecodeError):
        return False
