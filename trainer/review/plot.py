"""A plotting area as SVG that grows with the page while its letters keep their size.

Across, everything stands in per cent of the area; down, in pixels. The drawing is as wide as the
column lets it be, on a telephone as on a wall, and nothing is scaled: words stay as large as the
text around them. Inks are the CSS variables of the page, so that light, dark and print each have
their own. What is drawn needs no script.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from lxml import etree
from markupsafe import Markup

INK, SOFT, RULE = "var(--ink)", "var(--soft)", "var(--rule)"
PLAYER, MARK, REMARK = "var(--player)", "var(--mark)", "var(--remark)"

LINE = 13  # pixels, the size of the letters
_HALF = 4.2  # pixels, half the width of a mark

# closed outlines about the origin, all of about the same weight to the eye
_OUTLINES = {
    "circle": "M4.2 0A4.2 4.2 0 1 1-4.2 0A4.2 4.2 0 1 1 4.2 0Z",
    "square": "M-3.7-3.7H3.7V3.7H-3.7Z",
    "up": "M0-5L4.7 3.6H-4.7Z",
    "diamond": "M0-5.2L4.6 0L0 5.2L-4.6 0Z",
    "cross": "M-1.6-4.8H1.6V-1.6H4.8V1.6H1.6V4.8H-1.6V1.6H-4.8V-1.6H-1.6Z",
    "down": "M0 5L4.7-3.6H-4.7Z",
}


@dataclass(frozen=True, slots=True)
class Series:
    """How one line is told from the others: by ink, by the form of its marks, by its dashes."""

    name: str
    ink: str
    shape: str
    dashes: str


_MANNERS = (
    (PLAYER, "circle", ""),
    (MARK, "square", "6 3"),
    (REMARK, "up", "2 2"),
    (INK, "diamond", "8 2 2 2"),
    (SOFT, "cross", "4 4"),
    (PLAYER, "down", "1 3"),
)
SERIES = len(_MANNERS)  # lines that can be told apart in one chart


def series(names: Sequence[str]) -> list[Series]:
    """A manner for each name; at most `SERIES` of them."""
    return [Series(name, *manner) for name, manner in zip(names, _MANNERS, strict=False)]


@dataclass(frozen=True, slots=True)
class Scale:
    """Numbers from `low` to `high` and the round ones among them that are written beside."""

    low: float
    high: float
    ticks: tuple[float, ...]

    def share(self, value: float) -> float:
        """Where a value lies, 0 at the low end to 1 at the high."""
        return (value - self.low) / (self.high - self.low)


def round_scale(values: Sequence[float], *, zero: bool, ticks: int = 5) -> Scale:
    """A scale with round ends about all values; with `zero` it reaches down to 0."""
    low, high = min(values, default=0.0), max(values, default=1.0)
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
    if high - low < 1e-9:
        high, low = high + 1.0, (low if zero else low - 1.0)
    rough = (high - low) / ticks
    power = 10.0 ** math.floor(math.log10(rough))
    step = power * next(s for s in (1.0, 2.0, 2.5, 5.0, 10.0) if s * power >= rough * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return Scale(first * step, last * step, tuple(n * step for n in range(first, last + 1)))


def number(value: float) -> str:
    """A tick without needless noughts, with a true minus sign."""
    return f"{value:.10g}".replace("-", "−")


def date_ticks(first: date, last: date) -> list[tuple[date, str]]:
    """At most seven dates to write under an axis, on round days: weeks, months, years."""
    span = (last - first).days
    if span <= 6:
        every = [first + timedelta(days=n) for n in range(0, span + 1, 2 if span > 4 else 1)]
        return [(day, _day(day)) for day in every]
    if span <= 84:
        weeks = math.ceil(span / 7 / 6)
        monday = first + timedelta(days=-first.weekday() % 7)
        every = [monday + timedelta(weeks=n) for n in range(0, span // 7 + 1, weeks)]
        return [(day, _day(day)) for day in every if day <= last]
    months = next((m for m in (1, 2, 3, 6, 12) if span / 30.4 / m <= 6), 12)
    years = math.ceil(span / 365.25 / 6)
    found, year, month = [], first.year, 1
    while (day := date(year, month, 1)) <= last:
        if day >= first:
            found.append((day, f"{day:%b %Y}" if months < 12 else f"{year}"))
        month += months
        if month > 12:
            year, month = year + (years if months == 12 else 1), 1
    return found


def _day(day: date) -> str:
    return f"{day.day} {day:%b}"


class Plot:
    """A drawing so many pixels high; `title` is what it is called aloud, `story` its gist."""

    def __init__(self, title: str, story: str, height: int, kind: str = "plot") -> None:
        self.height = height
        self._root = etree.Element("svg", {"role": "img", "class": kind, "height": str(height)})
        etree.SubElement(self._root, "title").text = title
        etree.SubElement(self._root, "desc").text = story

    def line(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        ink: str,
        width: float = 1.0,
        dashes: str = "",
    ) -> None:
        """From share and pixel to share and pixel."""
        attributes = {
            "x1": _percent(start[0]),
            "y1": _pixel(start[1]),
            "x2": _percent(end[0]),
            "y2": _pixel(end[1]),
            "stroke": ink,
            "stroke-width": _pixel(width),
        }
        if dashes:
            attributes["stroke-dasharray"] = dashes
        etree.SubElement(self._root, "line", attributes)

    def words(
        self,
        at: tuple[float, float],
        text: str,
        anchor: str = "middle",
        ink: str = INK,
        aside: float = 0.0,
    ) -> None:
        """A word with its middle line at a height; `aside` moves it so many pixels to the right."""
        attributes = {
            "x": _percent(at[0]),
            "y": _pixel(at[1]),
            "dy": "0.32em",
            "text-anchor": anchor,
            "fill": ink,
        }
        if aside:
            attributes["dx"] = _pixel(aside)
        etree.SubElement(self._root, "text", attributes).text = text

    def mark(self, at: tuple[float, float], shape: str, ink: str, said: str = "") -> None:
        """One of the shapes, centred; `said` shows when it is pointed at."""
        place = {"x": _percent(at[0]), "y": _pixel(at[1]), "overflow": "visible"}
        inner = etree.SubElement(self._root, "svg", place)
        self._said(etree.SubElement(inner, "path", d=_OUTLINES[shape], fill=ink), said)

    def square(self, at: tuple[float, float], side: float, ink: str, said: str = "") -> None:
        """A pale square about a point, so many pixels wide."""
        place = {"x": _percent(at[0]), "y": _pixel(at[1]), "overflow": "visible"}
        inner = etree.SubElement(self._root, "svg", place)
        half = _pixel(-side / 2)
        box = {"x": half, "y": half, "width": _pixel(side), "height": _pixel(side)}
        drawn = etree.SubElement(inner, "rect", {**box, "fill": ink, "fill-opacity": "0.28"})
        self._said(drawn, said)

    def bar(self, across: tuple[float, float], down: tuple[float, float], said: str) -> None:
        """A filled bar between two shares and two heights."""
        place = {
            "x": _percent(across[0]),
            "width": _percent(across[1] - across[0]),
            "y": _pixel(min(down)),
            "height": _pixel(abs(down[1] - down[0])),
            "fill": PLAYER,
        }
        self._said(etree.SubElement(self._root, "rect", place), said)

    def figure(self, above: str = "", legend: Sequence[Series] = ()) -> Markup:
        """The drawing with what the numbers beside it are, and with its legend."""
        parts = [Markup('<p class="unit">{}</p>\n').format(above) if above else Markup("")]
        parts.append(Markup(etree.tostring(self._root, encoding="unicode")))
        if legend:
            parts.append(Markup('\n<ul class="legend">\n'))
            parts += [_sample(one) for one in legend]
            parts.append(Markup("</ul>"))
        return Markup("").join(parts)

    def _said(self, drawn: etree._Element, said: str) -> None:
        if said:
            etree.SubElement(drawn, "title").text = said


def upright_axis(plot: Plot, scale: Scale, top: float, bottom: float) -> None:
    """Rules across the plot at the round numbers of a scale, the numbers to their left."""
    for tick in scale.ticks:
        y = height_of(scale, tick, top, bottom)
        on_ground = abs(tick) < 1e-9 or tick == scale.low
        plot.line((0, y), (1, y), SOFT if on_ground else RULE)
        plot.words((0, y), number(tick), "end", aside=-7)


def height_of(scale: Scale, value: float, top: float, bottom: float) -> float:
    """The pixel at which a value stands between the bottom and the top of the plot."""
    return bottom - scale.share(value) * (bottom - top)


def _sample(one: Series) -> Markup:
    dashes = f' stroke-dasharray="{one.dashes}"' if one.dashes else ""
    drawing = (
        '<svg class="sample" width="34" height="12" aria-hidden="true">'
        f'<line x1="0" y1="6" x2="34" y2="6" stroke="{one.ink}" stroke-width="1.6"{dashes}/>'
        f'<path transform="translate(17 6)" d="{_OUTLINES[one.shape]}" fill="{one.ink}"/></svg>'
    )
    return Markup("<li>{}{}</li>\n").format(Markup(drawing), one.name)


def _percent(share: float) -> str:
    return f"{_short(100 * share)}%"


def _pixel(value: float) -> str:
    return _short(value)


def _short(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".").replace("-0", "0") if value else "0"
