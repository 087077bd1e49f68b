"""What one program has written to a log since it opened it, kept so that it can be written again.

A take that is being played is kept as its records; one that has ended as a value, packed small: an
evening of practice is a few megabytes.
"""

from __future__ import annotations

import pickle
import zlib
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import Connection

from trainer.journal.sums import Sums
from trainer.journal.whole import WholeTake, put_whole


@dataclass(frozen=True, slots=True)
class Record:
    """Something to be written. `take` is the id of the take it belongs to, empty where it is of
    none; `write` gives the take whole where that ends with it."""

    take: str
    write: Callable[[Connection], WholeTake | None]


class Session:
    """The records of a program in order; `written` ones are added as they are."""

    def __init__(self) -> None:
        self._names: list[Record] = []
        self._open: dict[str, list[Record]] = {}
        self._ended: list[bytes] = []

    @property
    def playing(self) -> bool:
        """Whether a take has begun and not ended."""
        return bool(self._open)

    def add(self, record: Record, whole: WholeTake | None) -> None:
        """A record that is in the log."""
        if not record.take:
            self._names.append(record)
        elif whole is None:
            self._open.setdefault(record.take, []).append(record)
        else:
            self._open.pop(record.take, None)
            self._ended.append(zlib.compress(pickle.dumps(whole)))

    def write(self, connection: Connection) -> None:
        """Write everything again, into another log."""
        sums = Sums()
        for record in self._names:
            record.write(connection)
        for packed in self._ended:
            put_whole(connection, pickle.loads(zlib.decompress(packed)), sums)
        sums.write(connection)
        for records in self._open.values():
            for record in records:
                record.write(connection)
