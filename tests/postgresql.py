"""A PostgreSQL server for tests: the one `MITTELSTIMME_TEST_POSTGRESQL` names, or our own.

The variable holds a URL whose user may create databases. Without it, a server of Debian's
package is started on a temporary folder, listening on a socket there only.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import URL, make_url

VARIABLE = "MITTELSTIMME_TEST_POSTGRESQL"
_SETTINGS = "-c listen_addresses= -c fsync=off -c synchronous_commit=off -c full_page_writes=off"


def _programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if found:
        return found[-1].parent
    plain = shutil.which("initdb")
    return Path(plain).parent if plain else None


def _as_server(*command: str | Path) -> None:
    """Run as a user who may own a server: root may not."""
    words = [str(word) for word in command]
    if os.geteuid() == 0:
        words = ["runuser", "-u", "postgres", "--", *words]
    done = subprocess.run(words, capture_output=True, text=True, check=False, cwd="/")
    if done.returncode:
        raise RuntimeError(f"{' '.join(words)}: {done.stderr or done.stdout}")


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[URL]:
    """The URL of a server on which databases may be made."""
    given = os.environ.get(VARIABLE)
    if given:
        yield make_url(given).set(drivername="postgresql+psycopg")
        return
    programs = _programs()
    if programs is None:
        pytest.skip(f"no PostgreSQL here: install its server, or set {VARIABLE} to a URL")
    folder = Path(tempfile.mkdtemp(prefix="mittelstimme-pg-"))
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
    data = folder / "data"
    try:
        _as_server(programs / "initdb", "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8")
        options = f"{_SETTINGS} -k {folder}"
        log = folder / "server.log"
        _as_server(programs / "pg_ctl", "-D", data, "-w", "-l", log, "-o", options, "start")
        try:
            yield URL.create("postgresql+psycopg", "postgres", query={"host": str(folder)})
        finally:
            _as_server(programs / "pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


class Databases:
    """Hands out the URLs of fresh databases and drops them at the end."""

    def __init__(self, server: URL) -> None:
        self._server = server
        self._engine = create_engine(server.set(database="postgres"), isolation_level="AUTOCOMMIT")
        self._made: list[str] = []

    def new(self) -> str:
        """The URL of a new, empty database, as a player would write it."""
        name = f"test_{os.getpid()}_{os.urandom(4).hex()}"
        with self._engine.connect() as connection:
            connection.execute(text(f'CREATE DATABASE "{name}"'))
        self._made.append(name)
        url = self._server.set(drivername="postgresql", database=name)
        return url.render_as_string(hide_password=False)

    def close(self) -> None:
        with self._engine.connect() as connection:
            for name in self._made:
                connection.execute(text(f'DROP DATABASE "{name}" WITH (FORCE)'))
        self._engine.dispose()


@pytest.fixture
def databases(postgresql_server: URL) -> Iterator[Databases]:
    made = Databases(postgresql_server)
    yield made
    made.close()
