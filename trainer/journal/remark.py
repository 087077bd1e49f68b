"""Marks made again by newer rules; the old ones are kept."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select

from trainer.errors import TrainerError
from trainer.journal.records import choose_marking, put_marking
from trainer.journal.schema import marking, take
from trainer.journal.store import Journal, read_take
from trainer.journal.sums import Sums, count_take
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict

_BATCH = 50  # takes in one transaction: a station that is playing waits no longer than these


@dataclass(frozen=True, slots=True)
class Remarked:
    """How many takes were judged again, how many of them now have other marks, and which could
    not be judged: (take id, why)."""

    judged: int
    changed: int
    left: tuple[tuple[str, str], ...]


def remark(
    journal: Journal,
    judge: Callable[[Take], PassVerdict],
    rules: int,
    *,
    player: str | None = None,
    every: bool = False,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> Remarked:
    """Judge the takes not yet judged by rule-set version `rules` (all of them if `every`).

    `player` is an id, None for everybody. `progress` is told how many of how many are done.
    Raises LogError; what was judged until then stays.
    """
    return judge_again(journal, judge, rules, _due(journal, rules, player, every), progress)


def judge_again(
    journal: Journal,
    judge: Callable[[Take], PassVerdict],
    rules: int,
    seqs: Sequence[int],
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> Remarked:
    """Judge the takes of these numbers, as `remark` does."""
    judged = changed = 0
    left: list[tuple[str, str]] = []
    for at in range(0, len(seqs), _BATCH):
        with journal.writing() as connection:
            sums = Sums()
            for seq in seqs[at : at + _BATCH]:
                id, value = _value(connection, seq)
                if not value.events:
                    left.append((id, "its playing was left out of the log"))
                    continue
                try:
                    verdict = judge(value)
                except TrainerError as error:
                    left.append((id, str(error)))
                    continue
                judged += 1
                changed += _put(connection, seq, rules, verdict, sums)
            sums.write(connection)
        progress(min(at + _BATCH, len(seqs)), len(seqs))
    return Remarked(judged, changed, tuple(left))


def _due(journal: Journal, rules: int, player: str | None, every: bool) -> list[int]:
    query = select(take.c.seq).where(take.c.state != "open").order_by(take.c.seq)
    if player is not None:
        query = query.where(take.c.player_id == player)
    if not every:
        said = select(marking.c.take_seq).where(marking.c.rules >= rules)
        query = query.where(take.c.seq.not_in(said))
    with journal.reading() as connection:
        return list(connection.execute(query).scalars())


def _value(connection: Connection, seq: int) -> tuple[str, Take]:
    id = connection.execute(select(take.c.id).where(take.c.seq == seq)).scalar_one()
    return id, read_take(connection, seq)


def _put(connection: Connection, seq: int, rules: int, verdict: PassVerdict, sums: Sums) -> bool:
    holds = select(take.c.marking_seq).where(take.c.seq == seq)
    before = connection.execute(holds).scalar()
    count_take(connection, seq, sums, -1)
    put_marking(connection, seq, rules, verdict, time.time())
    choose_marking(connection, seq)
    count_take(connection, seq, sums)
    return bool(connection.execute(holds).scalar() != before)
