"""What the log says, in figures: every query reads sums, none reads chords.

Players are given by id (None: everybody in the log), days as dates of the player's own calendar,
both ends included.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Concatenate, Literal, ParamSpec, TypeVar

from sqlalchemy import Select, func, literal_column, select

from trainer.journal.opening import translated
from trainer.journal.schema import fault_count, fluency, played
from trainer.journal.store import Journal
from trainer.review.statistics import Share, Think
from trainer.theory.fault import Weight


@dataclass(frozen=True, slots=True)
class Span:
    """From the first day to the last, both included; None is open."""

    first: date | None = None
    last: date | None = None


ALWAYS = Span()


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over takes. `seconds` is playing time; `bias_ms` and `deviation_ms` are means over the
    takes in tempo, None without any."""

    takes: int
    finished: int
    seconds: float
    harmony: Share
    timing: Share
    movement: Share
    gross: int
    weak: int
    remark: int
    bias_ms: float | None
    deviation_ms: float | None


@dataclass(frozen=True, slots=True)
class Day:
    """One day with playing in it."""

    day: date
    totals: Totals


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece in one key; tempi in beats a minute, None where it was never finished in tempo."""

    exercise_id: str
    key: str
    first: date
    last: date
    slowest: float | None
    fastest: float | None
    totals: Totals


@dataclass(frozen=True, slots=True)
class TempoPoint:
    """Passes in tempo of one piece in one key in one day or month, played to their end.

    `period` is a date or `2026-03`; tempi in beats a minute.
    """

    exercise_id: str
    key: str
    period: str
    passes: int
    slowest: float
    fastest: float
    harmony: Share
    timing: Share

    @property
    def day(self) -> date:
        """The day, or the first of the month."""
        return date.fromisoformat(self.period if len(self.period) > 7 else f"{self.period}-01")


By = Literal["figuring", "key", "top", "month"]


@dataclass(frozen=True, slots=True)
class Fluency:
    """Chords of a kind; what was not asked to be told apart is None.

    `figuring` is relative to the signature (`-` nothing written), `top` the interval of the
    highest voice over the bass, 2 to 8 (0 unknown), `month` like `2026-03`.
    """

    figuring: str | None
    key: str | None
    top: int | None
    month: str | None
    complete: Share
    in_time: Share
    think: Think


FaultBy = Literal["rule", "exercise_id", "day", "month"]


@dataclass(frozen=True, slots=True)
class FaultCount:
    """Faults against a `rule`, or wrong chords of the cause that goes by that name
    (`trainer.review.named`); what was not asked to be told apart is None.

    `times` by weight; `chords` judged in the same slice of the log, so that `rate` says in what
    share of the chords the rule was broken (at most once a chord).
    """

    rule: str
    exercise_id: str | None
    day: date | None
    month: str | None
    gross: int
    weak: int
    remark: int
    chords: int

    @property
    def times(self) -> int:
        return self.gross + self.weak + self.remark

    @property
    def rate(self) -> Share:
        return Share(min(self.times, self.chords), self.chords)


_P = ParamSpec("_P")
_R = TypeVar("_R")


def _guarded(
    query: Callable[Concatenate[Journal, _P], _R],
) -> Callable[Concatenate[Journal, _P], _R]:
    """A query of a damaged log raises LogError with its place."""

    @functools.wraps(query)
    def guarded(journal: Journal, /, *args: _P.args, **named: _P.kwargs) -> _R:
        with translated(journal.location):
            return query(journal, *args, **named)

    return guarded


_SUMMED = [
    func.sum(column).label(column.name) for column in played.columns if not column.primary_key
]


@_guarded
def totals(journal: Journal, player: str | None = None, span: Span = ALWAYS) -> Totals:
    """Everything in the span together."""
    (row,) = _rows(journal, _within(select(*_SUMMED), played, player, span))
    return _totals(row)


@_guarded
def days(journal: Journal, player: str | None = None, span: Span = ALWAYS) -> tuple[Day, ...]:
    """Every day with playing, in order."""
    query = select(played.c.day, *_SUMMED).group_by(played.c.day).order_by(played.c.day)
    rows = _rows(journal, _within(query, played, player, span))
    return tuple(Day(date.fromisoformat(row["day"]), _totals(row)) for row in rows)


@_guarded
def last_day(journal: Journal, player: str) -> date | None:
    """The last day with playing in it; None where nothing was ever played."""
    (row,) = _rows(
        journal, select(func.max(played.c.day).label("day")).where(played.c.player_id == player)
    )
    return None if row["day"] is None else date.fromisoformat(row["day"])


@_guarded
def pieces(journal: Journal, player: str | None = None, span: Span = ALWAYS) -> tuple[Piece, ...]:
    """Every piece in every key it was played in, last played first."""
    in_tempo = (played.c.tempo > 0) & (played.c.finished > 0)
    query = select(
        played.c.exercise_id,
        played.c.key,
        func.min(played.c.day).label("first"),
        func.max(played.c.day).label("last"),
        func.min(played.c.tempo).filter(in_tempo).label("slowest"),
        func.max(played.c.tempo).filter(in_tempo).label("fastest"),
        *_SUMMED,
    ).group_by(played.c.exercise_id, played.c.key)
    query = query.order_by(func.max(played.c.day).desc(), played.c.exercise_id, played.c.key)
    return tuple(
        Piece(
            row["exercise_id"],
            row["key"],
            date.fromisoformat(row["first"]),
            date.fromisoformat(row["last"]),
            row["slowest"],
            row["fastest"],
            _totals(row),
        )
        for row in _rows(journal, _within(query, played, player, span))
    )


@_guarded
def tempi(
    journal: Journal,
    player: str | None = None,
    span: Span = ALWAYS,
    exercise_id: str | None = None,
    by: Literal["day", "month"] = "day",
) -> tuple[TempoPoint, ...]:
    """Tempo by piece over time, of one piece or all, period by period.

    Ten years of one piece by day are a few thousand points; of all pieces, ask by month.
    """
    period = _column(played, by)
    sums = [func.sum(played.c[name]).label(name) for name in _TEMPO_SUMS]
    query = (
        select(
            played.c.exercise_id,
            played.c.key,
            period.label("period"),
            func.min(played.c.tempo).label("slowest"),
            func.max(played.c.tempo).label("fastest"),
            *sums,
        )
        .where(played.c.tempo > 0, played.c.finished > 0)
        .group_by(played.c.exercise_id, played.c.key, period)
        .order_by(played.c.exercise_id, played.c.key, period)
    )
    if exercise_id is not None:
        query = query.where(played.c.exercise_id == exercise_id)
    return tuple(
        TempoPoint(
            row["exercise_id"],
            row["key"],
            row["period"],
            int(row["finished"]),
            row["slowest"],
            row["fastest"],
            Share(int(row["complete"]), int(row["judged"])),
            Share(int(row["in_time"]), int(row["timed"])),
        )
        for row in _rows(journal, _within(query, played, player, span))
    )


_TEMPO_SUMS = ("finished", "complete", "judged", "in_time", "timed")


@_guarded
def fluencies(
    journal: Journal,
    player: str | None = None,
    by: Sequence[By] = ("figuring", "key", "top"),
    span: Span = ALWAYS,
) -> tuple[Fluency, ...]:
    """Accuracy, time and think time by any of figuring, key, position and month; the most met
    first. Spans are of whole months here: the months of their two ends count whole."""
    columns = [fluency.c[name] for name in by]
    sums = [func.sum(c).label(c.name) for c in fluency.columns if not c.primary_key]
    query = select(*columns, *sums).group_by(*columns)
    query = query.order_by(func.sum(fluency.c.chords).desc(), *columns)
    if player is not None:
        query = query.where(fluency.c.player_id == player)
    if span.first is not None:
        query = query.where(fluency.c.month >= span.first.isoformat()[:7])
    if span.last is not None:
        query = query.where(fluency.c.month <= span.last.isoformat()[:7])
    return tuple(
        Fluency(
            row.get("figuring"),
            row.get("key"),
            row.get("top"),
            row.get("month"),
            Share(int(row["complete"]), int(row["chords"])),
            Share(int(row["in_time"]), int(row["timed"])),
            Think(int(row["thought"]), int(row["think_log"]), int(row["think_square"])),
        )
        for row in _rows(journal, query)
        if row["chords"]
    )


@_guarded
def faults(
    journal: Journal,
    player: str | None = None,
    by: Sequence[FaultBy] = ("rule",),
    span: Span = ALWAYS,
) -> tuple[FaultCount, ...]:
    """What was wrong by rule or cause, and by piece, day or month too if asked for; the most
    frequent first."""
    wanted = ["rule", *(name for name in by if name != "rule")]
    columns = {name: _column(fault_count, name) for name in wanted}
    query = select(
        *(column.label(name) for name, column in columns.items()),
        fault_count.c.weight,
        func.sum(fault_count.c.times).label("times"),
    ).group_by(*columns.values(), fault_count.c.weight)
    slices = [name for name in wanted if name != "rule"]
    chords = _chords_by(journal, player, span, slices)
    counts: dict[tuple[Any, ...], dict[Weight, int]] = {}
    for row in _rows(journal, _within(query, fault_count, player, span)):
        counts.setdefault(tuple(row[name] for name in wanted), {})[row["weight"]] = int(
            row["times"]
        )
    found: list[FaultCount] = []
    for key, times in counts.items():
        named = dict(zip(wanted, key, strict=True))
        day = named.get("day")
        found.append(
            FaultCount(
                named["rule"],
                named.get("exercise_id"),
                None if day is None else date.fromisoformat(day),
                named.get("month"),
                times.get("gross", 0),
                times.get("weak", 0),
                times.get("remark", 0),
                chords.get(key[1:], 0),
            )
        )
    return tuple(sorted(found, key=lambda one: (-one.times, one.rule, str(one))))


def _chords_by(
    journal: Journal, player: str | None, span: Span, slices: Sequence[str]
) -> dict[tuple[Any, ...], int]:
    columns = [_column(played, name).label(name) for name in slices]
    query = select(*columns, func.sum(played.c.judged).label("judged"))
    if columns:
        query = query.group_by(*(_column(played, name) for name in slices))
    rows = _rows(journal, _within(query, played, player, span))
    return {tuple(row[name] for name in slices): int(row["judged"] or 0) for row in rows}


def _column(table: Any, name: str) -> Any:
    if name == "month":  # written out: a server does not see that two parameters are the same
        return func.substr(table.c.day, literal_column("1"), literal_column("7"))
    return table.c[name]


def _within(query: Select[Any], table: Any, player: str | None, span: Span) -> Select[Any]:
    if player is not None:
        query = query.where(table.c.player_id == player)
    if span.first is not None:
        query = query.where(table.c.day >= span.first.isoformat())
    if span.last is not None:
        query = query.where(table.c.day <= span.last.isoformat())
    return query


def _rows(journal: Journal, query: Select[Any]) -> list[dict[str, Any]]:
    with journal.reading() as connection:
        return [dict(row) for row in connection.execute(query).mappings()]


def _totals(row: dict[str, Any]) -> Totals:
    def count(name: str) -> int:
        return int(row[name] or 0)

    steady = count("steady")
    return Totals(
        takes=count("takes"),
        finished=count("finished"),
        seconds=count("played_ms") / 1000,
        harmony=Share(count("complete"), count("judged")),
        timing=Share(count("in_time"), count("timed")),
        movement=Share(count("clean"), count("successions")),
        gross=count("gross"),
        weak=count("weak"),
        remark=count("remark"),
        bias_ms=count("bias_us") / 1000 / steady if steady else None,
        deviation_ms=count("deviation_us") / 1000 / steady if steady else None,
    )
