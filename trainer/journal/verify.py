"""Whether a log is whole, and making it whole again with nothing lost that can be read.

Repair never works on the only copy: a file is copied to a dated name first. What is damaged in a
single take costs that take its marks or the rest of its events; a file too damaged for its
database is read take by take into a new one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, delete, func, select, text, update
from sqlalchemy.exc import SQLAlchemyError

from trainer.errors import LogError, TrainerError
from trainer.journal.engine import is_url
from trainer.journal.packing import conditions_from, marks_digest, unpack_events
from trainer.journal.records import choose_marking, drop_marking, put_events, remove_take
from trainer.journal.schema import SUMS, chunk, exercise_text, marking, moment, sight, take
from trainer.journal.schema import fault as fault_table
from trainer.journal.store import Journal, read_events, read_verdict
from trainer.journal.sums import Sums, count_all, put_all_sights, read_text, recount
from trainer.listening.events import KeyEvent


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something amiss. `take` is its id, empty for the log as a whole; `remedy` what repair does,
    empty where nothing needs to or can be done."""

    take: str
    what: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Checked:
    """What was looked at, and what was found."""

    takes: int
    markings: int
    moments: int
    troubles: tuple[Trouble, ...]


def verify(journal: Journal) -> Checked:
    """Look at everything in a log without changing it. Raises LogError if it cannot be read."""
    with journal.reading() as connection:
        takes, markings, moments = (
            int(connection.execute(select(func.count()).select_from(t)).scalar_one())
            for t in (take, marking, moment)
        )
        return Checked(takes, markings, moments, tuple(_troubles(connection)))


def _troubles(connection: Connection) -> Iterator[Trouble]:
    if connection.dialect.name == "sqlite":
        for (said,) in connection.execute(text("PRAGMA integrity_check(20)")):
            if said != "ok":
                yield Trouble("", f"the database: {said}", "read it into a new file")
    yield from _text_troubles(connection)
    rows = connection.execute(select(take).order_by(take.c.seq)).mappings().all()
    for row in rows:
        for what, remedy in _take_troubles(connection, row):
            yield Trouble(row["id"], what, remedy)
    yield from _orphans(connection)
    if not _sums_agree(connection):
        yield Trouble("", "the sums are not those of the takes", "add them up again")


def _text_troubles(connection: Connection) -> Iterator[Trouble]:
    for row in connection.execute(select(exercise_text)).mappings():
        if hashlib.sha256(row["text"].encode()).hexdigest() != row["digest"]:
            yield Trouble("", f"exercise text {row['seq']} is not what was stored", "")
            continue
        try:
            moments = len(read_text(row["text"]).moments)
        except TrainerError as error:
            yield Trouble("", f"exercise text {row['seq']} cannot be read ({error.what})", "")
            continue
        query = select(func.count()).where(sight.c.text_seq == row["seq"])
        if connection.execute(query).scalar() != moments:
            what = f"what exercise text {row['seq']} asks is not stored"
            yield Trouble("", what, "read it again")


def _take_troubles(connection: Connection, row: Any) -> Iterator[tuple[str, str]]:
    try:
        conditions_from(row["conditions"])
        datetime.fromisoformat(row["started"])
        [(float(a), float(b)) for a, b in json.loads(row["pauses"])]
    except (LogError, ValueError, TypeError):
        yield "its head cannot be read", "leave it out"
        return
    try:
        read_events(connection, row["seq"])
    except LogError as error:
        yield error.what, "keep its events up to there"
    query = select(marking.c.seq, marking.c.rules, marking.c.digest)
    for one in connection.execute(query.where(marking.c.take_seq == row["seq"])).all():
        try:
            verdict = read_verdict(connection, one.seq)
            digest = marks_digest(one.rules, verdict)
        except (TrainerError, ValueError, TypeError):
            digest = ""
        if one.digest is not None and digest != one.digest:
            yield f"marks of rules {one.rules} are damaged", "drop these marks"
    marks = row["marking_seq"]
    if marks is not None:
        holds = select(marking.c.take_seq).where(marking.c.seq == marks)
        if connection.execute(holds).scalar() != row["seq"]:
            yield "its marks are not there", "take the newest there are"


def _orphans(connection: Connection) -> Iterator[Trouble]:
    for table, column, parent in _PARENTS:
        lost = select(func.count()).select_from(table).where(column.not_in(select(parent)))
        number = int(connection.execute(lost).scalar_one())
        if number:
            yield Trouble("", f"{number} rows of {table.name} belong to nothing", "drop them")


_PARENTS = (
    (moment, moment.c.marking_seq, marking.c.seq),
    (fault_table, fault_table.c.marking_seq, marking.c.seq),
    (marking, marking.c.take_seq, take.c.seq),
    (chunk, chunk.c.take_seq, take.c.seq),
)


def _sums_agree(connection: Connection) -> bool:
    sums = Sums()
    try:
        for _ in count_all(connection, sums):
            pass
    except (TrainerError, ValueError, TypeError):
        return False
    for table in SUMS:
        keys = len(table.primary_key.columns)
        stored = {
            tuple(r[:keys]): [int(v) for v in r[keys:]] for r in connection.execute(select(table))
        }
        if stored != {k: v for k, v in sums.rows[table.name].items() if any(v)}:
            return False
    return True


# ---- repair ---------------------------------------------------------------------------------


def repair(location: str) -> tuple[tuple[Trouble, ...], str]:
    """Make a log whole; what was amiss, and where the copy of the old one is ('' if nothing was).

    Raises LogError if that cannot be done; the log is then as it was.
    """
    if is_url(location):
        with Journal.open(location) as journal:
            found = verify(journal).troubles
            if found:
                _mend(journal, found)
            return found, ""
    path = Path(location)
    try:
        with Journal.open(path) as journal:
            found = verify(journal).troubles
            if not found:
                return found, ""
            if not any(one.what.startswith("the database") for one in found):
                backup = _copy(journal, path)
                _mend(journal, found)
                return found, str(backup)
    except LogError as error:
        if "damaged" not in error.what and "cut off" not in error.what:
            raise
        found = (Trouble("", error.what, "read it into a new file"),)
    from trainer.journal.salvage import salvage

    kept = salvage(path)
    return found, str(kept)


def dated(path: Path, word: str) -> Path:
    """A name beside `path` that is not taken: `log-2026-03-02-WORD.sqlite`."""
    stem = f"{path.stem}-{date.today().isoformat()}-{word}"
    found = path.with_name(f"{stem}{path.suffix}")
    number = 1
    while found.exists():
        number += 1
        found = path.with_name(f"{stem}-{number}{path.suffix}")
    return found


def _copy(journal: Journal, path: Path) -> Path:
    copy = dated(path, "before-repair")
    with journal.reading() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        raw.execute("VACUUM INTO ?", (str(copy),))
    return copy


def _mend(journal: Journal, troubles: tuple[Trouble, ...]) -> None:
    by_take: dict[str, list[Trouble]] = {}
    for one in troubles:
        by_take.setdefault(one.take, []).append(one)
    with journal.writing() as connection:
        for id, found in by_take.items():
            seq = connection.execute(select(take.c.seq).where(take.c.id == id)).scalar()
            if seq is not None:
                _mend_take(connection, seq, {one.remedy for one in found})
        for table, column, parent in reversed(_PARENTS):
            connection.execute(delete(table).where(column.not_in(select(parent))))
        connection.execute(delete(sight))
        put_all_sights(connection)
        recount(connection)


def _mend_take(connection: Connection, seq: int, remedies: set[str]) -> None:
    if "leave it out" in remedies:
        remove_take(connection, seq)
        return
    if "keep its events up to there" in remedies:
        put_events(connection, seq, readable_events(connection, seq))
    said = select(marking.c.seq, marking.c.rules, marking.c.digest)
    for one in connection.execute(said.where(marking.c.take_seq == seq)).all():
        try:
            whole = marks_digest(one.rules, read_verdict(connection, one.seq)) == one.digest
        except (TrainerError, ValueError, TypeError):
            whole = False
        if one.digest is not None and not whole:
            drop_marking(connection, one.seq)
    if "take the newest there are" in remedies:
        connection.execute(update(take).where(take.c.seq == seq).values(marking_seq=None))
    choose_marking(connection, seq)


def readable_events(connection: Connection, seq: int) -> tuple[KeyEvent, ...]:
    """The events of a take up to the first chunk that cannot be read."""
    events: list[KeyEvent] = []
    try:
        rows = connection.execute(
            select(chunk).where(chunk.c.take_seq == seq).order_by(chunk.c.number)
        )
        for row in rows.mappings():
            events.extend(unpack_events(row["payload"], row["packing"]))
    except (LogError, SQLAlchemyError):
        pass
    return tuple(events)
