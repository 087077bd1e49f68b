"""The review as one file of HTML."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Any

from trainer.errors import TrainerError
from trainer.journal.store import Journal, Player, TakeSummary
from trainer.journal.sums import read_text
from trainer.practice.touch_words import late_in_words
from trainer.review import charts
from trainer.review.advice import next_work
from trainer.review.html import render
from trainer.review.named import title_of
from trainer.review.queries import (
    Day,
    FaultCount,
    Fluency,
    Totals,
    days,
    faults,
    fluencies,
    pieces,
    tempi,
    totals,
)
from trainer.review.sheet import Sheet, take_sheet
from trainer.review.statistics import Think
from trainer.review.tables import interval_text, share_text

_CELLS = 400  # rows of the longest table


def review_page(journal: Journal, player: Player | None, last: int, now: datetime) -> str:
    """The whole review of a player (None: of everybody) with the last takes engraved.

    Raises LogError.
    """
    id = None if player is None else player.id
    by_day = days(journal, id)
    all_of_it = totals(journal, id)
    figurings = fluencies(journal, id, ("figuring",))
    cells = fluencies(journal, id)
    found = faults(journal, id)
    by_piece = faults(journal, id, ("exercise_id",))
    advice = next_work(journal, id, by_day[-1].day if by_day else now.date())
    sheets = _sheets(journal, id, last)
    named = {one.rule for one in found}
    named |= {comment.rule for sheet in sheets for comment in sheet.comments if comment.rule}
    return render(
        "review.html",
        named,
        now,
        who="everybody in the log" if player is None else player.label,
        span=_span(by_day),
        summary=_summary(all_of_it, by_day, figurings),
        advice=[(title_of(one.name), one) for one in advice],
        charts=_charts(journal, id, by_day, figurings, found),
        days=by_day,
        pieces=pieces(journal, id),
        figurings=figurings,
        cells=cells[:_CELLS],
        cells_left=max(0, len(cells) - _CELLS),
        faults=found,
        faults_by_piece=by_piece,
        sheets=sheets,
    )


def _charts(
    journal: Journal,
    id: str | None,
    by_day: tuple[Day, ...],
    figurings: tuple[Fluency, ...],
    found: tuple[FaultCount, ...],
) -> dict[str, Any]:
    season = len(by_day) and (by_day[-1].day - by_day[0].day).days <= 400
    points = tempi(journal, id, by="day" if season else "month")
    over_time = faults(journal, id, ("month",))
    steady = any(one.totals.deviation_ms is not None for one in by_day)
    return {
        "minutes": charts.minutes(by_day),
        "tempi": charts.tempi(points) if points else "",
        "accuracy": charts.accuracy(figurings),
        "grid": charts.grid(fluencies(journal, id, ("figuring", "key"))),
        "faults": charts.broken_rules(found) if found else "",
        "faults_over_time": (
            charts.faults_over_time(over_time) if len({f.month for f in over_time}) > 1 else ""
        ),
        "steadiness": charts.steadiness(by_day) if steady else "",
    }


def _sheets(journal: Journal, id: str | None, last: int) -> list[Sheet]:
    names = {} if id is not None else {p.id: p.label for p in journal.players()}
    sheets: list[Sheet] = []
    for summary in journal.takes(id, last):
        sheet = _sheet(journal, summary, names.get(summary.player, ""))
        if sheet is not None:
            sheets.append(sheet)
    return sheets


def _sheet(journal: Journal, summary: TakeSummary, name: str) -> Sheet | None:
    """One take engraved; None where it was never judged or its exercise cannot be read."""
    take, verdict = journal.take(summary.id), journal.verdict(summary.id)
    try:
        exercise = read_text(take.exercise)
    except TrainerError:
        return None
    if verdict is None or any(m.index >= len(exercise.moments) for m in verdict.moments):
        return None
    sheet = take_sheet(f"take-{summary.id[:8]}", take, exercise, verdict)
    tempo = "without a clock" if summary.tempo is None else f"at {summary.tempo:g}"
    state = "" if summary.state == "finished" else f", {summary.state}"
    by = f", {name}" if name else ""
    key, started = exercise.key.in_words, f"{summary.started:%Y-%m-%d %H:%M}"
    title = f"{sheet.title}, {key}, {tempo}: {started}{by}{state}"
    return replace(sheet, title=title)


def _span(by_day: tuple[Day, ...]) -> str:
    if not by_day:
        return "Nothing has been played yet."
    first, last = by_day[0].day, by_day[-1].day
    return _day(first) if first == last else f"{_day(first)} to {_day(last)}"


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _many(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def _summary(
    all_of_it: Totals, by_day: tuple[Day, ...], figurings: tuple[Fluency, ...]
) -> list[str]:
    """The log in sentences."""
    if not by_day:
        return []
    minutes = all_of_it.seconds / 60
    sentences = [
        f"On {_many(len(by_day), 'day', 'days')} "
        f"{_many(all_of_it.takes, 'pass was', 'passes were')} played, "
        f"{_many(round(minutes), 'minute', 'minutes')} in all; {all_of_it.finished} of them to "
        "their end.",
        f"Of {all_of_it.harmony.cases} chords {share_text(all_of_it.harmony)} were complete "
        f"(surely {interval_text(all_of_it.harmony)}).",
    ]
    if all_of_it.timing.cases and all_of_it.bias_ms is not None:
        sentences.append(
            f"In tempo {share_text(all_of_it.timing)} of {all_of_it.timing.cases} chords came in "
            f"time, on average {late_in_words(all_of_it.bias_ms)}, spread "
            f"{all_of_it.deviation_ms:.0f} ms."
        )
    sentences.append(
        f"{share_text(all_of_it.movement)} of {all_of_it.movement.cases} successions were clean; "
        f"against the movement of the voices there were {all_of_it.gross} gross and "
        f"{all_of_it.weak} weak faults, and {all_of_it.remark} remarks."
    )
    think = sum((one.think for one in figurings), Think(0, 0, 0))
    if think.typical:
        sentences.append(
            f"Without a clock a chord took {think.typical:.1f} seconds to think of ({think.cases} "
            "chords)."
        )
    return sentences
