"""Past passes as practice looks back on them, read from the log many at a time.

A plan is made from everything a player ever played, so this reads the few columns it needs and
builds no take and no verdict: a year of daily practice in a second or two.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, select

from trainer.errors import TrainerError
from trainer.journal.packing import conditions_from
from trainer.journal.schema import exercise_text, fault, marking, moment, take
from trainer.journal.store import Journal
from trainer.judging.verdict import Harmony, Movement
from trainer.practice.result import Asked, Figures, PassResult, Said, asked_of, summed_up

_BATCH = 400  # takes a query


def pass_results(
    journal: Journal, player: str | None = None, limit: int | None = None
) -> tuple[PassResult, ...]:
    """The last `limit` passes (None: all) of a player by id (None: everybody), oldest first.

    Passes that were never judged, or whose exercise this program cannot read, are left out:
    nothing can be planned from them.
    """
    query = select(take).where(take.c.state != "open", take.c.marking_seq.is_not(None))
    if player is not None:
        query = query.where(take.c.player_id == player)
    query = query.order_by(take.c.started_at.desc(), take.c.id).limit(limit)
    results: list[PassResult] = []
    texts: dict[int, Asked | None] = {}
    conditions = lru_cache(maxsize=1024)(conditions_from)
    with journal.reading() as connection:
        heads = connection.execute(query).mappings().all()
        for at in range(0, len(heads), _BATCH):
            batch = heads[at : at + _BATCH]
            _learn(connection, {head["text_seq"] for head in batch} - set(texts), texts)
            marks = [head["marking_seq"] for head in batch]
            figures, said = _figures(connection, marks), _said(connection, marks)
            for head in batch:
                asked, moments = texts[head["text_seq"]], said.get(head["marking_seq"], [])
                if asked is None or not moments or moments[-1].index >= len(asked.items):
                    continue
                results.append(
                    summed_up(
                        head["exercise_id"],
                        conditions(head["conditions"]),
                        datetime.fromisoformat(head["started"]),
                        asked,
                        figures[head["marking_seq"]],
                        moments,
                        finished=head["state"] == "finished",
                        seconds=head["seconds"],
                    )
                )
    return tuple(reversed(results))


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
    spoiled: dict[int, set[int]] = {}
    gross = select(fault.c.marking_seq, fault.c.moments)
    gross = gross.where(fault.c.marking_seq.in_(marks), fault.c.weight == "gross")
    for seq, moments in connection.execute(gross):
        spoiled.setdefault(seq, set()).add(int(moments.rsplit(",", 1)[-1]))
    rows = connection.execute(select(marking).where(marking.c.seq.in_(marks))).mappings()
    return {row["seq"]: _figures_of(row, spoiled.get(row["seq"], set())) for row in rows}


def _figures_of(row: Mapping[Any, Any], spoiled: set[int]) -> Figures:
    counts = (row[name] for name in ("gross", "weak", "remark", "clean", "successions"))
    time = None
    if row["timed"] is not None:
        time = row["in_time"] / row["timed"] if row["timed"] else 1.0
    return Figures(
        harmony=Harmony(row["complete"], row["judged"]).share,
        time=time,
        movement=Movement(*counts).share,
        gross=row["gross"],
        spoiled=frozenset(spoiled),
    )


def _said(connection: Connection, marks: Sequence[int]) -> Mapping[int, list[Said]]:
    said: dict[int, list[Said]] = {}
    for seq, one in _moments(connection, marks):
        said.setdefault(seq, []).append(one)
    return said


def _moments(connection: Connection, marks: Sequence[int]) -> Iterator[tuple[int, Said]]:
    query = (
        select(
            moment.c.marking_seq,
            moment.c.position,
            moment.c.outcome,
            moment.c["keys"],  # `keys` is a method of the columns
            moment.c.late_beats,
            moment.c.think_s,
        )
        .where(moment.c.marking_seq.in_(marks))
        .order_by(moment.c.marking_seq, moment.c.position)
    )
    for seq, position, outcome, keys, late_beats, think_s in connection.execute(query):
        yield seq, Said(position, outcome, max(keys, default=None), late_beats, think_s)
