"""The charts of the review as SVG, drawn beforehand: they need no script in the page.

Colours are the page's own: a chart is drawn in stand-ins, which become the CSS variables of the
page, so that light, dark and print each have their inks. Series differ by form as well as colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from trainer.resources import assets_folder
from trainer.review.queries import Day, FaultCount, Fluency, TempoPoint
from trainer.review.tables import figuring_text, rule_title

# stand-in -> what the page calls it
_INKS = {
    "#010203": "var(--ink)",
    "#040506": "var(--soft)",
    "#070809": "var(--rule)",
    "#0a0b0c": "var(--player)",
    "#0d0e0f": "var(--mark)",
    "#101112": "var(--remark)",
    "#131415": "var(--paper)",
}
_INK, _SOFT, _RULE, _PLAYER, _MARK, _REMARK, _PAPER = _INKS
_FONT = "EB Garamond 12"
_WIDTH = 640
_SERIES = 6  # lines that can be told apart in one chart
_SHAPES = ["circle", "square", "triangle-up", "diamond", "cross", "triangle-down"]
_DASHES = [[1, 0], [6, 3], [2, 2], [8, 2, 2, 2], [4, 4], [1, 3]]


def minutes(days: Sequence[Day]) -> Markup:
    """Minutes of playing, a bar a day."""
    alt = _altair()
    rows = [{"day": one.day.isoformat(), "minutes": one.totals.seconds / 60} for one in days]
    chart = (
        alt.Chart(alt.Data(values=rows))
        .mark_bar(color=_PLAYER, width={"band": 0.7})
        .encode(
            x=alt.X(
                "day:T", timeUnit="yearmonthdate", title=None, axis=_dates(alt, by_month=False)
            ),
            y=alt.Y("minutes:Q", title="minutes"),
        )
        .properties(width=_WIDTH, height=140)
    )
    return _svg(chart, "Minutes of playing a day")


def tempi(points: Sequence[TempoPoint]) -> Markup:
    """The fastest tempo a piece was played through at, period by period; the most played pieces."""
    alt = _altair()
    passes: dict[str, int] = {}
    for one in points:
        name = f"{one.exercise_id}, {one.key}"
        passes[name] = passes.get(name, 0) + one.passes
    most = sorted(passes, key=lambda name: (-passes[name], name))[:_SERIES]
    rows = [
        {"piece": name, "when": one.period, "tempo": one.fastest}
        for one in points
        if (name := f"{one.exercise_id}, {one.key}") in most
    ]
    chart = _lines(alt, rows, "piece", most, "tempo", "beats a minute", zero=False)
    return _svg(chart, "Fastest tempo played through, by piece")


def accuracy(cells: Sequence[Fluency]) -> Markup:
    """Chords complete by figuring, with the 95 % interval of each share."""
    alt = _altair()
    rows = [
        {
            "figuring": figuring_text(one.figuring or ""),
            "share": one.complete.value,
            "low": one.complete.low,
            "high": one.complete.high,
            "chords": one.complete.cases,
        }
        for one in cells[:16]
    ]
    order = [row["figuring"] for row in rows]
    return _intervals(alt, rows, "figuring", order, "chords complete", "Chords complete")


def broken_rules(found: Sequence[FaultCount]) -> Markup:
    """How often a rule is broken in a hundred chords, with the 95 % interval."""
    alt = _altair()
    rows = [
        {
            "rule": rule_title(one.rule),
            "share": one.rate.value,
            "low": one.rate.low,
            "high": one.rate.high,
            "chords": one.chords,
        }
        for one in found[:12]
    ]
    order = [row["rule"] for row in rows]
    return _intervals(alt, rows, "rule", order, "share of the chords", "Rules broken", wide=300)


def grid(cells: Sequence[Fluency]) -> Markup:
    """Chords complete by figuring and key: a square as large as the share, its number in it."""
    alt = _altair()
    figurings = _most((one.figuring or "", one.complete.cases) for one in cells)[:14]
    keys = _most((one.key or "", one.complete.cases) for one in cells)[:10]
    rows = [
        {
            "figuring": figuring_text(one.figuring or ""),
            "key": one.key,
            "share": one.complete.value,
            "words": f"{one.complete.value * 100:.0f}",
        }
        for one in cells
        if one.figuring in figurings and one.key in keys
    ]
    base = alt.Chart(alt.Data(values=rows)).encode(
        x=alt.X("key:N", sort=keys, title=None, axis=alt.Axis(orient="top", labelAngle=0)),
        y=alt.Y("figuring:N", sort=[figuring_text(f) for f in figurings], title=None),
    )
    squares = base.mark_square(color=_PLAYER, opacity=0.28).encode(
        size=alt.Size("share:Q", scale=alt.Scale(domain=[0, 1], range=[0, 700]), legend=None)
    )
    numbers = base.mark_text(color=_INK, fontSize=12, font=_FONT).encode(text="words:N")
    size = {"width": max(120, 62 * len(keys)), "height": max(40, 30 * len(figurings))}
    chart = (squares + numbers).properties(**size)
    return _svg(chart, "Chords complete in a hundred, by figuring and key")


def faults_over_time(found: Sequence[FaultCount]) -> Markup:
    """Faults in a hundred chords by month, the most frequent rules."""
    alt = _altair()
    most = _most((rule_title(one.rule), one.times) for one in found)[:_SERIES]
    rows = [
        {
            "rule": rule_title(one.rule),
            "when": one.month,
            "rate": 100 * one.times / one.chords,
        }
        for one in found
        if one.chords and rule_title(one.rule) in most
    ]
    chart = _lines(alt, rows, "rule", most, "rate", "in a hundred chords", zero=True)
    return _svg(chart, "Faults in a hundred chords, by month")


def steadiness(days: Sequence[Day]) -> Markup:
    """Spread and bias of the onsets day by day."""
    alt = _altair()
    rows = [
        {"figure": name, "when": one.day.isoformat(), "ms": value}
        for one in days
        for name, value in (
            ("spread", one.totals.deviation_ms),
            ("late (+) or early (−)", one.totals.bias_ms),
        )
        if value is not None
    ]
    order = ["spread", "late (+) or early (−)"]
    chart = _lines(alt, rows, "figure", order, "ms", "milliseconds", zero=True)
    return _svg(chart, "Steadiness: spread and bias of the onsets")


def _lines(
    alt: Any,
    rows: list[dict[str, Any]],
    name: str,
    order: list[str],
    y: str,
    title: str,
    zero: bool,
) -> Any:
    by_month = any(len(row["when"]) == 7 for row in rows)
    inks = [_PLAYER, _MARK, _REMARK, _INK, _SOFT, _PLAYER][: len(order)]
    legend = alt.Legend(title=None, orient="bottom", columns=2, labelLimit=480, symbolSize=70)
    series = f"{name}:N"
    return (
        alt.Chart(alt.Data(values=rows))
        .mark_line(point=alt.OverlayMarkDef(size=45, filled=True), strokeWidth=1.6)
        .encode(
            x=alt.X("when:T", title=None, axis=_dates(alt, by_month=by_month)),
            y=alt.Y(f"{y}:Q", title=title, scale=alt.Scale(zero=zero)),
            color=alt.Color(
                series, sort=order, scale=alt.Scale(domain=order, range=inks), legend=legend
            ),
            shape=alt.Shape(
                series,
                sort=order,
                scale=alt.Scale(domain=order, range=_SHAPES[: len(order)]),
                legend=legend,
            ),
            strokeDash=alt.StrokeDash(
                series,
                sort=order,
                scale=alt.Scale(domain=order, range=_DASHES[: len(order)]),
                legend=legend,
            ),
        )
        .properties(width=_WIDTH, height=190)
    )


def _dates(alt: Any, *, by_month: bool) -> Any:
    every = {"tickCount": "month"} if by_month else {"tickCount": 8}
    return alt.Axis(
        format="%b %Y" if by_month else "%-d %b", labelOverlap=True, grid=False, **every
    )


def _intervals(
    alt: Any,
    rows: list[dict[str, Any]],
    name: str,
    order: list[Any],
    title: str,
    label: str,
    wide: int = 120,
) -> Markup:
    field = alt.Y(
        f"{name}:N", sort=order, title=None, axis=alt.Axis(labelLimit=2 * wide, grid=False)
    )
    base = alt.Chart(alt.Data(values=rows)).encode(y=field)
    reach = base.mark_rule(color=_PLAYER, strokeWidth=2).encode(
        x=alt.X("low:Q", title=title, axis=alt.Axis(format=".0%")), x2="high:Q"
    )
    share = base.mark_point(color=_PLAYER, filled=True, size=70, opacity=1).encode(x="share:Q")
    chart = (reach + share).properties(width=_WIDTH - wide, height=max(40, 20 * len(rows)))
    return _svg(chart, label)


def _altair() -> Any:
    """Heavy, so brought in when a chart is drawn."""
    import altair

    return altair


def _most(pairs: Any) -> list[str]:
    counts: dict[str, int] = {}
    for name, count in pairs:
        counts[name] = counts.get(name, 0) + count
    return sorted(counts, key=lambda name: (-counts[name], name))


def _svg(chart: Any, label: str) -> Markup:
    """The chart as an SVG that scales with the page; `label` is what it is called aloud."""
    converter = _converter()
    spec = chart.configure(**_config()).to_dict()
    drawn: str = converter.vegalite_to_svg(spec)
    for stand_in, ink in _INKS.items():
        drawn = drawn.replace(f'"{stand_in}"', f'"{ink}"')
    drawn = drawn.replace("<svg ", '<svg role="img" ', 1)
    title = f"<title>{Markup.escape(label)}</title>"
    at = drawn.index(">", drawn.index("<svg ")) + 1
    return Markup(drawn[:at] + title + drawn[at:])  # vega escapes what it draws


@lru_cache(maxsize=1)
def _converter() -> Any:
    import vl_convert

    vl_convert.register_font_directory(str(assets_folder() / "fonts"))
    return vl_convert


def _config() -> dict[str, Any]:
    axis = {
        "labelColor": _INK,
        "titleColor": _SOFT,
        "labelFont": _FONT,
        "titleFont": _FONT,
        "labelFontSize": 13,
        "titleFontSize": 13,
        "titleFontWeight": "normal",
        "domainColor": _SOFT,
        "tickColor": _SOFT,
        "gridColor": _RULE,
    }
    legend = {"labelFont": _FONT, "labelFontSize": 13, "labelColor": _INK}
    return {
        "background": "transparent",
        "font": _FONT,
        "axis": axis,
        "legend": legend,
        "view": {"stroke": None},
    }
