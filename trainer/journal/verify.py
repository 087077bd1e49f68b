"""Whether a log is whole, in steps: the file, the exercises, the takes month by month.

What was found whole is sealed (`seals.py`). A take whose seal still fits need not be looked into
again: to make the seal all of it is read, and a seal fits only what is as it was.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, func, select, text

from trainer.errors import TrainerError
from trainer.journal.packing import marks_digest, stored_digest, unpack_events
from trainer.journal.readable import SENSELESS, head_is_whole, number
from trainer.journal.schema import SUMS, chunk, exercise_text, marking, moment, sight, take
from trainer.journal.schema import fault as fault_table
from trainer.journal.seals import Seals, seal
from trainer.journal.store import Journal, read_verdict
from trainer.journal.sums import Sight, Sums, asked_by, count_takes, read_text, sights_of

_BATCH = 400  # takes read at a time
STRUCTURE = "the database"  # troubles of the file itself begin so


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something amiss. `take` is its id, empty for the log as a whole; `remedy` what repair does,
    empty where nothing needs to or can be done."""

    take: str
    what: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Checked:
    """What was looked at, and what was found; `known` takes were as they had been found before."""

    takes: int
    markings: int
    moments: int
    known: int
    troubles: tuple[Trouble, ...]


def verify(
    journal: Journal,
    seals: Seals | None = None,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> Checked:
    """Look at everything in a log without changing it.

    `seals` say what was found whole before, and are added to. `progress` is told how many of how
    many takes are done. Raises LogError if the log cannot be read; what was sealed until then
    stays sealed.
    """
    kept = Seals() if seals is None else seals
    with journal.reading() as connection:
        takes, markings, moments = (
            int(connection.execute(select(func.count()).select_from(t)).scalar_one())
            for t in (take, marking, moment)
        )
        check = _Check(connection, kept, progress, takes)
        troubles = tuple(check.troubles())
        kept.tidy()
        return Checked(takes, markings, moments, check.known, troubles)


@dataclass
class _Check:
    connection: Connection
    seals: Seals
    progress: Callable[[int, int], None]
    takes: int
    known: int = 0
    done: int = 0
    in_sum: bool = True
    asked: dict[int, dict[int, Sight]] = field(default_factory=dict)

    def troubles(self) -> Iterator[Trouble]:
        self.progress(0, self.takes)
        if self.connection.dialect.name == "sqlite":
            for (said,) in self.connection.execute(text("PRAGMA integrity_check(20)")):
                if said != "ok":
                    yield Trouble("", f"{STRUCTURE}: {said}", "read it into a new file")
        yield from self._texts()
        for (player, month), seqs in _months(self.connection).items():
            yield from self._month(player, month, seqs)
        yield from _orphans(self.connection)
        if not self.in_sum:
            yield Trouble("", "the sums are not those of the takes", "add them up again")

    # ---- exercises --------------------------------------------------------------------------

    def _texts(self) -> Iterator[Trouble]:
        for row in self.connection.execute(select(exercise_text)).all():
            stored = sights_of(self.connection, row.seq)
            sights = [(at, *astuple(one)) for at, one in sorted(stored.items())]
            made = seal("text", tuple(row), sights)
            if self.seals.fits(made):
                continue
            if hashlib.sha256(row.text.encode()).hexdigest() != row.digest:
                yield Trouble("", f"exercise text {row.seq} is not what was stored", "keep it so")
                continue
            try:
                read_text(row.text)
            except TrainerError as error:
                yield Trouble("", f"exercise text {row.seq} cannot be read ({error.what})", "")
                continue
            if stored != dict(asked_by(row.text)):
                what = f"what exercise text {row.seq} asks is not stored"
                yield Trouble("", what, "read it again")
            else:
                self.seals.add([made])

    # ---- takes ------------------------------------------------------------------------------

    def _month(self, player: str, month: str, seqs: Sequence[int]) -> Iterator[Trouble]:
        """The takes of a player in a month, and whether they add up to the sums of that month."""
        made: list[bytes] = []
        amiss = False
        for at in range(0, len(seqs), _BATCH):
            batch = seqs[at : at + _BATCH]
            new = []
            for one in _holdings(self.connection, batch):
                its = seal("take", one.head, one.chunks, one.markings, one.moments, one.faults)
                made.append(its)
                if self.seals.fits(its):
                    self.known += 1
                    continue
                found = list(_take_troubles(self.connection, one))
                yield from (Trouble(str(one.row["id"]), *words) for words in found)
                amiss = amiss or bool(found)
                if not found and one.row["state"] != "open":
                    new.append(its)
            self.seals.add(new)
            self.done += len(batch)
            self.progress(self.done, self.takes)
        stored = {table.name: _stored(self.connection, table, player, month) for table in SUMS}
        its = seal("month", sorted(made), [sorted(rows.items()) for rows in stored.values()])
        if self.seals.fits(its):
            return
        if not self._adds_up(seqs, stored):
            self.in_sum = False
        elif not amiss:
            self.seals.add([its])

    def _adds_up(self, seqs: Sequence[int], stored: Mapping[str, Mapping[Any, Any]]) -> bool:
        sums = Sums()
        try:
            for at in range(0, len(seqs), _BATCH):
                count_takes(self.connection, seqs[at : at + _BATCH], sums, 1, self.asked)
        except SENSELESS:
            return False
        return all(
            stored[name] == {k: v for k, v in rows.items() if any(v)}
            for name, rows in sums.rows.items()
        )


def _months(connection: Connection) -> dict[tuple[str, str], list[int]]:
    """The numbers of takes by player and month, months that only the sums know included."""
    found: dict[tuple[str, str], list[int]] = {}
    heads = select(take.c.seq, take.c.player_id, take.c.day).order_by(take.c.seq)
    for seq, player, day in connection.execute(heads):
        found.setdefault((player, str(day)[:7]), []).append(seq)
    for table in SUMS:
        period = table.c.month if "month" in table.c else table.c.day
        for player, when in connection.execute(select(table.c.player_id, period).distinct()):
            found.setdefault((player, str(when)[:7]), [])
    return dict(sorted(found.items()))


def _stored(
    connection: Connection, table: Table, player: str, month: str
) -> dict[tuple[Any, ...], list[int]]:
    period = table.c.month if "month" in table.c else table.c.day
    # all days of the month, and the month itself, lie between these two as texts
    here = (table.c.player_id == player, period >= month, period < f"{month}.")
    keys = len(table.primary_key.columns)
    rows = connection.execute(select(table).where(*here))
    return {tuple(row[:keys]): [int(value) for value in row[keys:]] for row in rows}


@dataclass(frozen=True, slots=True)
class _Holding:
    """Everything stored of a take, as it is stored."""

    row: Mapping[str, Any]
    chunks: list[tuple[Any, ...]]
    markings: list[tuple[Any, ...]]
    moments: list[list[tuple[Any, ...]]]  # of each marking
    faults: list[list[tuple[Any, ...]]]

    @property
    def head(self) -> tuple[Any, ...]:
        return tuple(self.row.values())


def _holdings(connection: Connection, seqs: Sequence[int]) -> Iterator[_Holding]:
    joined = select(take, exercise_text.c.digest).outerjoin(exercise_text)
    heads = connection.execute(joined.where(take.c.seq.in_(seqs)).order_by(take.c.seq)).mappings()
    chunks = _grouped(connection, chunk, chunk.c.take_seq, seqs)
    said = select(marking).where(marking.c.take_seq.in_(seqs)).order_by(marking.c.seq)
    markings: dict[int, list[tuple[Any, ...]]] = {}
    for row in connection.execute(said):
        markings.setdefault(row.take_seq, []).append(tuple(row))
    marks = [row[0] for rows in markings.values() for row in rows]
    moments = _grouped(connection, moment, moment.c.marking_seq, marks)
    faults = _grouped(connection, fault_table, fault_table.c.marking_seq, marks)
    for head in heads:
        ours = markings.get(head["seq"], [])
        yield _Holding(
            dict(head),
            chunks.get(head["seq"], []),
            ours,
            [moments.get(row[0], []) for row in ours],
            [faults.get(row[0], []) for row in ours],
        )


def _grouped(
    connection: Connection, table: Table, parent: Any, numbers: Sequence[int]
) -> dict[int, list[tuple[Any, ...]]]:
    """Rows by the number of what they belong to, which is their first column, in order."""
    groups: dict[int, list[tuple[Any, ...]]] = {}
    query = select(table).where(parent.in_(numbers)).order_by(*table.primary_key.columns)
    with connection.execute(query) as result:
        rows = result.cursor.fetchall() if numbers else ()  # as they come: there are millions
    for row in rows:
        groups.setdefault(row[0], []).append(row)
    return groups


def _take_troubles(connection: Connection, one: _Holding) -> Iterator[tuple[str, str]]:
    if one.row["digest"] is None or not head_is_whole(one.row):
        yield "its head cannot be read", "keep what can be read of it"
    try:
        for _, _, packing, checksum, payload in one.chunks:
            if zlib.crc32(payload) != checksum:
                raise TrainerError("the events of a take are damaged")
            unpack_events(payload, packing)
    except TrainerError as error:
        yield error.what, "keep the events that can be read"
    except SENSELESS:
        yield "the events of a take are damaged", "keep the events that can be read"
    for row, moments, faults in zip(one.markings, one.moments, one.faults, strict=True):
        figures = dict(zip(_FIGURES, row, strict=True))
        if figures["digest"] is None and one.row["state"] == "open":
            sound = _can_be_read(connection, figures["seq"])
        else:
            sound = _as_said(connection, figures, moments, faults)
        if not sound or number(figures["made"]) is None:
            yield f"marks of rules {figures['rules']} are damaged", "make them anew"
    marks = one.row["marking_seq"]
    if marks is not None and marks not in {row[0] for row in one.markings}:
        yield "its marks are not there", "make them anew"


_FIGURES = tuple(column.name for column in marking.columns)
_OF_A_MOMENT = tuple(column.name for column in moment.columns)[1:]  # without their marking
_OF_A_FAULT = tuple(column.name for column in fault_table.columns)[1:]
_BESIDE = {"seq", "take_seq", "digest", "rules", "made"}  # of a marking, not said of the pass


def _as_said(
    connection: Connection,
    row: Mapping[str, Any],
    moments: Iterable[Sequence[Any]],
    faults: Iterable[Sequence[Any]],
) -> bool:
    """Whether marks are what was stored."""
    figures = {name: value for name, value in row.items() if name not in _BESIDE}
    try:
        made = stored_digest(
            row["rules"],
            figures,
            [dict(zip(_OF_A_MOMENT, one[1:], strict=True)) for one in moments],
            [dict(zip(_OF_A_FAULT, one[1:], strict=True)) for one in faults],
        )
        if made == row["digest"]:
            return True
        # rows may be written in another way and say the same
        again = marks_digest(row["rules"], read_verdict(connection, row["seq"]))
        return again == str(row["digest"])
    except SENSELESS:
        return False


def _can_be_read(connection: Connection, seq: int) -> bool:
    """Whether marks that are not sealed yet, of a take that is played, make sense."""
    try:
        read_verdict(connection, seq)
    except SENSELESS:
        return False
    return True


def _orphans(connection: Connection) -> Iterator[Trouble]:
    for table, column, parent in PARENTS:
        lost = select(func.count()).select_from(table).where(column.not_in(select(parent)))
        rows = int(connection.execute(lost).scalar_one())
        if rows:
            yield Trouble("", f"{rows} rows of {table.name} belong to nothing", "drop them")


PARENTS = (
    (moment, moment.c.marking_seq, marking.c.seq),
    (fault_table, fault_table.c.marking_seq, marking.c.seq),
    (marking, marking.c.take_seq, take.c.seq),
    (chunk, chunk.c.take_seq, take.c.seq),
    (sight, sight.c.text_seq, exercise_text.c.seq),
)
