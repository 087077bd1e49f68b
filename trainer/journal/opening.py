"""Opening a log: what lies there, is it ours, is it of our time; then a SQLAlchemy engine to it."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
import urllib.parse
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, select
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError

from trainer.errors import LogError, TrainerError
from trainer.files import NotAFileError, check_place
from trainer.journal.schema import APPLICATION_ID, SCHEMA_VERSION, meta, metadata

NEWER = "this log was written by a newer Mittelstimme (log version {found}, this one knows {known})"
_REMEDY_NEWER = "update the program"
_REMEDY_DAMAGED = "try `log verify --repair`, or put back a backup"


class DamagedLogError(LogError):
    """A log that is not as it was written."""


class ForeignLogError(LogError):
    """Something that is no log, or so damaged that it does not look like one."""


def is_url(location: str) -> bool:
    """Whether a log is named by a database URL, not by a path."""
    return "://" in location


def shown(location: str) -> str:
    """The location as it may be printed: a URL without its password."""
    if not is_url(location):
        return location
    try:
        return make_url(location).render_as_string(hide_password=True)
    except ArgumentError:
        return location.split("@")[-1]


def open_engine(location: str, *, write: bool) -> Engine:
    """An engine to the log at a path or URL; a missing log is made if `write`.

    Raises LogError for a log that is missing (reading), foreign, damaged, newer, or out of reach;
    what lies there is then untouched.
    """
    with translated(location):
        if is_url(location):
            engine = _open_server(location, write=write)
        else:
            engine = _open_file(Path(location), write=write)
        try:
            with engine.connect() as connection:
                found = check_version(connection, location)
            if found < SCHEMA_VERSION:
                _bring_up_to_date(engine, location, found, write=write)
        except BaseException:
            engine.dispose()
            raise
        return engine


@contextlib.contextmanager
def translated(location: str) -> Iterator[None]:
    """Errors of the database inside become a LogError with the place of the log.

    So do values that make no sense, such as a damaged page of SQLite hands out: text that is not
    Unicode, a word where a number should be.
    """
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error) as error:
        raise _as_log_error(error, location) from error
    except (ValueError, TypeError, LookupError, AttributeError, ArithmeticError) as error:
        what = f"the log is damaged ({type(error).__name__}: {error})"
        raise DamagedLogError(what, file=shown(location), remedy=_REMEDY_DAMAGED) from error
    except TrainerError as error:
        raise error.at(file=shown(location)) from error


def _as_log_error(error: Exception, location: str) -> LogError:
    place = shown(location)
    reason = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    text = str(reason).strip().split("\n")[0]
    low = text.lower()
    if "full" in low or "disk i/o" in low:
        return LogError(f"cannot be written ({text})", file=place, remedy="make room on the disk")
    if "readonly" in low or "read-only" in low:
        return LogError("cannot be written", file=place, remedy="give the folder write permission")
    if "locked" in low:
        return LogError("another program keeps the log locked", file=place, remedy="close it")
    if "unable to open" in low:
        return LogError("the log cannot be opened", file=place, remedy="check the folder's rights")
    if isinstance(reason, sqlite3.Error):
        # Whatever else a file of ours answers, it is not as it was written.
        what = f"the log is damaged ({text})"
        return DamagedLogError(what, file=place, remedy=_REMEDY_DAMAGED)
    return LogError(f"the log's database answers: {text}", file=place)


def check_version(connection: Connection, location: str) -> int:
    """The log's schema version; LogError if it is newer than this program or not a number."""
    found = connection.execute(select(meta.c.value).where(meta.c.name == "schema")).scalar()
    place = shown(location)
    if found is None or not found.isdigit():
        raise ForeignLogError("this database is not a log of Mittelstimme", file=place)
    if int(found) > SCHEMA_VERSION:
        raise LogError(
            NEWER.format(found=found, known=SCHEMA_VERSION), file=place, remedy=_REMEDY_NEWER
        )
    return int(found)


def _bring_up_to_date(engine: Engine, location: str, found: int, *, write: bool) -> None:
    if not write:
        raise LogError(
            f"the log is of version {found}, older than this program's",
            file=shown(location),
            remedy="open it once where it can be written",
        )
    from trainer.journal.migrations import migrate

    migrate(engine, location, found)


# ---- a file ---------------------------------------------------------------------------------


def _open_file(path: Path, *, write: bool) -> Engine:
    if not path.is_dir():
        try:
            check_place(path)
        except NotAFileError as error:
            raise LogError(str(error.strerror), file=path, remedy="name a file") from None
    fresh = not path.exists() or path.stat().st_size == 0
    if fresh and not write and path.exists():
        raise LogError("the file is empty", file=path, remedy="fetch or export it again")
    if fresh and not write:
        raise LogError("there is no log yet", file=path, remedy="practise first, or name one")
    if fresh:
        _make_file(path)
    immutable = _look(path)
    if write and not os.access(path, os.W_OK):
        raise LogError("cannot be written", file=path, remedy="give the file write permission")
    return file_engine(path, write=write, immutable=immutable)


def file_engine(path: Path, *, write: bool, immutable: bool) -> Engine:
    """An engine to a SQLite file as it lies there, nothing asked."""
    mode = "rw" if write else "ro"
    name = f"file:{urllib.parse.quote(str(path.resolve()))}?mode={mode}"
    if immutable and not write:
        name += "&immutable=1"

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(name, uri=True, timeout=10.0, check_same_thread=False)

    engine = create_engine("sqlite://", creator=connect, pool_size=2, poolclass=_pool())
    event.listen(engine, "connect", _writing if write else _plain)
    event.listen(engine, "begin", _begin)
    return engine


def _pool() -> type[Any]:
    from sqlalchemy.pool import QueuePool

    return QueuePool


def _plain(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # transactions are begun by `_begin`, not by sqlite3
    connection.execute("PRAGMA foreign_keys=ON")


def _writing(connection: Any, record: Any) -> None:
    _plain(connection, record)
    connection.execute("PRAGMA journal_mode=WAL")
    # FULL syncs at every commit: a chord written survives the machine, not only the program.
    connection.execute("PRAGMA synchronous=FULL")


def _begin(connection: Connection) -> None:
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def _make_file(path: Path) -> None:
    """Make a new log beside its place and put it there whole, so that none is ever half made."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}-", suffix=".new", dir=path.parent)
        os.close(handle)
    except OSError as error:
        raise LogError(
            f"the log cannot be made ({error.strerror})",
            file=path,
            remedy="give the folder write permission, or name another with --log",
        ) from None
    temporary = Path(name)
    try:
        with contextlib.closing(sqlite3.connect(temporary)) as raw:
            raw.execute(f"PRAGMA application_id={APPLICATION_ID}")
            raw.execute("PRAGMA journal_mode=WAL")
            raw.commit()
        engine = file_engine(temporary, write=True, immutable=False)
        with engine.begin() as connection:
            create_tables(connection)
        # Closing checkpoints too, but is silent where the disk is full: the tables would be lost.
        with contextlib.closing(sqlite3.connect(temporary)) as raw:
            raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        engine.dispose()
        if path.exists():  # empty, or another program was quicker
            if path.stat().st_size == 0:
                temporary.replace(path)
            return
        with contextlib.suppress(FileExistsError):
            os.link(temporary, path)
    except OSError as error:
        raise LogError(f"the log cannot be made ({error.strerror})", file=path) from None
    finally:
        for suffix in ("", "-wal", "-shm"):
            Path(f"{temporary}{suffix}").unlink(missing_ok=True)


def create_tables(connection: Connection) -> None:
    """The empty tables and the log's own id."""
    metadata.create_all(connection)
    rows = [
        {"name": "schema", "value": str(SCHEMA_VERSION)},
        {"name": "log", "value": str(uuid.uuid4())},
    ]
    connection.execute(meta.insert(), rows)


def _look(path: Path) -> bool:
    """Check a file without changing it; whether it can only be read as a fixed picture.

    The file is opened by SQLite alone: where another handle to it is closed, the system drops the
    locks that SQLite holds for a writer in this process.
    """
    if path.is_dir():
        raise LogError("this is a folder, not a log", file=path, remedy="name a file in it")
    if not path.is_file():
        raise LogError("this is not a file", file=path, remedy="name another")
    name = f"file:{urllib.parse.quote(str(path.resolve()))}?mode=ro"
    try:
        _look_inside(path, name)
    except sqlite3.OperationalError as error:
        # A log in WAL mode in a folder that cannot be written has no place for its index.
        if "unable to open" not in str(error) and "readonly" not in str(error):
            raise
        wal = Path(f"{path}-wal")
        if wal.exists() and wal.stat().st_size:
            raise
        _look_inside(path, name + "&immutable=1")
        return True
    except sqlite3.DatabaseError as error:
        if "not a database" not in str(error):
            raise
        raise ForeignLogError("this is not a log of Mittelstimme", file=path) from None
    return False


def _look_inside(path: Path, name: str) -> None:
    with contextlib.closing(sqlite3.connect(name, uri=True, timeout=10.0)) as raw:
        (application,) = raw.execute("PRAGMA application_id").fetchone()
        raw.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if application != APPLICATION_ID:
        raise ForeignLogError("this database is not a log of Mittelstimme", file=path)


# ---- a server -------------------------------------------------------------------------------


def _open_server(location: str, *, write: bool) -> Engine:
    place = shown(location)
    try:
        url = make_url(location)
        if url.get_backend_name() == "postgresql" and "+" not in url.drivername:
            url = url.set(drivername="postgresql+psycopg")
        if url.get_backend_name() != "postgresql":
            raise LogError(
                f"logs are not kept in {url.get_backend_name()}",
                file=place,
                remedy="name a file, or a postgresql:// URL",
            )
        engine = create_engine(url, pool_size=2, pool_pre_ping=True)
    except ArgumentError:
        raise LogError("this URL cannot be read", file=place) from None
    except (ModuleNotFoundError, NoSuchModuleError):
        raise LogError(
            "PostgreSQL needs the driver psycopg",
            file=place,
            remedy="pip install 'mittelstimme[postgresql]'",
        ) from None
    with engine.begin() as connection:
        # One at a time may make the tables.
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({APPLICATION_ID})")
        present = set(inspect(connection).get_table_names()) & set(metadata.tables)
        if not present and write:
            create_tables(connection)
        elif not present:
            raise LogError("there is no log yet", file=place, remedy="practise first")
        elif "meta" not in present:
            raise ForeignLogError("this database is not a log of Mittelstimme", file=place)
    return engine
