"""The charts: their scales, their words, and that they stand where the numbers say."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import html
from markupsafe import Markup

from trainer.review import charts
from trainer.review.plot import date_ticks, round_scale
from trainer.review.queries import Day, FaultCount, Fluency, TempoPoint, Totals
from trainer.review.statistics import Share, Think

FIRST = date(2026, 2, 2)


def totals(seconds: float = 60.0, spread: float | None = None) -> Totals:
    none = Share(0, 0)
    return Totals(1, 1, seconds, none, none, none, 0, 0, 0, spread, spread)


def days(*minutes: float) -> list[Day]:
    return [Day(FIRST + timedelta(days=n), totals(60 * m)) for n, m in enumerate(minutes) if m]


def drawing(chart: Markup) -> html.HtmlElement:
    return html.fragment_fromstring(str(chart), create_parent="figure")


@given(st.lists(st.floats(-1e6, 1e6), min_size=1), st.booleans())
def test_a_scale_holds_all_its_numbers_between_few_round_ends(
    values: list[float], zero: bool
) -> None:
    scale = round_scale(values, zero=zero)
    room = 1e-6 * max(1.0, max(map(abs, values)))
    assert scale.low <= min(values) + room and max(values) <= scale.high + room
    assert 2 <= len(scale.ticks) <= 8
    if zero:
        assert scale.low <= 0 <= scale.high


@given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.integers(0, 12_000))
def test_dates_under_a_plot_are_few_and_inside_it(first: date, span: int) -> None:
    last = first + timedelta(days=span)
    ticks = date_ticks(first, last)
    assert len(ticks) <= 7
    assert all(first <= day <= last for day, _ in ticks)
    assert [day for day, _ in ticks] == sorted({day for day, _ in ticks})
    assert len({name for _, name in ticks}) == len(ticks)
    if span >= 7:
        assert ticks


def test_a_bar_is_as_high_as_its_minutes() -> None:
    bars = drawing(charts.minutes(days(10, 0, 20, 5))).xpath("//rect")
    heights = [float(bar.get("height")) for bar in bars]
    assert heights[1] == pytest.approx(2 * heights[0]) == pytest.approx(4 * heights[2])
    assert [bar.findtext("title") for bar in bars] == [
        "2 February 2026: 10.0 minutes",
        "4 February 2026: 20.0 minutes",
        "5 February 2026: 5.0 minutes",
    ]


@pytest.mark.parametrize(("count", "unit", "bars"), [(131, "day", 131), (132, "week", 19)])
def test_a_long_log_has_a_bar_a_week(count: int, unit: str, bars: int) -> None:
    drawn = drawing(charts.minutes(days(*[30.0] * count)))
    assert drawn.findtext(".//title") == f"Minutes of playing a {unit}"
    assert len(drawn.xpath("//rect")) == bars


def test_bars_of_weeks_and_months_lose_no_minute() -> None:
    for count in (200, 1200):
        said = drawing(charts.minutes(days(*[30.0] * count))).xpath("//rect/title/text()")
        assert sum(float(one.split(": ")[1].split()[0]) for one in said) == 30 * count


def test_every_chart_says_aloud_what_it_is() -> None:
    share = Share(9, 10)
    cell = Fluency("6", "G major", 3, None, share, share, Think(0, 0, 0))
    drawn = [
        charts.minutes(days(10, 20)),
        charts.tempi([TempoPoint("x", "G major", "2026-02-02", 1, 50, 60, share, share)]),
        charts.accuracy([cell]),
        charts.grid([cell]),
        charts.broken_rules([FaultCount("consecutives", None, None, None, 1, 0, 0, 10)]),
        charts.faults_over_time([FaultCount("x", None, None, "2026-02", 1, 0, 0, 10)]),
        charts.steadiness([Day(FIRST, totals(spread=12.0))]),
    ]
    for chart in drawn:
        (picture,) = drawing(chart).xpath("//svg[@role='img']")
        assert picture.findtext("title") and picture.findtext("desc")


def test_names_that_look_like_markup_are_only_names() -> None:
    name = "<script>alert(1)</script>&"
    point = TempoPoint(name, '"G"', "2026-02-02", 1, 50, 60, Share(1, 1), Share(1, 1))
    chart = charts.tempi([point])
    assert "<script" not in chart
    assert drawing(chart).xpath("//li")[0].text_content().strip() == f'{name}, "G"'


def test_the_dot_stands_within_its_interval_at_its_share() -> None:
    cells = [
        Fluency(name, "G major", None, None, Share(hits, 20), Share(0, 0), Think(0, 0, 0))
        for name, hits in (("6", 20), ("7", 10), ("4 2", 0))
    ]
    drawn = drawing(charts.accuracy(cells))
    dots = [float(one.get("x")[:-1]) for one in drawn.xpath("//svg/svg")]
    assert dots == [100.0, 50.0, 0.0]
    lines = drawn.xpath("//line[@stroke-width='2']")
    for cell, dot, line in zip(cells, dots, lines, strict=True):
        low, high = float(line.get("x1")[:-1]), float(line.get("x2")[:-1])
        assert low <= dot <= high
        assert low == pytest.approx(100 * cell.complete.low, abs=0.01)
        assert high == pytest.approx(100 * cell.complete.high, abs=0.01)


def test_nothing_played_draws_nothing() -> None:
    for chart in (charts.minutes, charts.tempi, charts.accuracy, charts.grid, charts.steadiness):
        assert chart([]) == ""  # type: ignore[operator]
