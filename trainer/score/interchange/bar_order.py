"""Bars of a foreign score: the order in which they sound, and the metre they are counted in."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from trainer.errors import ExerciseError
from trainer.score.interchange.foreign import WrittenMetre

_LONGEST = 4000  # bars with repeats written out


@dataclass
class Bar:
    """One measure element with what changed at its start: signatures by staff (0 = all)."""

    element: Any = None
    endings: tuple[int, ...] = ()
    signatures: dict[int, tuple[int, str]] = field(default_factory=dict)
    metre: tuple[int, int] | None = None


def played(bars: list[Bar], repeats: bool) -> tuple[list[Bar], str]:
    """The bars in the order in which they sound, and a remark if that is not as written.

    Without `repeats` each passage is taken once, with its last ending.
    """
    marked = any(_ends(bar) for bar in bars) or any(bar.endings for bar in bars)
    if not marked:
        return bars, ""
    if not repeats:
        return _once(bars), "repeated passages were taken once"
    order: list[Bar] = []
    start = index = 0
    time = 1
    while index < len(bars):
        bar = bars[index]
        if _starts(bar) and index != start:
            start, time = index, 1
        if bar.endings and time not in bar.endings:
            index += 1
            continue
        order.append(bar)
        if len(order) > _LONGEST:
            raise ExerciseError(f"with its repeats the piece has more than {_LONGEST} bars")
        if _ends(bar):
            times = max([2, *bar.endings, *_following(bars, index)])
            if time < min(times, 8):
                time, index = time + 1, start
                continue
            start, time = index + 1, 1
        index += 1
    return order, "repeats were written out"


def _once(bars: list[Bar]) -> list[Bar]:
    kept: list[Bar] = []
    for index, bar in enumerate(bars):
        later = _following(bars, index)
        if bar.endings and later and max(later) > max(bar.endings):
            continue
        kept.append(bar)
    return kept


def _following(bars: list[Bar], index: int) -> list[int]:
    """The numbers of the endings that follow on end after the one bar `index` is in."""
    found: list[int] = []
    for bar in bars[index + 1 :]:
        if not bar.endings:
            break
        found += bar.endings
    return found


def _starts(bar: Bar) -> bool:
    return bar.element.get("left") in ("rptstart", "rptboth")


def _ends(bar: Bar) -> bool:
    return bar.element.get("right") in ("rptend", "rptboth")


def ending_numbers(text: str) -> tuple[int, ...]:
    """`1`, `1, 2` or `1-3` as numbers."""
    numbers: list[int] = []
    for first, last in re.findall(r"(\d{1,2})(?:\s*-\s*(\d{1,2}))?", text):
        numbers += range(int(first), int(last or first) + 1)
    return tuple(numbers) or (1,)


def counted(
    spans: list[tuple[Fraction, Fraction, tuple[int, int]]],
) -> tuple[tuple[WrittenMetre, ...], Fraction]:
    """The metres and the pick-up, from (start, length, metre) of every bar as it sounds.

    Bars divided at a repeat are put together again; a bar of another length than its metre's
    gets a metre of its own, so that every later bar is counted right. Raises ExerciseError.
    """
    bars: list[tuple[Fraction, Fraction, tuple[int, int]]] = []
    index = 0
    while index < len(spans):
        start, length, metre = spans[index]
        full = Fraction(4 * metre[0], metre[1])
        index += 1
        together = length
        beyond = index
        while together < full and beyond < len(spans) and spans[beyond][2] == metre:
            together += spans[beyond][1]
            beyond += 1
        if together == full and length < full:
            length, index = full, beyond
        bars.append((start, length, metre))
    pickup = Fraction(0)
    full = Fraction(4 * bars[0][2][0], bars[0][2][1])
    if len(bars) > 1 and bars[0][1] < full:
        pickup = bars.pop(0)[1]
    metres: list[WrittenMetre] = []
    for number, (start, length, (beats, unit)) in enumerate(bars):
        full = Fraction(4 * beats, unit)
        short = number == len(bars) - 1 and length < full
        if length != full and not short:
            beats, unit = _odd(length, unit)
        if not metres or (metres[-1].beats, metres[-1].unit) != (beats, unit):
            metres.append(WrittenMetre(start if metres else Fraction(0), beats, unit))
    return tuple(metres), pickup


def _odd(length: Fraction, unit: int) -> tuple[int, int]:
    for finer in (unit, 4, 8, 16):
        beats = length * finer / 4
        if finer >= unit and beats.denominator == 1 and beats <= 99:
            return int(beats), finer
    raise ExerciseError(f"a bar lasts {length} quarter notes, which no metre has")
