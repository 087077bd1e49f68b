"""The charts of the review: what each shows, in which order, and what it says of itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from markupsafe import Markup

from trainer.review.named import title_of
from trainer.review.plot import (
    INK,
    LINE,
    PLAYER,
    RULE,
    SERIES,
    SOFT,
    Plot,
    Scale,
    date_ticks,
    height_of,
    number,
    round_scale,
    series,
    upright_axis,
)
from trainer.review.queries import Day, FaultCount, Fluency, TempoPoint
from trainer.review.statistics import Share
from trainer.review.tables import figuring_text
from trainer.theory.key import key_in_words

_TOP = 10  # pixels above the highest number of a plot
_FOOT = 26  # pixels below, for the dates
_FEW_DAYS = 14  # a bar is never wider than a fourteenth of the plot
_DAILY, _WEEKLY = 130, 900  # days up to which a bar is a day, a week; beyond, a month
_SHORT_NAME = 12  # letters that have room beside a plot
_LOW_ROW, _HIGH_ROW = 22, 40  # pixels for an interval, and for one with its name above
_CELL = 30  # pixels from one row of squares to the next
_SIDE = 25  # pixels, the square of a hundred in a hundred


@dataclass(frozen=True, slots=True)
class _Point:
    series: str
    day: date
    value: float
    said: str


def minutes(days: Sequence[Day]) -> Markup:
    """Minutes of playing, a bar a day; in a long log a week or a month."""
    if not days:
        return Markup("")
    span = (days[-1].day - days[0].day).days
    unit = "day" if span <= _DAILY else "week" if span <= _WEEKLY else "month"
    played: dict[date, float] = {}
    for one in days:
        begin = _begin(one.day, unit)
        played[begin] = played.get(begin, 0.0) + one.totals.seconds / 60
    first, after = min(played), _next(max(played), unit)
    width = max((after - first).days, _FEW_DAYS)
    scale = round_scale(list(played.values()), zero=True, ticks=4)
    most = max(played, key=lambda begin: played[begin])
    plot = Plot(
        f"Minutes of playing a {unit}",
        f"{_span(days[0].day, days[-1].day)}; at most {played[most]:.1f} minutes, "
        f"{_named(most, unit)}.",
        160,
    )
    bottom = plot.height - _FOOT
    upright_axis(plot, scale, _TOP, bottom)
    for begin, value in played.items():
        left = (begin - first).days / width
        room = (_next(begin, unit) - begin).days / width
        heights = (bottom, height_of(scale, value, _TOP, bottom))
        said = f"{_named(begin, unit)}: {value:.1f} minutes"
        plot.bar((left + 0.15 * room, left + 0.85 * room), heights, said)
    half = 0.5 / width if unit == "day" else 0.0
    for day, name in date_ticks(first, first + timedelta(days=width - 1)):
        _under(plot, (day - first).days / width + half, bottom, name)
    return plot.figure(f"minutes a {unit}")


def tempi(points: Sequence[TempoPoint]) -> Markup:
    """The fastest tempo a piece was played through at, period by period; the most played pieces."""
    most = _most((_piece(one), one.passes) for one in points)[:SERIES]
    shown = [
        _Point(name, one.day, one.fastest, f"{name}, {one.period}: {one.fastest:g}")
        for one in points
        if (name := _piece(one)) in most
    ]
    title = "Fastest tempo played through, by piece"
    return _lines(shown, most, title, "beats a minute", zero=False)


def _piece(one: TempoPoint) -> str:
    return f"{one.exercise_id}, {key_in_words(one.key)}"


def accuracy(cells: Sequence[Fluency]) -> Markup:
    """Chords complete by figuring, with the 95 % interval of each share."""
    rows = [(figuring_text(one.figuring or ""), one.complete) for one in cells[:16]]
    return _intervals(rows, "Chords complete", "chords complete")


def broken_rules(found: Sequence[FaultCount]) -> Markup:
    """How often a rule is broken or a cause at work in a hundred chords, with the 95 % interval."""
    rows = [(title_of(one.rule), one.rate) for one in found[:12]]
    return _intervals(rows, "Rules broken, causes at work", "share of the chords")


def grid(cells: Sequence[Fluency]) -> Markup:
    """Chords complete by figuring and key: a square as large as the share, its number in it."""
    figurings = _most((one.figuring or "", one.complete.cases) for one in cells)[:14]
    keys = _most((one.key or "", one.complete.cases) for one in cells)[:10]
    if not keys:
        return Markup("")
    plot = Plot(
        "Chords complete in a hundred, by figuring and key",
        f"{len(figurings)} figurings in {len(keys)} keys, the most played first.",
        44 + _CELL * len(figurings),
        "plot named",
    )
    across = {key: (n + 0.5) / max(len(keys), 5) for n, key in enumerate(keys)}
    down = {figuring: 44 + (n + 0.5) * _CELL for n, figuring in enumerate(figurings)}
    for key, x in across.items():
        final, _, mode = key_in_words(key).rpartition(" ")
        plot.words((x, 10), final)
        plot.words((x, 26), mode, ink=SOFT)
    for figuring, y in down.items():
        plot.line((0, y), (1, y), RULE)
        plot.words((0, y), figuring_text(figuring), "end", aside=-9)
    for one in cells:
        if one.figuring not in down or one.key not in across or not one.complete.cases:
            continue
        at = (across[one.key], down[one.figuring])
        of = f"{one.complete.hits} of {one.complete.cases} chords"
        side = _SIDE * one.complete.value**0.5
        plot.square(
            at, side, PLAYER, f"{figuring_text(one.figuring)} in {key_in_words(one.key)}: {of}"
        )
        plot.words(at, f"{one.complete.value * 100:.0f}")
    return plot.figure("in a hundred chords; the area of a square is its share")


def faults_over_time(found: Sequence[FaultCount]) -> Markup:
    """Faults in a hundred chords by month, the most frequent rules."""
    most = _most((title_of(one.rule), one.times) for one in found)[:SERIES]
    shown = [
        _Point(
            title, date.fromisoformat(f"{one.month}-01"), rate, f"{title}, {one.month}: {rate:.1f}"
        )
        for one in found
        if one.chords and one.month and (title := title_of(one.rule)) in most
        for rate in (100 * one.times / one.chords,)
    ]
    title = "Faults in a hundred chords, by month"
    return _lines(shown, most, title, "in a hundred chords", zero=True, monthly=True)


def steadiness(days: Sequence[Day]) -> Markup:
    """Spread and bias of the onsets day by day."""
    names = ["spread", "late (+) or early (−)"]
    shown = [
        _Point(name, one.day, value, f"{name}, {one.day}: {number(round(value, 1))} ms")
        for one in days
        for name, value in zip(names, (one.totals.deviation_ms, one.totals.bias_ms), strict=True)
        if value is not None
    ]
    title = "Steadiness: spread and bias of the onsets"
    return _lines(shown, names, title, "milliseconds", zero=True)


def _lines(
    points: Sequence[_Point],
    names: Sequence[str],
    title: str,
    unit: str,
    *,
    zero: bool,
    monthly: bool = False,
) -> Markup:
    """Lines over time; several values of a series in one day stand one above the other."""
    if not points:
        return Markup("")
    first, last = min(p.day for p in points), max(p.day for p in points)
    width = max((last - first).days, 1)
    scale = round_scale([p.value for p in points], zero=zero)
    plot = Plot(title, f"{_span(first, last)}; {_reach(points)} {unit}.", 216, "plot inset")
    bottom = plot.height - _FOOT
    upright_axis(plot, scale, _TOP, bottom)
    for day, name in _months(first, last) if monthly else date_ticks(first, last):
        _under(plot, (day - first).days / width, bottom, name)
    manners = series(names)
    for one in manners:
        along = sorted((p for p in points if p.series == one.name), key=lambda p: p.day)
        places = [
            ((p.day - first).days / width, height_of(scale, p.value, _TOP, bottom)) for p in along
        ]
        for start, end in pairwise(places):
            plot.line(start, end, one.ink, 1.6, one.dashes)
        for place, p in zip(places, along, strict=True):
            plot.mark(place, one.shape, one.ink, p.said)
    return plot.figure(unit, manners)


def _intervals(rows: Sequence[tuple[str, Share]], title: str, unit: str) -> Markup:
    """A row each: the share as a dot on the interval it surely lies in.

    Short names stand beside their row, as long as all are short; else each above its own.
    """
    rows = [(name, share) for name, share in rows if share.cases]
    if not rows:
        return Markup("")
    beside = all(len(name) <= _SHORT_NAME for name, _ in rows)
    row = _LOW_ROW if beside else _HIGH_ROW
    scale = round_scale([100 * share.high for _, share in rows], zero=True)
    plot = Plot(
        title,
        f"{len(rows)} rows, the most frequent first: each share with its 95 % interval.",
        row * len(rows) + _FOOT,
        "plot named" if beside else "plot bare",
    )
    _percentages(plot, scale)
    for n, (name, share) in enumerate(rows):
        y = (n + 1) * row - 12
        low, middle, high = (scale.share(100 * v) for v in (share.low, share.value, share.high))
        if beside:
            plot.words((0, y), name, "end", aside=-9)
        else:
            plot.words((0, y - 17), name, "start", aside=5)
        plot.line((low, y), (high, y), PLAYER, 2)
        surely = f"{100 * share.low:.0f} – {100 * share.high:.0f} %"
        plot.mark((middle, y), "circle", PLAYER, f"{name}: {100 * share.value:.1f} % ({surely})")
    return plot.figure(f"{unit}; the line is where the share surely lies")


def _percentages(plot: Plot, scale: Scale) -> None:
    bottom = plot.height - _FOOT
    for tick in scale.ticks:
        x = scale.share(tick)
        plot.line((x, 0), (x, bottom), SOFT if tick == scale.low else RULE)
        anchor = "start" if x == 0 else "end" if x == 1 else "middle"
        plot.words((x, bottom + LINE), f"{number(tick)} %", anchor)


def _under(plot: Plot, x: float, bottom: float, name: str) -> None:
    plot.line((x, bottom), (x, bottom + 4), SOFT)
    plot.words((x, bottom + 15), name, ink=INK)


def _months(first: date, last: date) -> list[tuple[date, str]]:
    """A tick at every month while there are few."""
    count = (last.year - first.year) * 12 + last.month - first.month
    if count > 5:
        return date_ticks(first, last)
    every = [(first.year * 12 + first.month - 1 + n) for n in range(count + 1)]
    return [(day, f"{day:%b %Y}") for m in every for day in (date(m // 12, m % 12 + 1, 1),)]


def _begin(day: date, unit: str) -> date:
    if unit == "week":
        return day - timedelta(days=day.weekday())
    return day.replace(day=1) if unit == "month" else day


def _next(begin: date, unit: str) -> date:
    if unit == "month":
        return (begin + timedelta(days=32)).replace(day=1)
    return begin + timedelta(days=7 if unit == "week" else 1)


def _named(begin: date, unit: str) -> str:
    if unit == "month":
        return f"{begin:%B %Y}"
    day = f"{begin.day} {begin:%B %Y}"
    return f"week of {day}" if unit == "week" else day


def _span(first: date, last: date) -> str:
    begin, end = _named(first, "day"), _named(last, "day")
    return begin if first == last else f"{begin} to {end}"


def _reach(points: Sequence[_Point]) -> str:
    low, high = min(p.value for p in points), max(p.value for p in points)
    return f"{number(round(low, 1))} to {number(round(high, 1))}"


def _most(pairs: Iterable[tuple[str, int]]) -> list[str]:
    counts: dict[str, int] = {}
    for name, count in pairs:
        counts[name] = counts.get(name, 0) + count
    return sorted(counts, key=lambda name: (-counts[name], name))
