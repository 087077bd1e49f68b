"""The log as it is read: players, takes, marks."""

from __future__ import annotations

import contextlib
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Select, Table, func, select

from trainer.errors import LogError
from trainer.journal import log_location
from trainer.journal.opening import open_engine, shown, translated
from trainer.journal.packing import (
    conditions_from,
    pauses_from,
    timing_from,
    unpack_events,
    verdict_from,
)
from trainer.journal.schema import (
    chunk,
    exercise_text,
    fault,
    marking,
    moment,
    player,
    sight,
    take,
)
from trainer.judging.take import Conditions, Pause, Take
from trainer.judging.verdict import Harmony, Movement, PassVerdict, Timing
from trainer.listening.events import KeyEvent

_BATCH = 500  # takes read at a time


@dataclass(frozen=True, slots=True)
class Player:
    """`takes` counts the player's takes in this log; `local` players were made on it."""

    id: str
    name: str
    local: bool
    takes: int

    @property
    def label(self) -> str:
        """The name, or the beginning of the id where none was given."""
        return self.name or f"player {self.id[:8]}"


@dataclass(frozen=True, slots=True)
class TakeSummary:
    """One line of the log. `state` is open, finished, stopped or recovered; the figures are of
    the marks that hold now, `rules` the rule-set version they were made by."""

    id: str
    player: str
    exercise_id: str
    key: str  # of the exercise's beginning, as played; empty where the log cannot read it
    started: datetime
    state: str
    seconds: float
    conditions: Conditions
    pauses: tuple[Pause, ...]
    rules: int
    harmony: Harmony
    timing: Timing | None
    movement: Movement

    @property
    def tempo(self) -> float | None:
        return self.conditions.tempo


@dataclass(frozen=True, slots=True)
class Marking:
    """One judging of a take: by which rule-set version, when, and whether it holds now."""

    seq: int
    rules: int
    made: float
    current: bool


class Journal:
    """An open log. Methods raise LogError for what cannot be read or is not there."""

    def __init__(self, engine: Engine, location: str) -> None:
        self.engine = engine
        self.location = location

    @staticmethod
    def open(location: str | Path | None = None, *, write: bool = True) -> Journal:
        """Open the log at a path or URL (None: `MITTELSTIMME_LOG`, else the default path).

        With `write` a missing log is made; without, nothing on disk is changed.
        """
        where = log_location(location)
        return Journal(open_engine(where, write=write), where)

    def close(self) -> None:
        self.engine.dispose()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection whose queries see one state of the log."""
        with translated(self.location), self.engine.connect() as connection:
            yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction: all of it or nothing."""
        with translated(self.location), self.engine.connect() as connection:
            connection = connection.execution_options(writing=True)
            with connection.begin():
                yield connection

    # ---- players --------------------------------------------------------------------------

    def players(self) -> tuple[Player, ...]:
        """Everybody in the log, those made here first, then by name."""
        counts = select(take.c.player_id, func.count().label("takes")).group_by(take.c.player_id)
        held = counts.subquery()
        query = select(player, func.coalesce(held.c.takes, 0).label("takes")).outerjoin(
            held, held.c.player_id == player.c.id
        )
        order = (player.c.local.desc(), player.c.name, player.c.id)
        with self.reading() as connection:
            rows = connection.execute(query.order_by(*order)).mappings().all()
        return tuple(Player(r["id"], r["name"], bool(r["local"]), r["takes"]) for r in rows)

    def player(self, given: str) -> Player:
        """The player of that id (or its beginning, from 4 letters) or name."""
        everybody = self.players()
        for one in everybody:
            if one.id == given:
                return one
        found = [p for p in everybody if p.name == given and given]
        if not found and len(given) >= 4:
            found = [p for p in everybody if p.id.startswith(given)]
        if len(found) == 1:
            return found[0]
        place = shown(self.location)
        if not found:
            names = ", ".join(p.label for p in everybody) or "nobody"
            raise LogError(f"there is no player {given!r}", file=place, remedy=f"it has {names}")
        ids = ", ".join(p.id[:8] for p in found)
        raise LogError(f"several players are called {given!r}", file=place, remedy=f"use {ids}")

    # ---- takes ----------------------------------------------------------------------------

    def takes(
        self,
        player: str | None = None,
        limit: int | None = None,
        exercise_id: str | None = None,
    ) -> tuple[TakeSummary, ...]:
        """The last takes, newest first, of one player (by id) or all, of one exercise or all.

        A drill is meant in every key: `falling-fifths` finds `falling-fifths@G` too.
        """
        query = _summaries().order_by(take.c.started_at.desc(), take.c.id)
        if player is not None:
            query = query.where(take.c.player_id == player)
        if exercise_id is not None:
            in_keys = take.c.exercise_id.startswith(f"{exercise_id}@", autoescape=True)
            query = query.where((take.c.exercise_id == exercise_id) | in_keys)
        with self.reading() as connection:
            rows = connection.execute(query.limit(limit)).mappings()
            return tuple(_summary(row) for row in rows)

    def summary(self, id: str) -> TakeSummary:
        """One line of the log."""
        with self.reading() as connection:
            seq = self._seq(connection, id)
            row = connection.execute(_summaries().where(take.c.seq == seq)).mappings().one()
            return _summary(row)

    def take(self, id: str) -> Take:
        """The take of that id (or its beginning), as it was played; `player` is the id.

        Where the playing was left out of a merged log, `events` is empty.
        """
        with self.reading() as connection:
            seq = self._seq(connection, id)
            return read_take(connection, seq)

    def passes(
        self, player: str | None = None, limit: int | None = None
    ) -> Iterator[tuple[TakeSummary, Take, PassVerdict | None]]:
        """The last takes that have ended, newest first, each with what is said of it.

        The takes come without their events: `take` reads those.
        """
        query = select(take.c.seq).where(take.c.state != "open")
        if player is not None:
            query = query.where(take.c.player_id == player)
        query = query.order_by(take.c.started_at.desc(), take.c.id).limit(limit)
        texts: dict[int, str] = {}
        with self.reading() as connection:
            seqs = connection.execute(query).scalars().all()
            for at in range(0, len(seqs), _BATCH):
                yield from _passes(connection, seqs[at : at + _BATCH], texts)

    def verdict(self, id: str, marking_seq: int | None = None) -> PassVerdict | None:
        """What is said of a take now, or what an older marking said; None if nothing."""
        with self.reading() as connection:
            seq = self._seq(connection, id)
            query = select(take.c.marking_seq).where(take.c.seq == seq)
            marks = marking_seq or connection.execute(query).scalar()
            return None if marks is None else read_verdict(connection, marks)

    def markings(self, id: str) -> tuple[Marking, ...]:
        """Every judging of a take, oldest first."""
        with self.reading() as connection:
            seq = self._seq(connection, id)
            query = select(take.c.marking_seq).where(take.c.seq == seq)
            now = connection.execute(query).scalar()
            rows = connection.execute(
                select(marking).where(marking.c.take_seq == seq).order_by(marking.c.made)
            ).mappings()
            return tuple(Marking(r["seq"], r["rules"], r["made"], r["seq"] == now) for r in rows)

    def _seq(self, connection: Connection, id: str) -> int:
        found = connection.execute(select(take.c.seq).where(take.c.id == id)).scalar()
        if found is not None:
            return int(found)
        begins = take.c.id.startswith(id, autoescape=True)
        rows = connection.execute(select(take.c.seq).where(begins).limit(2)).scalars().all()
        place = shown(self.location)
        if len(id) < 4 or not rows:
            raise LogError(f"there is no take {id!r}", file=place, remedy="`review` lists them")
        if len(rows) > 1:
            raise LogError(
                f"several takes begin with {id!r}", file=place, remedy="write more of it"
            )
        return int(rows[0])


def read_take(connection: Connection, seq: int) -> Take:
    """A take with its events; `player` is the id."""
    query = select(take, exercise_text.c.text).join(exercise_text)
    row = connection.execute(query.where(take.c.seq == seq)).mappings().one()
    return take_value(row, row["text"], read_events(connection, seq))


def take_value(row: Any, text: str, events: tuple[KeyEvent, ...]) -> Take:
    """A take from its row, the text of its exercise, and its events."""
    return Take(
        exercise_id=row["exercise_id"],
        exercise=text,
        conditions=conditions_from(row["conditions"]),
        events=events,
        origin=row["origin"],
        started=datetime.fromisoformat(row["started"]),
        player=row["player_id"],
        port=row["port"],
        rules=row["rules"],
        pauses=pauses_from(row["pauses"]),
    )


def read_events(connection: Connection, seq: int) -> tuple[KeyEvent, ...]:
    """All events of a take in order; LogError where a chunk is not what was written."""
    query = select(chunk).where(chunk.c.take_seq == seq).order_by(chunk.c.number)
    events: list[KeyEvent] = []
    for row in connection.execute(query).mappings():
        if zlib.crc32(row["payload"]) != row["checksum"]:
            raise LogError("the events of a take are damaged", remedy="see `log verify`")
        events.extend(unpack_events(row["payload"], row["packing"]))
    return tuple(events)


def read_verdict(connection: Connection, marks: int) -> PassVerdict:
    """A judging whole."""
    row = connection.execute(select(marking).where(marking.c.seq == marks)).mappings().one()
    moments = select(moment).where(moment.c.marking_seq == marks).order_by(moment.c.position)
    faults = select(fault).where(fault.c.marking_seq == marks).order_by(fault.c.number)
    return verdict_from(
        dict(row),
        [dict(one) for one in connection.execute(moments).mappings()],
        [dict(one) for one in connection.execute(faults).mappings()],
    )


def _passes(
    connection: Connection, seqs: Sequence[int], texts: dict[int, str]
) -> Iterator[tuple[TakeSummary, Take, PassVerdict | None]]:
    heads = {
        row["seq"]: row
        for row in connection.execute(
            select(take, sight.c.key).outerjoin(sight, _BEGINNING).where(take.c.seq.in_(seqs))
        ).mappings()
    }
    missing = {row["text_seq"] for row in heads.values()} - set(texts)
    new = select(exercise_text).where(exercise_text.c.seq.in_(missing))
    texts.update({row.seq: row.text for row in connection.execute(new)})
    marks = [row["marking_seq"] for row in heads.values() if row["marking_seq"] is not None]
    figures = {
        row["seq"]: row
        for row in connection.execute(select(marking).where(marking.c.seq.in_(marks))).mappings()
    }
    moments = _grouped(connection, moment, moment.c.position, marks)
    faults = _grouped(connection, fault, fault.c.number, marks)
    for seq in seqs:
        head = heads[seq]
        said = figures.get(head["marking_seq"])
        verdict = None
        if said is not None:
            verdict = verdict_from(
                dict(said), moments.get(said["seq"], []), faults.get(said["seq"], [])
            )
        yield _summary_of(head, said), take_value(head, texts[head["text_seq"]], ()), verdict


def _grouped(
    connection: Connection, table: Table, order: Any, marks: Sequence[int]
) -> dict[int, list[dict[str, Any]]]:
    groups: dict[int, list[dict[str, Any]]] = {}
    query = select(table).where(table.c.marking_seq.in_(marks)).order_by(order)
    for row in connection.execute(query).mappings():
        groups.setdefault(row["marking_seq"], []).append(dict(row))
    return groups


def _summaries() -> Select[Any]:
    return select(
        take.c.id,
        take.c.player_id,
        take.c.exercise_id,
        take.c.started,
        take.c.state,
        take.c.seconds,
        take.c.conditions,
        take.c.pauses,
        sight.c.key,
        marking,
    ).select_from(
        take.outerjoin(marking, marking.c.seq == take.c.marking_seq).outerjoin(sight, _BEGINNING)
    )


_BEGINNING = (sight.c.text_seq == take.c.text_seq) & (sight.c.position == 0)


def _summary(row: Any) -> TakeSummary:
    return _summary_of(row, row if row["judged"] is not None else None)


def _summary_of(head: Any, said: Any) -> TakeSummary:
    def count(name: str) -> int:
        return 0 if said is None else int(said[name])

    return TakeSummary(
        id=head["id"],
        player=head["player_id"],
        exercise_id=head["exercise_id"],
        key=head["key"] or "",
        started=datetime.fromisoformat(head["started"]),
        state=head["state"],
        seconds=head["seconds"],
        conditions=conditions_from(head["conditions"]),
        pauses=pauses_from(head["pauses"]),
        rules=0 if said is None else said["rules"],
        harmony=Harmony(count("complete"), count("judged")),
        timing=None if said is None else timing_from(said),
        movement=Movement(*map(count, ("gross", "weak", "remark", "clean", "successions"))),
    )
