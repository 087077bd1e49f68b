"""A log of any number of chords, made without playing them: rows as the writer would leave them.

One player has seven tenths of it: five years of a busy life at the keyboard. The others are a
class.
"""

from __future__ import annotations

import json
import math
import random
import zlib
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Table, insert

from trainer.journal.packing import COMPRESSED, conditions_text, pack_events, stored_digest
from trainer.journal.records import text_seq
from trainer.journal.schema import chunk, fault, marking, moment, player, take
from trainer.journal.store import Journal
from trainer.journal.sums import recount
from trainer.judging.take import Conditions
from trainer.listening.events import KeyDown
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.score.library import Library
from trainer.score.transpose import transposed

BUSY = "busy-player-of-the-bench"
LAST = date(2026, 3, 31)
_DAYS = 1500
_RULES = (
    ("consecutive-fifths", "gross"),
    ("consecutive-octaves", "gross"),
    ("missing-third", "gross"),
    ("hidden-octave", "weak"),
    ("spacing", "weak"),
    ("needless-motion", "remark"),
)
_PIECES = ("bellows", "blue-hour", "candle-ends", "cold-stove", "dundee")
_KEYS = ("C", "G", "D", "F", "Bb", "A")


def build(location: str, chords: int) -> int:
    """Make the log; the number of chords in it, at least as many as asked for."""
    with Journal.open(location) as journal, journal.writing() as connection:
        made = _fill(connection, chords)
        recount(connection)
    return made


def _fill(connection: Connection, chords: int) -> int:
    chance = random.Random(20)
    library = Library()
    pieces = [transposed(library.find(p), key) for p in _PIECES for key in _KEYS]
    texts = [text_seq(connection, write_exercise(piece)) for piece in pieces]
    ids = [BUSY, *(f"player-of-the-class-{n}" for n in range(9))]
    rows = [{"id": id, "name": id, "named": 0.0, "local": True} for id in ids]
    connection.execute(insert(player), rows)
    load = _Load(connection)
    made = number = 0
    while made < chords:
        number += 1
        which = chance.randrange(len(pieces))
        who = ids[0] if chance.random() < 0.7 else chance.choice(ids[1:])
        made += _take(load, chance, number, pieces[which], texts[which], who)
        if number % 2000 == 0:
            load.flush()
    load.flush()
    if connection.dialect.name == "postgresql":
        for table in ("take", "marking"):
            connection.exec_driver_sql(
                f"SELECT setval(pg_get_serial_sequence('{table}', 'seq'), {number + 1})"
            )
    return made


def _take(
    load: _Load, chance: random.Random, seq: int, piece: Exercise, text: int, who: str
) -> int:
    day = LAST - timedelta(days=chance.randrange(_DAYS))
    started = datetime(day.year, day.month, day.day, 18, tzinfo=UTC) + timedelta(
        seconds=chance.randrange(14_000)
    )
    tempo = None if chance.random() < 0.2 else float(chance.randrange(44, 100, 4))
    moments = [m for m in piece.moments if m.chord]
    rows = [_moment(chance, seq, m.index, tempo is not None) for m in moments]
    broken = [n for n in range(len(rows)) if chance.random() < 0.08]
    words = ("soprano,bass", "g4,c3,a4,d3", "fifths between soprano and bass", None, None)
    faults = [
        (seq, number, *chance.choice(_RULES), f"{at},{at + 1}", *words)
        for number, at in enumerate(broken)
    ]
    for row in faults:
        load.add(fault, row)
    complete = sum(row[2] == "complete" for row in rows)
    size = len(rows)
    timed = size if tempo else None
    in_time = sum(abs(row[9] or 0) <= 0.15 for row in rows) if tempo else None
    values = (complete, size, in_time, timed, 4.0 if tempo else None, 31.0 if tempo else None)
    counts = (
        len(broken),
        0,
        0,
        size - 1 - len(broken),
        size - 1,
        "[]",
        touch(size) if tempo else None,
        causes(broken),
    )
    digest = stored_digest(
        1,
        dict(zip(_FIGURES, (*values, *counts), strict=True)),
        [dict(zip(_OF_A_MOMENT, row[1:], strict=True)) for row in rows],
        [dict(zip(_OF_A_FAULT, row[1:], strict=True)) for row in faults],
    )
    load.add(marking, (seq, seq, digest, 1, 0.0, *values, *counts))
    load.add(chunk, (seq, 0, COMPRESSED, zlib.crc32(_EVENTS), _EVENTS))
    conditions = conditions_text(Conditions(tempo=tempo))
    head = (f"take-{seq:012d}-of-the-bench", who, piece.id, text, conditions, tempo, 0.0)
    times = (started.isoformat(), started.timestamp(), day.isoformat(), "bench", 1, "[]")
    load.add(take, (seq, *head, *times, "finished", size * 1.2, "", started.timestamp(), seq))
    for row in rows:
        load.add(moment, row)
    return size


_FIGURES = tuple(column.name for column in marking.columns)[5:]
_OF_A_MOMENT = tuple(column.name for column in moment.columns)[1:]
_OF_A_FAULT = tuple(column.name for column in fault.columns)[1:]
_EVENTS = zlib.compress(pack_events(KeyDown(n / 8, 40 + n % 40, 64) for n in range(80)))
_OUTCOMES = ("complete",) * 12 + ("incomplete", "foreign")


def _moment(chance: random.Random, seq: int, index: int, timed: bool) -> tuple[Any, ...]:
    late = chance.gauss(0.0, 0.08) if timed else None
    think = None if timed else math.exp(chance.gauss(0.0, 0.5))
    late_ms = None if late is None else 1000 * late
    outcome = chance.choice(_OUTCOMES)
    voicing = chance.choice(("c3 e4 g4 c5", "g2 d4 g4 b4", "f3 a3 c4 f4"))
    heard = (outcome, b"0@CH", voicing, "", "", "")
    return (seq, index, *heard, late_ms, late, 9.0, think, attack(late))


def attack(late: float | None) -> str | None:
    """How the hands struck a chord so many beats late, at 60, as it is stored; None untimed."""
    if late is None:
        return None
    left, right = ([round(1000 * late + ms, 3), round(late, 6)] for ms in (-4.0, 4.0))
    return json.dumps(["together", left, right, left, right])


def touch(size: int) -> str:
    """How the hands lay in a pass of so many chords, as it is stored."""
    hands = [[size, size, -4.0, 30.0], [size, size, 8.0, 5.0]]
    return json.dumps([*hands, 9.0, 1.0, [["together", size]]])


def causes(broken: list[int]) -> str | None:
    """What explains the first fault of a pass in which chords were wrong, as it is stored."""
    text = "Bar 2, beat 3: one finger a step above its key, a for g."
    return json.dumps([["finger-beside", broken[0], text, "", [0], []]]) if broken else None


class _Load:
    """Rows on their way into the tables, by the quickest way each database has."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self.rows: dict[str, list[tuple[Any, ...]]] = {}

    def add(self, table: Table, row: tuple[Any, ...]) -> None:
        self.rows.setdefault(table.name, []).append(row)

    def flush(self) -> None:
        raw = self.connection.connection.driver_connection
        assert raw is not None
        for table in (take, marking, moment, fault, chunk):
            rows = self.rows.pop(table.name, [])
            if self.connection.dialect.name == "postgresql":
                with raw.cursor().copy(f"COPY {table.name} FROM STDIN") as out:
                    for row in rows:
                        out.write_row(row)
            else:
                marks = ", ".join("?" * len(table.columns))
                raw.executemany(f"INSERT INTO {table.name} VALUES ({marks})", rows)
