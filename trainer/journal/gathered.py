"""What lies on the pages of a damaged log, sorted into its tables again.

A page does not say which table it belongs to. The rows of our tables differ in how many columns
they have and in what kinds; where a column is damaged the others tell. The entries of an index
repeat parts of a take whose own row is gone.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from types import TracebackType

from sqlalchemy import Boolean, Column, Float, Integer, LargeBinary, Table

from trainer.journal.pages import Kind, Row, Value
from trainer.journal.schema import (
    STATES,
    chunk,
    exercise_text,
    fault,
    fault_count,
    fluency,
    marking,
    meta,
    moment,
    player,
    sight,
    take,
)

Found = Mapping[str, Value]

_KEPT = (meta, player, exercise_text, take, marking, chunk, moment, fault)
_DERIVED = (sight, fluency, fault_count)  # made anew; named here to be told from what is kept
_LATER = {marking.name: 3, moment.name: 1, fault.name: 1}  # columns that older logs do not have
_INDEXES: Mapping[tuple[str, ...], tuple[str, ...]] = {  # what entries of indexes say of a take
    ("text", "number"): ("id", "seq"),
    ("text", "number", "number"): ("player_id", "started_at", "seq"),
    ("text", "text", "number", "number"): ("player_id", "exercise_id", "started_at", "seq"),
}
_HEARSAY = ("seq", "id", "player_id", "exercise_id", "started_at")
_BATCH = 2000


class Gathered:
    """The rows of the tables, in a database of our own that goes away with it; nothing in it is
    held to anything, and of one row there may be several, newer ones first."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self._raw = sqlite3.connect("")
        self._raw.row_factory = sqlite3.Row
        for table in _KEPT:
            columns = ", ".join(f'"{column.name}"' for column in table.columns)
            self._raw.execute(f"CREATE TABLE {table.name} ({columns})")
        self._raw.execute(f"CREATE TABLE hearsay ({', '.join(_HEARSAY)})")
        self._fill(rows)
        for name, column in (
            *(("take", "seq"), ("take", "exercise_id"), ("exercise_text", "seq"), ("player", "id")),
            *(("chunk", "take_seq"), ("marking", "take_seq"), ("marking", "seq")),
            *(("moment", "marking_seq"), ("fault", "marking_seq")),
            *(("hearsay", "seq"), ("hearsay", "player_id")),
        ):
            self._raw.execute(f"CREATE INDEX {name}_{column} ON {name} ({column})")

    def __enter__(self) -> Gathered:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._raw.close()

    def every(self, table: Table) -> Iterator[Found]:
        """All rows found of a table."""
        yield from map(dict, self._raw.execute(f"SELECT * FROM {table.name}"))

    def where(self, table: Table, column: str, value: Value, order: str = "rowid") -> list[Found]:
        """The rows of a table with that value in a column."""
        query = f"SELECT * FROM {table.name} WHERE {column} = ? ORDER BY {order}, rowid"
        return [dict(row) for row in self._raw.execute(query, (value,))]

    def hearsay(self, seq: int) -> Found:
        """What indexes say of a take. Ids of players and digests of texts, and states, stand in
        indexes that look like that of the ids of takes."""
        told: dict[str, Value] = {}
        for row in self._raw.execute("SELECT * FROM hearsay WHERE seq = ?", (seq,)):
            given = {name: value for name, value in dict(row).items() if value is not None}
            if "id" not in given or self._is_a_take(str(given["id"])):
                told |= given
        return told

    def _is_a_take(self, id: str) -> bool:
        query = "SELECT 1 FROM player WHERE id = ? UNION SELECT 1 FROM hearsay WHERE player_id = ?"
        players = self._raw.execute(query, (id, id)).fetchone()
        return 8 <= len(id) <= 36 and id not in STATES and players is None

    def takes(self) -> list[int]:
        """The numbers of all takes of which anything was found."""
        query = (
            "SELECT seq FROM take UNION SELECT take_seq FROM chunk"
            " UNION SELECT take_seq FROM marking"
        )
        return sorted(seq for (seq,) in self._raw.execute(query) if isinstance(seq, int))

    def texts_of(self, exercise_id: str) -> list[int]:
        """The numbers of the texts under which an exercise was played."""
        query = "SELECT DISTINCT text_seq FROM take WHERE exercise_id = ?"
        found = self._raw.execute(query, (exercise_id,))
        return [seq for (seq,) in found if isinstance(seq, int)]

    def _fill(self, rows: Iterable[Row]) -> None:
        waiting: dict[str, list[Sequence[Value]]] = {}
        for row in rows:
            name, values = _sorted(row)
            if not name:
                continue
            batch = waiting.setdefault(name, [])
            batch.append(values)
            if len(batch) == _BATCH:
                self._put(name, batch)
        for name, batch in waiting.items():
            if batch:
                self._put(name, batch)

    def _put(self, name: str, batch: list[Sequence[Value]]) -> None:
        marks = ", ".join("?" * len(batch[0]))
        self._raw.executemany(f"INSERT INTO {name} VALUES ({marks})", batch)
        batch.clear()


def _sorted(row: Row) -> tuple[str, Sequence[Value]]:
    """The table a row belongs to, and the row as that table has it; no name where there is none."""
    if row.kind == "index":
        columns = _INDEXES.get(tuple(map(_word, row.values)))
        if columns is not None:
            told = dict(zip(columns, row.values, strict=True))
            return "hearsay", [told.get(name) for name in _HEARSAY]
    best, most = None, 0.5
    for table in _BY_SHAPE.get((row.kind, len(row.values)), ()):
        share = _likeness(table, row.values)
        if share > most:
            best, most = table, share
    values = list(row.values)
    if best is None:
        best, values = _begun(row)
    if best is None or best in _DERIVED:
        return "", ()
    width = len(best.columns)
    values += [None] * (width - len(values))
    if best in (exercise_text, take, marking):
        values[0] = row.number  # SQLite keeps the number of a row beside it
    return best.name, values


def _begun(row: Row) -> tuple[Table | None, list[Value]]:
    """The table whose rows begin as this one does, and the row as far as it does. Where the byte
    that tells the length of one column is damaged it takes in its neighbour's: the row then seems
    to have one column fewer, and what follows is at wrong places."""
    found: list[tuple[int, Table]] = []
    for table in _BY_SHAPE.get((row.kind, len(row.values) + 1), ()):
        fits = list(map(_fits, table.columns, row.values))
        fitting = fits.index(False) if False in fits else len(fits)
        if 2 * fitting > len(table.columns) == len(row.values) + 1:
            found.append((fitting, table))
    if len(found) != 1:
        return None, []
    ((fitting, table),) = found
    return table, list(row.values[:fitting])


def _word(value: Value) -> str:
    return "text" if isinstance(value, str) else "number" if isinstance(value, int | float) else ""


def _likeness(table: Table, values: Sequence[Value]) -> float:
    fitting = sum(map(_fits, table.columns, values))
    return fitting / len(values)


def _fits(column: Column[object], value: Value) -> bool:
    if value is None:
        return bool(column.nullable) or column.primary_key
    match column.type:
        case Integer() | Boolean():
            return isinstance(value, int)
        case Float():
            return isinstance(value, int | float)
        case LargeBinary():
            return isinstance(value, bytes)
    return isinstance(value, str)


def _shapes() -> dict[tuple[Kind, int], list[Table]]:
    found: dict[tuple[Kind, int], list[Table]] = {}
    for table in (*_KEPT, *_DERIVED):
        numbered = table.dialect_options["sqlite"]["with_rowid"]
        kind: Kind = "table" if numbered else "index"
        width = len(table.columns)
        for columns in range(width - _LATER.get(table.name, 0), width + 1):
            found.setdefault((kind, columns), []).append(table)
    return found


_BY_SHAPE = _shapes()
