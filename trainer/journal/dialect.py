"""The one statement SQLAlchemy leaves to each database: insert, or do something if it is there."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Table
from sqlalchemy.dialects import postgresql, sqlite


def upsert(connection: Connection, table: Table) -> Any:
    """The dialect's INSERT, which has `on_conflict_do_nothing` and `on_conflict_do_update`."""
    if connection.dialect.name == "postgresql":
        return postgresql.insert(table)
    return sqlite.insert(table)
