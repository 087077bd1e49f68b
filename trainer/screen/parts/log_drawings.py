"""The pages of the log, drawn in ink: every amount is told by length, area or number."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import pygame

from trainer.review.named import title_of
from trainer.screen.drawing.forme import Forme

if TYPE_CHECKING:
    from trainer.review.queries import Day, FaultCount, Fluency, TempoPoint

_DAYS = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")


def draw_minutes(forme: Forme, days: Sequence[Day], today: date, area: pygame.Rect) -> None:
    """A calendar: a column a week, a square a day, filled as high as the day's minutes."""
    em = forme.em
    minutes = {day.day: day.totals.seconds / 60 for day in days}
    roomy = (area.width - round(3 * em)) // 26  # half a year at least
    cell = max(9, min(roomy, (area.height - round(4.5 * em)) // 7))
    weeks = max(4, min(53, (area.width - round(3 * em)) // cell))
    monday = today - timedelta(days=today.weekday())
    first = monday - timedelta(weeks=weeks - 1)
    full = max(30.0, *(minutes.get(first + timedelta(days=n), 0) for n in range(7 * weeks)))
    left, top = area.x + round(2.6 * em), area.y + round(1.6 * em)
    for number, name in enumerate(_DAYS):
        if number % 2 == 0:
            y = top + number * cell + 0.72 * cell
            forme.text(
                name, left - 0.6 * em, y, face="italic", size=0.8, role="soft", align="right"
            )
    month = 0
    free = 0.0
    for week in range(weeks):
        begins = first + timedelta(weeks=week)
        x = left + week * cell
        if begins.month != month and x >= free:
            month = begins.month
            named = forme.text(
                f"{begins:%B}", x, top - 0.6 * em, face="italic", size=0.8, role="soft"
            )
            free = named.right + 0.6 * em
        for number in range(7):
            day = begins + timedelta(days=number)
            if day > today:
                continue
            y = top + number * cell
            inner = pygame.Rect(x + 1, y + 1, cell - 3, cell - 3)
            forme.rule(inner.x, inner.bottom, inner.right)
            played = minutes.get(day, 0.0)
            if played:
                height = max(2, round(inner.height * min(1.0, played / full)))
                bar = pygame.Rect(inner.x, inner.bottom - height, inner.width, height)
                forme.bed(bar, "ink")
            if day == today:
                forme.rule(inner.x, inner.bottom + 2, inner.right, role="mark", thickness=2)
    y = top + 7 * cell + 1.6 * em
    week_sum = sum(m for d, m in minutes.items() if monday <= d <= today)
    forme.text(
        f"A full square is {full:.0f} minutes. This week {week_sum:.0f} minutes, "
        f"today {minutes.get(today, 0):.0f}.",
        area.x,
        y,
        face="italic",
        role="soft",
        room=area.width,
    )


def draw_tempi(forme: Forme, points: Sequence[TempoPoint], area: pygame.Rect) -> None:
    """For each piece the fastest tempo finished on each day, a small curve a piece."""
    em = forme.em
    pieces: dict[tuple[str, str], dict[date, float]] = {}
    for point in points:
        curve = pieces.setdefault((point.exercise_id, point.key), {})
        curve[point.day] = point.fastest
    if not pieces:
        forme.text(
            "No pass in tempo has been finished yet.",
            area.x,
            area.y + em,
            face="italic",
            role="soft",
        )
        return
    latest = sorted(pieces, key=lambda p: max(pieces[p]), reverse=True)
    columns = max(1, min(3, round(area.width / (22 * em))))
    rows = max(1, int(area.height / (8.5 * em)))
    wide, high = area.width / columns, area.height / rows
    for number, piece in enumerate(latest[: columns * rows]):
        x = area.x + number % columns * wide
        y = area.y + number // columns * high
        place = pygame.Rect(round(x), round(y), round(wide - 2.5 * em), round(high - 1.6 * em))
        _tempo_curve(forme, piece, pieces[piece], place)


def _tempo_curve(
    forme: Forme, piece: tuple[str, str], curve: dict[date, float], area: pygame.Rect
) -> None:
    em = forme.em
    name, key = piece
    title = forme.text(name, area.x, area.y + 0.9 * em, room=area.width * 0.66)
    forme.text(
        key,
        title.right + 0.6 * em,
        area.y + 0.9 * em,
        face="italic",
        size=0.85,
        role="soft",
        room=area.right - title.right - em,
    )
    days = sorted(curve)
    low, high = min(curve.values()), max(curve.values())
    if high - low < 8:
        low, high = low - 4, high + 4
    left, right = area.x + 2.4 * em, area.right - 2.6 * em
    top, bottom = area.y + 2.0 * em, area.bottom - 1.2 * em
    span = max(1, (days[-1] - days[0]).days)

    def at(day: date) -> tuple[float, float]:
        part = (day - days[0]).days / span if len(days) > 1 else 0.5
        return left + part * (right - left), bottom - (curve[day] - low) / (high - low) * (
            bottom - top
        )

    forme.rule(left, bottom, right)
    places = [at(day) for day in days]
    thick = max(1.4, 0.075 * em)
    for (x1, y1), (x2, y2) in pairwise(places):
        forme.stroke(x1, y1, x2, y2, thick)
    size = 0.28 * em
    for x, y in places[-60:]:
        forme.sign(0xE0A4, x - 0.59 * size, y, size)
    forme.text(
        f"{curve[days[0]]:g}",
        left - 0.6 * em,
        places[0][1] + 0.3 * em,
        size=0.85,
        role="soft",
        align="right",
    )
    forme.text(
        f"{curve[days[-1]]:g}", places[-1][0] + 0.6 * em, places[-1][1] + 0.3 * em, size=0.95
    )
    forme.text(f"{days[0]:%d %b}", left, bottom + 1.0 * em, face="italic", size=0.75, role="soft")
    if len(days) > 1:
        forme.text(
            f"{days[-1]:%d %b}",
            right,
            bottom + 1.0 * em,
            face="italic",
            size=0.75,
            role="soft",
            align="right",
        )


def draw_fluency(forme: Forme, cells: Sequence[Fluency], area: pygame.Rect) -> None:
    """A grid of figurings by keys: each cell filled from below as far as chords were complete."""
    em = forme.em
    count: dict[str, int] = {}
    keys: dict[str, int] = {}
    grid: dict[tuple[str, str], Fluency] = {}
    for cell in cells:
        if cell.figuring is None or cell.key is None:
            continue
        count[cell.figuring] = count.get(cell.figuring, 0) + cell.complete.cases
        keys[cell.key] = keys.get(cell.key, 0) + cell.complete.cases
        grid[cell.figuring, cell.key] = cell
    head = 5.2 * em
    wide = 4.6 * em
    high = 2.1 * em
    columns = sorted(keys, key=lambda k: -keys[k])[: max(1, int((area.width - head) / wide))]
    rows = sorted(count, key=lambda f: -count[f])
    rows = rows[: max(1, int((area.height - 4 * em) / high))]
    top = area.y + 1.2 * em
    for number, key in enumerate(columns):
        x = area.x + head + number * wide
        forme.text(key, x, top, face="italic", size=0.85, role="soft", room=wide - 0.4 * em)
    for line, figuring in enumerate(rows):
        y = top + 0.7 * em + line * high
        name = "no figure" if figuring == "-" else figuring
        face = "italic" if figuring == "-" else "upright"
        forme.text(name, area.x, y + 1.15 * em, face=face, room=head - 0.5 * em)  # type: ignore[arg-type]
        forme.rule(area.x, y + high - 0.25 * em, area.x + head + len(columns) * wide - 0.6 * em)
        for number, key in enumerate(columns):
            found = grid.get((figuring, key))
            if found is None:
                continue
            share = found.complete.hits / max(1, found.complete.cases)
            box = pygame.Rect(
                round(area.x + head + number * wide),
                round(y + 0.25 * em),
                round(0.75 * em),
                round(1.3 * em),
            )
            forme.bed(box, "wash")
            filled = round(box.height * share)
            forme.bed(pygame.Rect(box.x, box.bottom - filled, box.width, filled), "ink")
            forme.text(f"{share:.0%}", box.right + 0.4 * em, y + 0.95 * em, size=0.9)
            think = found.think.typical
            small = f"{found.complete.cases}" + ("" if think is None else f", {think:.1f} s")
            forme.text(
                small, box.right + 0.4 * em, y + 1.65 * em, face="italic", size=0.66, role="soft"
            )
    forme.text(
        "How many chords were complete; below, how many there were and the time to think.",
        area.x,
        area.bottom,
        face="italic",
        size=0.9,
        role="soft",
        room=area.width,
    )


def draw_faults(forme: Forme, faults: Sequence[FaultCount], area: pygame.Rect) -> None:
    """Rules and causes by how often they spoiled something: a bar each, gross solid, weak hollow,
    remarks a line."""
    em = forme.em
    if not faults:
        forme.text("No fault is in the log.", area.x, area.y + em, face="italic", role="soft")
        return
    pitch = 1.9 * em
    rows = max(1, int((area.height - 2.4 * em) / pitch))
    most = max(one.times for one in faults)
    middle = area.x + min(0.46 * area.width, 25 * em)
    reach = area.right - middle - 4 * em
    for number, one in enumerate(faults[:rows]):
        y = area.y + number * pitch
        forme.text(
            title_of(one.rule),
            middle - 0.8 * em,
            y + 1.15 * em,
            align="right",
            room=middle - area.x - em,
        )
        x = float(middle)
        for times, kind in ((one.gross, "solid"), (one.weak, "hollow"), (one.remark, "line")):
            if not times:
                continue
            width = max(2.0, reach * times / most)
            box = pygame.Rect(round(x), round(y + 0.45 * em), round(width), round(0.85 * em))
            if kind == "solid":
                forme.bed(box, "ink")
            elif kind == "hollow":
                for level in (box.y, box.bottom - 1):
                    forme.rule(box.x, level, box.right, role="ink")
                for side in (box.x, box.right - 1):
                    forme.column(side, box.y, box.bottom, role="ink")
            else:
                forme.rule(box.x, box.centery, box.right, role="ink", thickness=2)
            x += width + 2
        forme.text(f"{one.times}", x + 0.5 * em, y + 1.15 * em, size=0.95)
    forme.text(
        "Solid: wrong in any school. Hollow: avoided. A line: a remark.",
        area.x,
        area.bottom,
        face="italic",
        size=0.9,
        role="soft",
        room=area.width,
    )
