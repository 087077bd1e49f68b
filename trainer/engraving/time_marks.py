"""Time on the page: how early or late a chord was, and the empty place of one that was skipped.

Above the chord a short upright stands at its beat, and a stroke leads from there to where the hand
was: to the right when it was late, to the left when early, as long as it was off; of hands that
came apart, to the one farther from the beat. A chord nobody played leaves a pair of brackets in the
free middle, with nothing between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Literal

from trainer.engraving.boxes import Occupied
from trainer.engraving.geometry import Geometry, System, on_pixels
from trainer.engraving.ink import Drawing, Stroke
from trainer.engraving.middle_voices import BLACK, WIDTHS, Column
from trainer.judging.timing import Untimely, untimely
from trainer.judging.verdict import MomentVerdict

BEAT = 3.0  # staff spaces that stand for a whole beat; more than a beat is drawn as one
_THICK = 0.14  # staff spaces, all that follows too
_THINNEST = 2.0  # pixels: of a finer line no pixel has its whole colour
_UPRIGHT = 0.7
_LOWEST = 1.0  # above the top line
_AIR = 0.2
_HEAD = WIDTHS[BLACK]


@dataclass(frozen=True, slots=True)
class TimeMark:
    """What is drawn of the time of one moment."""

    moment: int
    kind: Untimely | Literal["skipped"]
    drawings: tuple[Drawing, ...]


def time_marks(
    geometry: Geometry,
    verdicts: Iterable[MomentVerdict],
    tolerance: float,
    columns: Mapping[int, Column] | None = None,
) -> tuple[TimeMark, ...]:
    """The marks of time of one page, in the order of the verdicts.

    `tolerance` is the part of a beat still called in time (`Conditions.tolerance`): within it, and
    untimed, nothing is drawn. `columns` are the player's notes as they are set into this page
    (`marks.played`), which are kept clear. Moments that stand on other pages are passed over.
    """
    notes = (drawing for column in (columns or {}).values() for drawing in column.drawings)
    taken = Occupied.by(geometry.printed, notes)
    found: list[TimeMark] = []
    for verdict in verdicts:
        if verdict.index not in geometry.moments:
            continue
        mark = _mark(geometry, verdict, tolerance, taken)
        if mark is not None:
            found.append(mark)
    return tuple(found)


def _mark(
    geometry: Geometry, verdict: MomentVerdict, tolerance: float, taken: Occupied
) -> TimeMark | None:
    system = geometry.system_of(verdict.index)
    x = geometry.moments[verdict.index]
    if verdict.outcome == "not-played":
        return TimeMark(verdict.index, "skipped", _empty_place(system, x, taken))
    out = untimely(verdict.late, verdict.attack, tolerance)
    if out is None:
        return None
    kind, beats = out
    return TimeMark(verdict.index, kind, _aside(system, x, beats, taken))


def _aside(system: System, x: float, late: float, taken: Occupied) -> tuple[Drawing, ...]:
    """The stroke from the beat, on the lowest free level above the staff."""
    space = system.space
    thick = max(_THINNEST, _THICK * space)
    beat = on_pixels(x + _HEAD / 2 * space, round(thick))
    end = beat + max(-1.0, min(1.0, late)) * BEAT * space

    def at(y: float) -> tuple[Drawing, ...]:
        half, y = _UPRIGHT / 2 * space, on_pixels(y, round(thick))
        return (
            Stroke(beat, y - half, beat, y + half, thick, "remark"),
            Stroke(beat, y, end, y, thick, "remark"),
        )

    lowest = system.treble - _LOWEST * space
    highest = max(_UPRIGHT * space, system.top - 1.5 * space)
    above = (
        at(lowest - n * space / 4) for n in range(max(1, round((lowest - highest) / space * 4)))
    )
    middle = (at(y) for y in _downward(system))
    return taken.first_free(chain(above, middle), _AIR * space)


def _downward(system: System) -> list[float]:
    """Heights in the free middle, from the staff above it down."""
    count = round((system.bass - system.treble) / system.space - 5.6) * 4
    return [system.treble + (4.8 + n / 4) * system.space for n in range(max(1, count))]


def _empty_place(system: System, x: float, taken: Occupied) -> tuple[Drawing, ...]:
    """Two brackets about a column without notes, as near to the middle as they find room."""
    space = system.space
    foot, half, thick = 0.4 * space, 0.9 * space, max(_THINNEST, _THICK * space)
    left, right = (
        on_pixels(side, round(thick)) for side in (x - 0.5 * space, x + (_HEAD + 0.5) * space)
    )

    def at(y: float) -> tuple[Drawing, ...]:
        top, bottom = (on_pixels(end, round(thick)) for end in (y - half, y + half))
        return tuple(
            stroke
            for side, inward in ((left, foot), (right, -foot))
            for stroke in (
                Stroke(side, top, side, bottom, thick, "mark"),
                Stroke(side, top, side + inward, top, thick, "mark"),
                Stroke(side, bottom, side + inward, bottom, thick, "mark"),
            )
        )

    middle = (system.treble + 4 * space + system.bass) / 2
    reach = (system.bass - system.treble - 4 * space) / 2 - half
    steps = range(round(max(reach, 0.0) / (space / 4)) + 1)
    options = (at(middle + way * away * space / 4) for away in steps for way in (1, -1))
    return taken.first_free(options, _AIR * space)
