"""Past passes as practice looks back on them, read from the log many at a time.

A plan is made from everything a player ever played, so this reads the few columns it needs and
builds no take and no verdict.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Select, select

from trainer.errors import TrainerError
from trainer.journal.packing import attack_from, causes_from, conditions_from, pauses_from
from trainer.journal.schema import exercise_text, fault, marking, moment, take
from trainer.journal.store import Journal
from trainer.judging.evidence import whys
from trainer.judging.verdict import Cause, Harmony, Movement, onset_of
from trainer.practice.result import Asked, Figures, PassResult, Said, asked_of, summed_up

_BATCH = 400  # takes a query


def pass_results(journal: Journal, player: str | None = None) -> tuple[PassResult, ...]:
    """The passes of a player by id (None: of everybody), oldest first.

    Passes that were never judged, or whose exercise this program cannot read, are left out:
    nothing can be planned from them.
    """
    with journal.reading() as connection:
        seqs = connection.execute(judged(select(take.c.seq), player)).scalars().all()
        return results_of(connection, seqs)


def judged(query: Select[Any], player: str | None) -> Select[Any]:
    """Of a query about takes those that have ended and were judged, oldest first."""
    query = query.where(take.c.state != "open", take.c.marking_seq.is_not(None))
    if player is not None:
        query = query.where(take.c.player_id == player)
    return query.order_by(take.c.started_at, take.c.id.desc())


def results_of(connection: Connection, seqs: Sequence[int]) -> tuple[PassResult, ...]:
    """The passes of judged takes by their numbers, in that order."""
    results: list[PassResult] = []
    texts: dict[int, Asked | None] = {}
    conditions = lru_cache(maxsize=1024)(conditions_from)
    for at in range(0, len(seqs), _BATCH):
        batch = seqs[at : at + _BATCH]
        heads = _heads(connection, batch)
        _learn(connection, {head.text_seq for head in heads.values()} - set(texts), texts)
        marks = [head.marking_seq for head in heads.values()]
        figures, said = _figures(connection, marks), _said(connection, marks)
        for head in (heads[seq] for seq in batch):
            asked, moments = texts[head.text_seq], said.get(head.marking_seq, [])
            if asked is None or not moments or moments[-1].index >= len(asked.items):
                continue
            results.append(
                summed_up(
                    head.exercise_id,
                    conditions(head.conditions),
                    pauses_from(head.pauses),
                    datetime.fromisoformat(head.started),
                    asked,
                    figures[head.marking_seq],
                    moments,
                    finished=head.state == "finished",
                    seconds=head.seconds,
                )
            )
    return tuple(results)


def _heads(connection: Connection, seqs: Sequence[int]) -> Mapping[int, Any]:
    columns = ("seq", "exercise_id", "text_seq", "marking_seq", "conditions", "pauses", "started")
    query = select(*(take.c[name] for name in (*columns, "state", "seconds"))).where(
        take.c.seq.in_(seqs)
    )
    return {row.seq: row for row in connection.execute(query).all()}


def _learn(connection: Connection, new: set[int], texts: dict[int, Asked | None]) -> None:
    """Read the exercises not yet known; None for one that cannot be read."""
    from trainer.journal.sums import read_text

    for seq, text in connection.execute(
        select(exercise_text.c.seq, exercise_text.c.text).where(exercise_text.c.seq.in_(new))
    ):
        try:
            texts[seq] = asked_of(read_text(text))
        except TrainerError:
            texts[seq] = None


def _figures(connection: Connection, marks: Sequence[int]) -> Mapping[int, Figures]:
    causes = causes_of(connection, marks)
    following = {(seq, n) for seq, ours in causes.items() for one in ours for n in one.follow}
    spoiled: dict[int, set[int]] = {}
    gross = select(fault.c.marking_seq, fault.c.number, fault.c.moments)
    gross = gross.where(fault.c.marking_seq.in_(marks), fault.c.weight == "gross")
    for seq, number, moments in connection.execute(gross).all():
        if (seq, number) not in following:
            spoiled.setdefault(seq, set()).add(int(moments.rsplit(",", 1)[-1]))
    names = ("seq", "complete", "judged", "in_time", "timed")
    counts = ("gross", "weak", "remark", "clean", "successions")
    query = select(*(marking.c[name] for name in (*names, *counts)))
    rows = connection.execute(query.where(marking.c.seq.in_(marks))).all()
    return {
        row[0]: _figures_of(row, spoiled.get(row[0], set()), causes.get(row[0], ())) for row in rows
    }


def causes_of(connection: Connection, marks: Sequence[int]) -> Mapping[int, tuple[Cause, ...]]:
    """The causes that these markings name; those that name none are left out."""
    query = select(marking.c.seq, marking.c.causes)
    query = query.where(marking.c.seq.in_(marks), marking.c.causes.is_not(None))
    return {seq: causes_from(text) for seq, text in connection.execute(query)}


def _figures_of(row: Any, spoiled: set[int], causes: Sequence[Cause]) -> Figures:
    _, complete, chords, in_time, timed, *counts = row
    time = None
    if timed is not None:
        time = in_time / timed if timed else 1.0
    return Figures(
        harmony=Harmony(complete, chords).share,
        time=time,
        movement=Movement(*counts).share,
        gross=counts[0],
        spoiled=frozenset(spoiled),
        causes=whys(causes),
    )


def _said(connection: Connection, marks: Sequence[int]) -> Mapping[int, list[Said]]:
    query = (
        select(
            moment.c.marking_seq,
            moment.c.position,
            moment.c.outcome,
            moment.c["keys"],  # `keys` is a method of the columns
            moment.c.late_ms,
            moment.c.late_beats,
            moment.c.attack,
            moment.c.think_s,
        )
        .where(moment.c.marking_seq.in_(marks))
        .order_by(moment.c.marking_seq, moment.c.position)
    )
    said: dict[int, list[Said]] = {}
    for seq, position, outcome, keys, *late, attack, think_s in connection.execute(query).all():
        top = max(keys, default=None)
        one = Said(position, outcome, top, onset_of(*late), attack_from(attack), think_s)
        said.setdefault(seq, []).append(one)
    return said
