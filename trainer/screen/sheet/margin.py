"""The margin beside the marked page: a fault with its rule and source, or the commentary."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pygame import Rect

from trainer.judging.lessons import LESSONS
from trainer.practice.points import Point, PointKind
from trainer.screen.drawing.forme import Forme
from trainer.theory.rules import COMMON, rule

_WEIGHTS = {"gross": "wrong in any school", "weak": "avoided", "remark": "a remark"}
_TITLES: dict[PointKind, str] = {
    "early": "An early chord",
    "late": "A late chord",
    "apart": "Hands apart",
    "skipped": "A chord left out",
    "again": "Begun again",
    "anew": "Heard anew",
}
_MEANING: dict[PointKind, str] = {
    "early": "The stroke above the staff begins at the beat and leads to the left, "
    "as long as the chord was early.",
    "late": "The stroke above the staff begins at the beat and leads to the right, "
    "as long as the chord was late.",
    "apart": "The stroke above the staff begins at the beat and leads to where the hand was that "
    "lay farther from it.",
    "skipped": "The brackets stand where nothing was played.",
    "again": "The beat followed, and what was played last stands on the page. "
    "A pass that was begun again is not one played through.",
}
_SIZES = (0.85, 0.76, 0.68, 0.6)  # of the text, in ems: the largest that fits is taken
_LEADING = 1.25


def set_point(
    forme: Forme, area: Rect, shown: Sequence[Point], chosen: int, step: Callable[[int], None]
) -> None:
    """Which of how many; of a cause what a teacher says to it, of another fault its rule in full,
    each with its weight and source; of anything else what it means."""
    em, x, y = forme.em, area.x, float(area.y + forme.em)
    left = forme.text("‹", x, y, size=1.3, action=lambda: step(-1))
    number = forme.text(
        f"{chosen + 1} of {len(shown)}", left.right + 0.5 * em, y, face="italic", role="soft"
    )
    forme.text("›", number.right + 0.5 * em, y, size=1.3, action=lambda: step(1))
    point, room = shown[chosen], int(area.width)
    fault = point.fault
    known = None if fault is None else rule(fault.rule)
    cause = point.cause
    lesson = None if cause is None or cause == "fault" else LESSONS[cause]
    title = _TITLES.get(point.kind, "") if known is None else (lesson or known).title
    y = forme.lines(title, x, y + 1.7 * em, room, size=1.0, at_most=3)
    if fault is not None and known is not None:
        heavy = _WEIGHTS[fault.weight]
        y = forme.lines(heavy, x, y + 0.1 * em, room, face="italic", size=0.85, role="mark")
        advice = known.explanation if lesson is None else lesson.advice
        _fitted(forme, area, y, advice, known.source if lesson is None else COMMON)
    else:
        _fitted(forme, area, y, point.text if point.kind == "anew" else _MEANING[point.kind], "")


def set_remark(
    forme: Forme, area: Rect, remarks: Sequence[str], chosen: int, on: Callable[[], None]
) -> None:
    """One paragraph of the commentary."""
    em, x, y = forme.em, area.x, float(area.y + forme.em)
    forme.text("to notice", x, y, face="italic", role="soft")
    number = forme.text(f"{chosen + 1} of {len(remarks)}", x, y + 1.5 * em, face="italic")
    forme.text("›", number.right + 0.5 * em, y + 1.5 * em, size=1.3, action=on)
    _fitted(forme, area, y + 2.8 * em, remarks[chosen], "")


def set_no_fault(forme: Forme, area: Rect, finished: bool) -> None:
    """What is said where nothing is marked."""
    em, y = forme.em, float(area.y + forme.em)
    forme.text("no fault", area.x, y, face="italic")
    forme.lines(
        "Nothing to mark." if finished else "Nothing to mark, as far as it went.",
        area.x,
        y + 1.4 * em,
        area.width,
        size=0.9,
        role="soft",
    )


def _fitted(forme: Forme, area: Rect, y: float, text: str, source: str) -> None:
    """`text` and under it `source`, as large as the margin lets them be."""
    em, room = forme.em, int(area.width)
    floor = area.bottom - 1.2 * em
    for size in _SIZES:
        lines = forme.type.lettering.wrapped(text, "upright", size * em, room)
        sources = forme.type.lettering.wrapped(source, "italic", 0.92 * size * em, room)
        if y + (len(lines) * _LEADING + len(sources) * 1.2 + 0.9) * size * em <= floor:
            break
    left_over = max(2, int((floor - y) / (_LEADING * size * em)) - len(sources) - 1)
    y = forme.lines(
        text,
        area.x,
        y + 0.5 * em,
        room,
        size=size,
        at_most=max(len(lines), 1) if size > _SIZES[-1] else left_over,
        leading=_LEADING,
    )
    if source:
        forme.lines(
            source,
            area.x,
            y + 0.3 * em,
            room,
            face="italic",
            size=0.92 * size,
            role="soft",
            at_most=4,
            leading=1.2,
        )
