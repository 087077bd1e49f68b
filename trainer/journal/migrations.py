"""Bringing an older log up to date: a dated backup first, then one step a version.

A step changes the shape of the tables and nothing else; it writes its tables out, because
`schema.py` always shows the newest shape. What can be computed from the marks is computed once,
after the last step.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path

import sqlalchemy as sa
from alembic.migration import MigrationContext
from alembic.operations import Operations

from trainer.errors import LogError
from trainer.journal.schema import SCHEMA_VERSION, meta, sight
from trainer.journal.sums import put_all_sights, recount

_SEQ = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def migrate(engine: sa.Engine, location: str, found: int) -> str:
    """Bring a log of schema `found` to this program's; where the backup lies.

    All of it happens or nothing. Raises LogError if the backup cannot be made: the log is then
    as it was.
    """
    server = engine.dialect.name == "postgresql"
    backup = "" if server else _back_up_file(engine, Path(location))
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        if server:
            backup = _back_up_server(connection)
        operations = Operations(MigrationContext.configure(connection))
        for version in range(found, SCHEMA_VERSION):
            STEPS[version](operations)
        connection.execute(sa.delete(sight))
        put_all_sights(connection)
        recount(connection)
        now = sa.update(meta).where(meta.c.name == "schema").values(value=str(SCHEMA_VERSION))
        connection.execute(now)
    return backup


def _back_up_file(engine: sa.Engine, path: Path) -> str:
    name = f"{path.stem}-{date.today().isoformat()}-before-version-{SCHEMA_VERSION}"
    backup = path.with_name(f"{name}{path.suffix}")
    number = 1
    while backup.exists():
        number += 1
        backup = path.with_name(f"{name}-{number}{path.suffix}")
    unfinished = backup.with_name(f".{backup.name}.new")
    try:
        unfinished.unlink(missing_ok=True)
        with engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert raw is not None
            raw.execute("VACUUM INTO ?", (str(unfinished),))
        unfinished.rename(backup)
    except Exception as error:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)
        raise LogError(
            f"is of an older version and cannot be backed up ({error})",
            file=path,
            remedy="make room for a copy beside it",
        ) from error
    return str(backup)


def _back_up_server(connection: sa.Connection) -> str:
    stem = f"before_version_{SCHEMA_VERSION}_{date.today():%Y%m%d}"
    schemas = sa.inspect(connection).get_schema_names()
    name, number = stem, 1
    while name in schemas:
        number += 1
        name = f"{stem}_{number}"
    connection.exec_driver_sql(f'CREATE SCHEMA "{name}"')
    for table in sa.inspect(connection).get_table_names():
        connection.exec_driver_sql(f'CREATE TABLE "{name}"."{table}" AS TABLE "{table}"')
    return f"schema {name}"


def _add_sums(operations: Operations) -> None:
    """1 to 2: chords that belong to no moment, what exercises ask, sums by day and figuring."""
    extra = sa.Column("extra", sa.Text, nullable=False, server_default="[]")
    operations.add_column("marking", extra)
    operations.add_column("fault", sa.Column("onset", sa.String(24)))
    operations.create_index("take_by_time", "take", ["started_at"])

    def text(name: str, length: int | None = None) -> sa.Column[str]:
        kind = sa.Text() if length is None else sa.String(length)
        return sa.Column(name, kind, primary_key=True)

    def counts(*names: str) -> list[sa.Column[int]]:
        return [sa.Column(name, sa.BigInteger, nullable=False) for name in names]

    operations.create_table(
        "sight",
        sa.Column(
            "text_seq",
            _SEQ,
            sa.ForeignKey("exercise_text.seq"),
            primary_key=True,
            autoincrement=False,
        ),
        sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("figuring", sa.Text, nullable=False),
        sa.Column("key", sa.String(24), nullable=False),
        sa.Column("top", sa.SmallInteger, nullable=False),
        sa.Column("chord", sa.Boolean, nullable=False),
        sqlite_with_rowid=False,
    )
    operations.create_table(
        "played",
        *(text("player_id", 36), text("day", 10), text("exercise_id"), text("key", 24)),
        sa.Column("tempo", sa.Float(53), primary_key=True),
        *counts("takes", "finished", "played_ms", "complete", "judged", "in_time", "timed"),
        *counts("gross", "weak", "remark", "clean", "successions"),
        *counts("steady", "bias_us", "deviation_us"),
        sqlite_with_rowid=False,
    )
    operations.create_table(
        "fluency",
        *(text("player_id", 36), text("month", 7), text("figuring"), text("key", 24)),
        sa.Column("top", sa.SmallInteger, primary_key=True, autoincrement=False),
        *counts("chords", "complete", "timed", "in_time"),
        *counts("thought", "think_log", "think_square"),
        sqlite_with_rowid=False,
    )
    operations.create_table(
        "fault_count",
        *(text("player_id", 36), text("day", 10), text("exercise_id")),
        *(text("rule", 60), text("weight", 6)),
        *counts("times"),
        sqlite_with_rowid=False,
    )


def _let_keys_tell_their_manual(operations: Operations) -> None:
    """2 to 3: a key may say what its manual was told to play, in bits that were 0 (`packing.py`).

    The tables and what stands in them stay as they are: every key so far was on a manual that plays
    everything. The version alone keeps older programs from logs they would take for damaged.
    """


def _tell_the_hands_apart(operations: Operations) -> None:
    """3 to 4: marks say when each hand struck. Those that are there say what they said."""
    operations.add_column("marking", sa.Column("touch", sa.Text))
    operations.add_column("moment", sa.Column("attack", sa.Text))


def _name_causes(operations: Operations) -> None:
    """4 to 5: marks name causes. In those that are there every fault stands for itself."""
    operations.add_column("marking", sa.Column("causes", sa.Text))


# version a step starts from -> the step
STEPS: Mapping[int, Callable[[Operations], None]] = {
    1: _add_sums,
    2: _let_keys_tell_their_manual,
    3: _tell_the_hands_apart,
    4: _name_causes,
}
