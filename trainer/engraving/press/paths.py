"""Shapes of SVG as drawing operators of PDF.

Source of the path notation: SVG 1.1, chapter 8.3; of the operators: ISO 32000-1, table 59.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache

_TOKEN = re.compile(r"([A-Za-z])|([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "Z": 0}
_ROUND = 0.5522847498  # how far the handles of a quarter of a circle reach, in radii

_Point = tuple[float, float]


@lru_cache(maxsize=8192)
def path(data: str) -> str:
    """The `d` of a path. Raises ValueError for arcs, which the engraver does not draw."""
    return "\n".join(_Walk().drawn(data))


def polygon(points: str, closed: bool = True) -> str:
    """The `points` of a polygon, or of a polyline where not `closed`."""
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", points)]
    corners = zip(numbers[::2], numbers[1::2], strict=True)
    drawn = [f"{pair(x, y)} {'l' if n else 'm'}" for n, (x, y) in enumerate(corners)]
    return "\n".join([*drawn, *(["h"] if closed else [])])


def ellipse(given: Mapping[str, str]) -> str:
    """An ellipse by its centre and radii, as four curves."""
    x, y, a, b = (float(given[name]) for name in ("cx", "cy", "rx", "ry"))
    u, v = a * _ROUND, b * _ROUND
    quarters = (
        ((x + a, y + v), (x + u, y + b), (x, y + b)),
        ((x - u, y + b), (x - a, y + v), (x - a, y)),
        ((x - a, y - v), (x - u, y - b), (x, y - b)),
        ((x + u, y - b), (x + a, y - v), (x + a, y)),
    )
    return "\n".join([f"{pair(x + a, y)} m", *(_curve(*quarter) for quarter in quarters), "h"])


def rectangle(given: Mapping[str, str]) -> str:
    """A rectangle by its corner and sides."""
    x, y, wide, high = (float(given.get(name, 0)) for name in ("x", "y", "width", "height"))
    return f"{pair(x, y)} {pair(wide, high)} re"


def number(value: float) -> str:
    """To a hundredth, as short as can be."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def pair(x: float, y: float) -> str:
    return f"{number(x)} {number(y)}"


def _curve(first: _Point, second: _Point, end: _Point) -> str:
    return f"{pair(*first)} {pair(*second)} {pair(*end)} c"


class _Walk:
    """Along a path: `at` is where the pen stands, `start` where this part began, `handle` the last
    control point and the command that left it (a smooth curve mirrors it)."""

    def __init__(self) -> None:
        self.at: _Point = (0.0, 0.0)
        self.start: _Point = (0.0, 0.0)
        self.handle: tuple[str, _Point] = ("", (0.0, 0.0))

    def drawn(self, data: str) -> Iterator[str]:
        for command, values in _commands(data):
            upper = command.upper()
            points = self._absolute(upper, values, command.islower())
            yield self._step(upper, points)

    def _absolute(self, command: str, values: list[float], relative: bool) -> list[_Point]:
        x, y = self.at if relative else (0.0, 0.0)
        if command == "H":
            return [(values[0] + x, self.at[1])]
        if command == "V":
            return [(self.at[0], values[0] + y)]
        return [(a + x, b + y) for a, b in zip(values[::2], values[1::2], strict=True)]

    def _step(self, command: str, points: list[_Point]) -> str:
        start, handle = self.at, self.handle
        self.at, self.handle = points[-1] if points else self.start, ("", self.at)
        if command == "Z":
            return "h"
        if command == "M":
            self.start = self.at
            return f"{pair(*self.at)} m"
        if command in "LHV":
            return f"{pair(*self.at)} l"
        if command in "ST":
            alike = "CS" if command == "S" else "QT"
            points.insert(0, _mirrored(handle[1], start) if handle[0] in [*alike] else start)
        self.handle = (command, points[-2])
        if command in "QT":
            middle, end = points
            points = [_towards(start, middle), _towards(end, middle), end]
        return _curve(*points)


def _mirrored(point: _Point, about: _Point) -> _Point:
    return 2 * about[0] - point[0], 2 * about[1] - point[1]


def _towards(point: _Point, middle: _Point) -> _Point:
    """A handle of the cubic curve that is the quadratic one with this middle."""
    return point[0] + 2 / 3 * (middle[0] - point[0]), point[1] + 2 / 3 * (middle[1] - point[1])


def _commands(data: str) -> Iterator[tuple[str, list[float]]]:
    """Each command with its numbers; numbers that go on without a letter repeat it."""
    command = ""
    values: list[float] = []
    for letter, written in _TOKEN.findall(data):
        if letter:
            command = letter
            if command.upper() not in _TAKES:
                raise ValueError(f"a path with {command!r}")
            if command in "Zz":
                yield command, []
            continue
        values.append(float(written))
        if len(values) == _TAKES[command.upper()]:
            yield command, values
            values = []
            command = {"M": "L", "m": "l"}.get(command, command)
