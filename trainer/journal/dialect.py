"""The one statement SQLAlchemy leaves to each database: insert, or do something if it is there."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Table


def upsert(connection: Connection, table: Table) -> Any:
    """The dialect's INSERT, which has `on_conflict_do_nothing` and `on_conflict_do_update`."""
    if connection.dialect.name == "postgresql":  # imported where it is used: it takes its time
        from sqlalchemy.dialects import postgresql

        return postgresql.insert(table)
    from sqlalchemy.dialects import sqlite

    return sqlite.insert(table)
