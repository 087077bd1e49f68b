"""Reading what can be read of a damaged file into a new log."""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import replace
from pathlib import Path

from sqlalchemy import Connection, select
from sqlalchemy.exc import SQLAlchemyError

from trainer.errors import LogError, TrainerError
from trainer.journal.bundle import Name
from trainer.journal.engine import file_engine
from trainer.journal.merge import put_player
from trainer.journal.schema import exercise_text, player
from trainer.journal.schema import take as take_table
from trainer.journal.store import Journal
from trainer.journal.sums import Sums
from trainer.journal.verify import dated, readable_events
from trainer.journal.whole import WholeTake, put_whole, read_whole

_BROKEN = (TrainerError, SQLAlchemyError, sqlite3.Error, ValueError, TypeError, OverflowError)


def salvage(path: Path) -> Path:
    """Put a new log with everything readable in the place of a damaged one; the old file's name.

    Raises LogError if nothing can be read; the file then stays where it is.
    """
    fresh = path.with_name(f".{path.name}.salvaged")
    _remove(fresh)
    engine = file_engine(path, write=False, immutable=False)
    try:
        with Journal.open(fresh) as journal, engine.connect() as old, journal.writing() as new:
            if _move(old, new) == 0:
                raise LogError("nothing in the log can be read", file=path, remedy="use a backup")
    except (SQLAlchemyError, sqlite3.Error) as error:
        raise LogError(f"nothing in the log can be read ({error})", file=path) from None
    except LogError:
        _remove(fresh)
        raise
    finally:
        engine.dispose()
    aside = dated(path, "damaged")
    for suffix in ("", "-wal", "-shm"):
        part = Path(f"{path}{suffix}")
        if part.exists():
            part.rename(f"{aside}{suffix}")
    fresh.rename(path)
    _remove(fresh)
    return aside


def _remove(path: Path) -> None:
    for suffix in ("", "-wal", "-shm"):
        Path(f"{path}{suffix}").unlink(missing_ok=True)


def _move(old: Connection, new: Connection) -> int:
    with contextlib.suppress(*_BROKEN):
        for row in old.execute(select(player)).mappings():
            put_player(new, Name(row["id"], row["name"], row["named"]))
    sums = Sums()
    moved = 0
    for seq in _numbers(old):
        whole = _whole(old, seq)
        if whole is None:
            continue
        put_player(new, Name(whole.take.player, "", 0.0))
        put_whole(new, whole, sums)
        moved += 1
    sums.write(new)
    return moved


def _numbers(old: Connection) -> list[int]:
    """The numbers of all takes that the table still tells of, from either end."""
    found: set[int] = set()
    for order in (take_table.c.seq.asc(), take_table.c.seq.desc()):
        with contextlib.suppress(*_BROKEN):
            for seq in old.execute(select(take_table.c.seq).order_by(order)).scalars():
                found.add(seq)
    if found:
        found.update(range(min(found), max(found) + 1))
    return sorted(found)


def _whole(old: Connection, seq: int) -> WholeTake | None:
    """A take, without marks or events if these cannot be read; None if its head cannot."""
    with contextlib.suppress(*_BROKEN):
        whole = read_whole(old, seq)
        return replace(whole, state="recovered") if whole.state == "open" else whole
    with contextlib.suppress(*_BROKEN):
        return _head_and_events(old, seq)
    return None


def _head_and_events(old: Connection, seq: int) -> WholeTake:
    from trainer.journal.store import take_value

    query = select(take_table).where(take_table.c.seq == seq)
    row = old.execute(query).mappings().one()
    source = old.execute(
        select(exercise_text.c.text).where(exercise_text.c.seq == row["text_seq"])
    ).scalar_one()
    events = readable_events(old, seq)
    state = "recovered" if row["state"] == "open" else row["state"]
    value = take_value(row, source, events)
    return WholeTake(row["id"], value, state, row["seconds"], bool(events), ())
