"""What of a damaged log can be read at all, asked of a reader that knows nothing of ours: Python's
sqlite3, table by table from either end, then row by row and column by column, texts as bytes."""

from __future__ import annotations

import contextlib
import sqlite3
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.faults.damaged_logs import AHEAD, TAKES, Whole
from trainer.journal.packing import conditions_text, pack_events
from trainer.journal.schema import metadata


@dataclass
class Readable:
    """What was found as it was before the damage: ids of takes, those whose playing, whose
    conditions and whose exercise can be read, and whose marks are all there."""

    heads: set[str]
    playing: set[str]
    conditions: set[str]
    exercise: set[str]
    marks: set[str]


def readable(path: Path, whole: Whole) -> Readable:
    """What Python's sqlite3 can get at."""
    found = Readable(set(), set(), set(), set(), set())
    try:
        tables = _tables(path)
    except _BROKEN:
        return found
    texts = {row.get("seq"): row.get("text") for row in tables["exercise_text"]}
    chunks = {row.get("take_seq"): row for row in tables["chunk"]}
    said = {row.get("take_seq"): row for row in tables["marking"]}
    counts = {name: Counter(row.get("marking_seq") for row in tables[name]) for name in _SAID}
    for row in tables["take"]:
        id = _text(row.get("id"))
        take = whole.takes.get(id)
        if take is None:
            continue
        found.heads.add(id)
        if row.get("conditions") == conditions_text(take.conditions).encode():
            found.conditions.add(id)
        if texts.get(row.get("text_seq")) == take.exercise.encode():
            found.exercise.add(id)
        payload = chunks.get(row.get("seq"), {}).get("payload")
        if isinstance(payload, bytes) and payload == zlib.compress(pack_events(take.events), 6):
            found.playing.add(id)
        marks = said.get(row.get("seq"), {}).get("seq")
        verdict = whole.verdicts[id]
        sizes = (len(verdict.moments), len(verdict.faults))
        if marks is not None and tuple(counts[name][marks] for name in _SAID) == sizes:
            found.marks.add(id)
    return found


# even the words in which a damaged database complains need not be Unicode
_BROKEN = (sqlite3.Error, OverflowError, UnicodeDecodeError)
_SAID = ("moment", "fault")
_READ = ("take", "exercise_text", "chunk", "marking", *_SAID)


def _text(value: object) -> str:
    return value.decode(errors="replace") if isinstance(value, bytes) else str(value)


def _tables(path: Path) -> dict[str, list[dict[str, Any]]]:
    with contextlib.closing(sqlite3.connect(path)) as raw:
        raw.text_factory = bytes
        return {name: list(_rows(raw, name)) for name in _READ}


def _rows(raw: sqlite3.Connection, table: str) -> Iterator[dict[str, Any]]:
    """Rows from either end; then those between, one by one, column by column."""
    names = [column.name for column in metadata.tables[table].columns]
    keys = names[:2] if table in ("chunk", *_SAID) else names[:1]
    seen: set[tuple[Any, ...]] = set()
    for order in ("ASC", "DESC"):
        by = ", ".join(f"{key} {order}" for key in keys)
        with contextlib.suppress(*_BROKEN):
            for row in raw.execute(f"SELECT * FROM {table} ORDER BY {by}"):
                if row[: len(keys)] not in seen:
                    seen.add(row[: len(keys)])
                    yield dict(zip(names, row, strict=True))
    if len(keys) == 1:
        for number in range(1, TAKES + AHEAD + 2):
            if (number,) not in seen:
                row = {name: _value(raw, table, name, keys[0], number) for name in names}
                if any(value is not None for value in row.values()):
                    yield row | {keys[0]: number}


def _value(raw: sqlite3.Connection, table: str, column: str, key: str, number: int) -> Any:
    with contextlib.suppress(*_BROKEN):
        query = f"SELECT {column} FROM {table} WHERE {key} = ?"
        return (raw.execute(query, (number,)).fetchone() or (None,))[0]
    return None
