"""Whether the file of a log that is open is still the one that was opened.

A backup put back, a folder kept alike on two machines, a file deleted or moved: the system says
nothing of it to a program that holds the file open, and SQLite goes on writing into what no longer
has a name, or, where the file was overwritten, into somebody else's pages. So it is asked before
every write.
"""

from __future__ import annotations

import contextlib
import sqlite3
import urllib.parse
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, select

from trainer.journal.beside import dated
from trainer.journal.schema import meta, take

Identity = tuple[int, int]  # device and number of a file
_LONG = 4 * 1024 * 1024  # bytes of a write-ahead log that is brought into the file in mid-take


@dataclass(frozen=True, slots=True)
class _Mark:
    """What the file itself, without its write-ahead log, is known to hold: the log's own id, and
    of the last take its number, its id, and when it was touched."""

    log: str
    seq: int
    take: str
    touched: float


class Watch:
    """Of a log in a file. The connection that writes must not checkpoint by itself: `checkpoint`
    does, so that any other change of the file is a stranger's."""

    def __init__(self, path: Path, connection: Connection) -> None:
        """`connection` has read something, so that the write-ahead log is there. Raises OSError."""
        self.path = path
        self._main = _identity(path)
        self._ahead = _identity(self.ahead)
        self._stamp = _stamp(path)
        self._mark = _mark(connection)
        self.checkpoint(connection)

    @property
    def ahead(self) -> Path:
        """The write-ahead log."""
        return Path(f"{self.path}-wal")

    def amiss(self) -> str:
        """What has become of the file, in words; nothing while it is the same."""
        if self.apart:
            return self._elsewhere()
        try:
            ahead = _identity(self.ahead)
        except OSError:
            return "lost its write-ahead log"
        if ahead != self._ahead:
            return "got another write-ahead log"
        if self._unwritten():
            return ""
        return self._elsewhere() if self.apart else "was overwritten"

    @property
    def apart(self) -> bool:
        """Whether the name leads elsewhere. What is open is then whole, and nobody else's."""
        try:
            return _identity(self.path) != self._main
        except OSError:
            return True

    def checkpoint(self, connection: Connection) -> None:
        """Bring what is written into the file itself; where a reader is in the way, later."""
        mark = _mark(connection)
        connection.rollback()
        raw = connection.connection.driver_connection
        assert raw is not None
        (waits,) = raw.execute("PRAGMA busy_timeout").fetchone()
        raw.execute("PRAGMA busy_timeout=0")
        try:
            (busy, _, _) = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        finally:
            raw.execute(f"PRAGMA busy_timeout={waits}")
        if not busy:
            self._mark = mark
        self._stamp = _stamp(self.path)

    def much_ahead(self) -> bool:
        """Whether the write-ahead log has grown long."""
        return _stamp(self.ahead)[0] > _LONG

    def let_go(self, engine: Engine) -> None:
        """Close the log without a word to what has its name now.

        SQLite would write its write-ahead log into the file, unless that was moved; and whoever
        opens the file next would do so, if it still lay there. Raises OSError.
        """
        if self.apart:
            engine.dispose()
        else:
            aside = dated(self.path, "aside")
            self.path.rename(aside)
            try:
                engine.dispose()
            finally:
                aside.rename(self.path)
        with contextlib.suppress(OSError):
            if _identity(self.ahead) == self._ahead:
                self.ahead.unlink()
                Path(f"{self.path}-shm").unlink(missing_ok=True)

    def _elsewhere(self) -> str:
        return "was replaced by another" if self.path.exists() else "was deleted or moved"

    def _unwritten(self) -> bool:
        """Whether nobody has written into the file but SQLite: where it has changed, it must
        still hold what it held, for another program's checkpoint only adds to that."""
        stamp = _stamp(self.path)
        if stamp == self._stamp:
            return True
        if not self._holds():
            return False
        self._stamp = stamp
        return True

    def _holds(self) -> bool:
        name = f"file:{urllib.parse.quote(str(self.path.resolve()))}?mode=ro&immutable=1"
        known = self._mark
        if self.apart:  # by now; SQLite would wait for ever for what a named pipe may bring
            return False
        try:
            with contextlib.closing(sqlite3.connect(name, uri=True)) as raw:
                row = raw.execute("SELECT value FROM meta WHERE name = 'log'").fetchone()
                last = "SELECT id, touched FROM take WHERE seq = ?"
                found = raw.execute(last, (known.seq,)).fetchone()
        except (sqlite3.Error, OverflowError, UnicodeDecodeError):
            return False
        if row != (known.log,):
            return False
        if not known.seq:
            return True
        return found is not None and found[0] == known.take and found[1] >= known.touched


def _identity(path: Path) -> Identity:
    stat = path.stat()
    return stat.st_dev, stat.st_ino


def _stamp(path: Path) -> tuple[int, int, int]:
    try:
        stat = path.stat()
    except OSError:
        return 0, 0, 0
    return stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns


def _mark(connection: Connection) -> _Mark:
    log = connection.execute(select(meta.c.value).where(meta.c.name == "log")).scalar()
    last = select(take.c.seq, take.c.id, take.c.touched).order_by(take.c.seq.desc()).limit(1)
    row = connection.execute(last).one_or_none()
    if row is None:
        return _Mark(str(log), 0, "", 0.0)
    return _Mark(str(log), row.seq, row.id, row.touched)
