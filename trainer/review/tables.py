"""The log in the terminal: plain tables and small plots."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from rich.console import Console
from rich.table import Table
from rich.text import Text

from trainer.journal.store import Journal, Player, TakeSummary
from trainer.review.advice import next_work
from trainer.review.named import title_of
from trainer.review.queries import (
    Day,
    FaultCount,
    Fluency,
    Piece,
    Span,
    days,
    faults,
    fluencies,
    pieces,
)
from trainer.review.statistics import Share
from trainer.theory.key import key_in_words

_BLOCKS = " ▁▂▃▄▅▆▇█"
_SOME = 8  # rows of a table in the terminal; `--html` has them all


def print_review(
    console: Console, journal: Journal, player: Player | None, limit: int, today: date
) -> None:
    """The last takes, then what they add up to."""
    id = None if player is None else player.id
    takes = journal.takes(id, limit)
    if not takes:
        console.print("Nothing has been played yet.")
        return
    names = {} if player is not None else {p.id: p.label for p in journal.players()}
    console.print(takes_table(takes, names))
    month = Span(today - timedelta(days=41), today)
    console.print(_minutes(days(journal, id, month), today))
    for table in (
        _pieces_table(pieces(journal, id)[:_SOME]),
        _fluency_table(fluencies(journal, id, ("figuring",))[:_SOME]),
        _faults_table(faults(journal, id)[:_SOME]),
    ):
        if table.row_count:
            console.print(table)
    advice = next_work(journal, id, today)
    if advice:
        console.print(Text("What to work on next", style="bold"))
        for one in advice:
            title = f"{title_of(one.name)}: " if one.has_title else ""
            console.print(Text(f"  {title}{one.reason}"))


def takes_table(takes: Sequence[TakeSummary], names: dict[str, str]) -> Table:
    """Takes, newest first; with the players' names if there are several."""
    table = Table(box=None, pad_edge=False, title="The last takes", title_justify="left")
    table.add_column("take", no_wrap=True, min_width=7)
    if names:
        table.add_column("player", no_wrap=True, max_width=14)
    table.add_column("day", no_wrap=True, min_width=8)
    table.add_column("piece", no_wrap=True, min_width=9)
    for title in ("tempo", "chords", "time", "clean", "faults"):
        table.add_column(title, justify="right", no_wrap=True, min_width=len(title))
    for take in takes:
        timing, movement = take.timing, take.movement
        row = [
            take.id[:7],
            *([names.get(take.player, take.player[:8])] if names else []),
            f"{take.started:%y-%m-%d}",
            take.exercise_id if take.state == "finished" else f"{take.exercise_id} ({take.state})",
            "–" if take.tempo is None else f"{take.tempo:g}",
            share_text(Share(take.harmony.complete, take.harmony.judged)),
            "–" if timing is None else share_text(Share(timing.in_time, timing.judged)),
            share_text(Share(movement.clean, movement.successions)),
            f"{movement.gross}+{movement.weak}",
        ]
        table.add_row(*map(Text, row))
    return table


def _minutes(played: Sequence[Day], today: date) -> Text:
    """Six weeks of minutes, a block a day."""
    by_day = {one.day: one.totals.seconds / 60 for one in played}
    span = [today - timedelta(days=back) for back in range(41, -1, -1)]
    most = max(by_day.values(), default=0.0)
    blocks = "".join(_block(by_day.get(day, 0.0), most) for day in span)
    total = sum(by_day.values())
    return Text(f"\nMinutes a day, six weeks  │{blocks}│  most {most:.0f}, together {total:.0f}\n")


def _block(value: float, most: float) -> str:
    if value <= 0 or most <= 0:
        return "·"
    return _BLOCKS[max(1, round(value / most * (len(_BLOCKS) - 1)))]


def _pieces_table(found: Sequence[Piece]) -> Table:
    table = _table("Pieces", "piece", "key", "takes", "tempo", "harmony", "in time", "movement")
    for one in found:
        sums = one.totals
        tempo = "untimed"
        if one.slowest is not None and one.fastest is not None:
            tempo = f"{one.slowest:g} – {one.fastest:g}"
        row = (one.exercise_id, key_in_words(one.key), str(sums.takes), tempo)
        shares = (sums.harmony, sums.timing, sums.movement)
        table.add_row(*map(Text, (*row, *map(share_text, shares))))
    return table


def _fluency_table(found: Sequence[Fluency]) -> Table:
    table = _table("Figurings", "figuring", "chords", "complete", "surely", "in time", "think")
    for one in found:
        typical = one.think.typical
        row = (
            figuring_text(one.figuring or ""),
            str(one.complete.cases),
            share_text(one.complete),
            interval_text(one.complete),
            share_text(one.in_time),
            "–" if typical is None else f"{typical:.1f} s",
        )
        table.add_row(*map(Text, row))
    return table


def _faults_table(found: Sequence[FaultCount]) -> Table:
    table = _table("Faults", "rule or cause", "gross", "weak", "remarks", "in chords", "surely")
    for one in found:
        counts = (one.gross, one.weak, one.remark, one.chords)
        row = (title_of(one.rule), *map(str, counts), interval_text(one.rate))
        table.add_row(*map(Text, row))
    return table


def _table(title: str, first: str, *others: str) -> Table:
    table = Table(box=None, pad_edge=False, title=title, title_justify="left")
    table.add_column(first)
    for other in others:
        table.add_column(other, justify="left" if other == "key" else "right")
    return table


def share_text(share: Share) -> str:
    """A share for people: `87 %`, a dash without cases."""
    return f"{share.value * 100:.0f} %" if share.cases else "–"


def interval_text(share: Share) -> str:
    """The 95 % interval for people: `71 – 95 %`."""
    return f"{share.low * 100:.0f} – {share.high * 100:.0f} %" if share.cases else "–"


def figuring_text(figuring: str) -> str:
    """A relative figuring for people."""
    return {"-": "no figure", "_": "line held on"}.get(figuring, figuring)
