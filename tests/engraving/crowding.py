"""What lies on what on a marked page: every pair that touches, by the kinds of the two.

Not counted, because it cannot be otherwise: the lines of the staves; a stroke that leads from head
to head passes over whatever stands between them; the parts of one mark, of one chord.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from trainer.engraving.boxes import Box, box_of
from trainer.engraving.ink import Drawing, Sign, Stroke
from trainer.engraving.mark_forms import FORMS
from trainer.engraving.marking_pen import pen_for
from trainer.engraving.marks import played, times_and_marks
from trainer.engraving.page import Page
from trainer.judging.verdict import PassVerdict
from trainer.score.exercise import Exercise

_WRITTEN = {0xE0A0: "head", 0xE0A2: "head", 0xE0A3: "head", 0xE0A4: "head", 0xE1E7: "dot"}
_SOLID = ("written head", "written sign", "written dot", "written flag")  # touch nothing of theirs


@dataclass(frozen=True)
class Thing:
    """One thing on the page; parts of one and the same `owner` may touch."""

    kind: str
    owner: object
    boxes: tuple[Box, ...]


def overlaps(page: Page, exercise: Exercise, verdict: PassVerdict) -> Counter[tuple[str, str]]:
    """How often each two kinds touch on a marked page, by the names of the kinds."""
    space = page.geometry.space
    print_ = [
        Thing(f"printed {b.kind}", b, (b.wider(-0.03 * space),)) for b in page.geometry.printed
    ]
    notes = [*_notes(page, exercise, verdict)]
    said = [*_said(page, exercise, verdict)]
    found: Counter[tuple[str, str]] = Counter()
    for number, thing in enumerate(said):
        for other in (*print_, *notes, *said[:number]):
            if thing.owner != other.owner and _touch(thing, other):
                found[thing.kind, other.kind] += 1
    for thing in notes:
        if thing.kind not in ("written sign", "written head"):
            continue
        for other in print_:
            shared = other.kind in ("printed ledger", "printed stem") or (
                thing.kind == "written head"
                and other.kind == "printed head"
                and _same(thing, other)
            )
            if not shared and _touch(thing, other):
                found[thing.kind, other.kind] += 1
    placed = [one for one in notes if one.kind in _SOLID]
    for number, thing in enumerate(placed):
        for other in placed[max(0, number - 20) : number]:
            one_head = {thing.kind, other.kind} == {"written head"} and _same(thing, other)
            if not one_head and _touch(thing, other):
                found[thing.kind, other.kind] += 1
    return found


def _same(one: Thing, other: Thing) -> bool:
    """Whether two heads are one for both voices."""
    a, b = one.boxes[0], other.boxes[0]
    return abs(a.left - b.left) < 2 and abs(a.top - b.top) < 2


def _touch(one: Thing, other: Thing) -> bool:
    return any(a.touches(b) for a in one.boxes for b in other.boxes)


def _thing(kind: str, owner: object, drawings: Sequence[Drawing], space: float) -> Thing:
    boxes = (box.wider(-0.03 * space) for drawing in drawings for box in _closely(drawing))
    return Thing(kind, owner, tuple(boxes))


def _closely(drawing: Drawing) -> Iterator[Box]:
    """Rectangles around a drawing; a slanting stroke is cut into pieces as long as it is thick."""
    if not isinstance(drawing, Stroke) or drawing.x1 == drawing.x2 or drawing.y1 == drawing.y2:
        yield box_of(drawing)
        return
    across, down = drawing.x2 - drawing.x1, drawing.y2 - drawing.y1
    count = math.ceil(math.hypot(across, down) / drawing.width)
    for n in range(count):
        a, b = n / count, (n + 1) / count
        piece = (drawing.x1 + a * across, drawing.y1 + a * down)
        end = (drawing.x1 + b * across, drawing.y1 + b * down)
        yield box_of(Stroke(*piece, *end, drawing.width, drawing.ink))


def _notes(page: Page, exercise: Exercise, verdict: PassVerdict) -> Iterator[Thing]:
    space = page.geometry.space
    for moment, column in played(exercise, page.geometry, verdict.moments).items():
        for drawing in column.drawings:
            level = isinstance(drawing, Stroke) and drawing.y1 == drawing.y2
            kind = "ledger" if level else "stem"
            if isinstance(drawing, Sign):
                flag = 0xE240 <= drawing.code <= 0xE247
                kind = _WRITTEN.get(drawing.code, "flag" if flag else "sign")
            yield _thing(f"written {kind}", ("chord", moment), [drawing], space)


def _said(page: Page, exercise: Exercise, verdict: PassVerdict) -> Iterator[Thing]:
    geometry, space = page.geometry, page.geometry.space
    columns = played(exercise, geometry, verdict.moments)
    times, found = times_and_marks(exercise, geometry, verdict, columns, 0.15)
    for mark in times:
        yield _thing(f"time {mark.kind}", mark.drawings, mark.drawings, space)
    pen = pen_for(exercise, geometry, columns, ())
    drawn = set()
    for one in found:
        fault = verdict.drawn[one.fault]
        lines = pen.lines(fault)
        signs = [drawing for drawing in one.drawings if drawing not in lines]
        key = tuple(one.drawings)
        if signs and key not in drawn:  # what collapsed is drawn once
            drawn.add(key)
            yield _thing(FORMS.get(fault.rule, "tick"), key, signs, space)
