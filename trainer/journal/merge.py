"""Logs brought together: any number, in any order, twice without harm.

Players are told apart by id. A player's name is the one given last, by the clock of whoever gave
it; whose clock is wrong does not matter to the takes, which are told apart by id too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, insert, select, update
from sqlalchemy.exc import DataError, IntegrityError, InterfaceError

from trainer.errors import LogError
from trainer.journal.bundle import Name, is_bundle, read_bundle, write_bundle
from trainer.journal.schema import player as player_table
from trainer.journal.schema import take as take_table
from trainer.journal.store import Journal
from trainer.journal.sums import Sums
from trainer.journal.whole import WholeTake, put_whole, read_whole

_BATCH = 2000  # takes after which the sums are written


@dataclass(frozen=True, slots=True)
class Merged:
    """What came of one file: takes that were new, that changed, that were known already."""

    source: str
    players: tuple[Name, ...]
    new: int
    changed: int
    known: int


def export(journal: Journal, player: str, file: Path, *, playing: bool = True) -> int:
    """One player's takes that have ended into one bundle; how many. Raises LogError."""
    with journal.reading() as connection:
        name = _name(connection, player)
        return write_bundle(file, name, _wholes(connection, player), playing=playing)


def merge(
    journal: Journal, source: Path, progress: Callable[[int], None] = lambda _: None
) -> Merged:
    """Bring a bundle, or another log as a file, into this log: all of it or, on any error, nothing.

    What makes no sense in `source` is told of it, not of the log it should go into. `progress`
    is told the number of takes so far. Raises LogError.
    """
    if source.is_dir():
        raise LogError("this is a folder", file=source, remedy="name the files in it")
    try:
        bundle = is_bundle(source)
    except FileNotFoundError:
        raise LogError("there is no such file", file=source) from None
    except OSError as error:
        raise LogError(f"cannot be read ({error.strerror})", file=source) from None
    if bundle:
        name, takes = read_bundle(source)
        with journal.writing() as connection:
            return _put(connection, str(source), [(name, takes)], progress)
    with Journal.open(source, write=False) as other, other.reading() as there:
        ids = there.execute(select(player_table.c.id).order_by(player_table.c.id)).scalars()
        parts = [(_name(there, id), _wholes(there, id)) for id in ids.all()]
        with journal.writing() as connection:
            return _put(connection, str(source), parts, progress)


def _put(
    connection: Connection,
    source: str,
    parts: Iterable[tuple[Name, Iterator[WholeTake]]],
    progress: Callable[[int], None],
) -> Merged:
    counts = {"new": 0, "changed": 0, "known": 0}
    players: list[Name] = []
    sums = Sums()
    try:
        for name, takes in parts:
            put_player(connection, name)
            players.append(name)
            for one in takes:
                counts[put_whole(connection, one, sums)] += 1
                so_far = sum(counts.values())
                progress(so_far)
                if so_far % _BATCH == 0:
                    sums.write(connection)
        sums.write(connection)
    except LogError as error:  # of what is read: what cannot be written is found out later
        raise error.at(file=source) from None
    except (
        *(ValueError, TypeError, LookupError, AttributeError, ArithmeticError),
        *(IntegrityError, DataError, InterfaceError),
    ) as error:
        what = f"it is damaged ({type(error).__name__})"
        raise LogError(what, file=source, remedy="export it again") from error
    return Merged(source, tuple(players), **counts)


def put_player(connection: Connection, name: Name) -> None:
    """Make a player known; of two names the one given later holds."""
    query = select(player_table).where(player_table.c.id == name.id)
    known = connection.execute(query).mappings().one_or_none()
    if known is None:
        row = {"id": name.id, "name": name.name, "named": name.named, "local": False}
        connection.execute(insert(player_table), row)
    elif (name.named, name.name) > (known["named"], known["name"]):
        here = update(player_table).where(player_table.c.id == name.id)
        connection.execute(here.values(name=name.name, named=name.named))


def _name(connection: Connection, id: str) -> Name:
    row = connection.execute(select(player_table).where(player_table.c.id == id)).mappings().one()
    return Name(row["id"], row["name"], row["named"])


def _wholes(connection: Connection, player: str) -> Iterator[WholeTake]:
    query = select(take_table.c.seq).where(
        take_table.c.player_id == player, take_table.c.state != "open"
    )
    seqs = connection.execute(query.order_by(take_table.c.id)).scalars().all()
    for seq in seqs:
        yield read_whole(connection, seq)
