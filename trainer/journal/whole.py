"""A take whole: everything the log holds of it, free of one log's row numbers.

What moves between logs is this value. Two logs that know the same take agree on it by three
rules, each of which picks the same winner in whatever order logs meet: of two heads the one
further on, of two playings the longer, and all marks that were ever made.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, insert, select, update

from trainer.journal.packing import conditions_text, pack_events, verdict_from
from trainer.journal.records import (
    choose_marking,
    drop_marking,
    put_events,
    put_marking,
    take_row,
)
from trainer.journal.schema import STATES, chunk, marking, moment, take
from trainer.journal.schema import fault as fault_table
from trainer.journal.store import read_take
from trainer.journal.sums import Sums, count_take
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyEvent


@dataclass(frozen=True, slots=True)
class Said:
    """One judging of a take: `made` is when, in seconds since 1970."""

    rules: int
    made: float
    verdict: PassVerdict


@dataclass(frozen=True, slots=True)
class WholeTake:
    """`take.player` is the player's id. `playing` is false where the events were left out."""

    id: str
    take: Take
    state: str
    seconds: float
    playing: bool
    markings: tuple[Said, ...]

    @property
    def without_playing(self) -> WholeTake:
        """The same, the raw events left out; the marks stay."""
        return replace(self, take=replace(self.take, events=()), playing=False)


def read_whole(connection: Connection, seq: int) -> WholeTake:
    """The take of that number. Raises LogError where it is damaged."""
    row = connection.execute(select(take).where(take.c.seq == seq)).mappings().one()
    value = read_take(connection, seq)
    return WholeTake(
        row["id"],
        value,
        row["state"],
        row["seconds"],
        bool(value.events),
        tuple(_markings(connection, seq)),
    )


def _markings(connection: Connection, seq: int) -> Iterator[Said]:
    query = select(marking).where(marking.c.take_seq == seq, marking.c.digest.is_not(None))
    for row in connection.execute(query.order_by(marking.c.digest)).mappings().all():
        moments = select(moment).where(moment.c.marking_seq == row["seq"])
        faults = select(fault_table).where(fault_table.c.marking_seq == row["seq"])
        verdict = verdict_from(
            dict(row),
            [dict(r) for r in connection.execute(moments.order_by(moment.c.position)).mappings()],
            [dict(r) for r in connection.execute(faults.order_by(fault_table.c.number)).mappings()],
        )
        yield Said(row["rules"], row["made"], verdict)


def put_whole(connection: Connection, value: WholeTake, sums: Sums) -> str:
    """Bring a take into a log: `new`, `known` (nothing came of it) or `changed`.

    The caller writes the sums.
    """
    query = select(take.c.seq, take.c.state).where(take.c.id == value.id)
    found = connection.execute(query).one_or_none()
    if found is None:
        seq = _insert(connection, value)
        count_take(connection, seq, sums)
        return "new"
    seq = int(found.seq)
    before = _state_of(connection, seq)
    count_take(connection, seq, sums, -1)
    known = read_take(connection, seq)
    row = connection.execute(select(take).where(take.c.seq == seq)).mappings().one()
    ours = _head_rank(known, row["state"], row["seconds"])
    if _head_rank(value.take, value.state, value.seconds) > ours:
        connection.execute(
            update(take).where(take.c.seq == seq).values(head_row(connection, value))
        )
    longer = max(known.events, value.take.events, key=_events_rank)
    if longer is not known.events or found.state == "open":  # open, they lie about in pieces
        put_events(connection, seq, longer)
    if value.markings:
        _drop_live(connection, seq)
    for said in value.markings:
        put_marking(connection, seq, said.rules, said.verdict, said.made)
    choose_marking(connection, seq)
    count_take(connection, seq, sums)
    return "known" if _state_of(connection, seq) == before else "changed"


def _insert(connection: Connection, value: WholeTake) -> int:
    row = head_row(connection, value) | {"id": value.id}
    key = connection.execute(insert(take), row).inserted_primary_key
    assert key is not None
    seq = int(key.seq)
    put_events(connection, seq, value.take.events)
    for said in value.markings:
        put_marking(connection, seq, said.rules, said.verdict, said.made)
    choose_marking(connection, seq)
    return seq


def head_row(connection: Connection, value: WholeTake) -> dict[str, Any]:
    """The row of a take that has ended, without its number, its id and its marks."""
    row = take_row(connection, value.take)
    return row | {
        "state": value.state,
        "seconds": value.seconds,
        "writer": "",
        "touched": row["started_at"],
    }


def _head_rank(value: Take, state: str, seconds: float) -> tuple[int, str]:
    head = [
        value.player,
        value.exercise_id,
        value.exercise,
        conditions_text(value.conditions),
        value.origin,
        value.started.isoformat(),
        value.port,
        value.rules,
        value.pauses,
        seconds,
    ]
    return STATES.index(state), hashlib.sha256(json.dumps(head).encode()).hexdigest()


def _events_rank(events: Sequence[KeyEvent]) -> tuple[int, str]:
    return len(events), hashlib.sha256(pack_events(events)).hexdigest()


def _drop_live(connection: Connection, seq: int) -> None:
    live = select(marking.c.seq).where(marking.c.take_seq == seq, marking.c.digest.is_(None))
    for marks in connection.execute(live).scalars().all():
        drop_marking(connection, marks)


def _state_of(connection: Connection, seq: int) -> tuple[Any, ...]:
    """What a merge can change of a take, to see whether it did."""
    head = connection.execute(select(take).where(take.c.seq == seq)).mappings().one()
    said = select(marking.c.digest, marking.c.made).where(marking.c.take_seq == seq)
    marks = sorted(connection.execute(said).all(), key=str)
    sizes = connection.execute(select(chunk.c.checksum).where(chunk.c.take_seq == seq)).all()
    return dict(head), marks, sizes
