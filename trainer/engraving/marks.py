"""Marks as a teacher writes them on a page, from faults and verdicts.

Two strokes and a 5 or an 8 join voices that move together; a small cross stands at a foreign
note; a caret asks for a figure that is missing; a bracket holds a note that came unprepared; an
arrow shows where a dissonance should have gone. What weighs less is drawn lighter and thinner.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from trainer.engraving.boxes import box_of
from trainer.engraving.geometry import Geometry
from trainer.engraving.ink import Drawing, Ink, to_svg
from trainer.engraving.mark_forms import freedom
from trainer.engraving.marking_pen import pen_for
from trainer.engraving.middle_voices import Column, VoiceNote, write
from trainer.engraving.notes_on_paper import free_voices, tenor_staves
from trainer.engraving.page import Page
from trainer.engraving.time_marks import TimeMark, time_marks
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.score.exercise import Exercise
from trainer.theory.fault import Fault
from trainer.theory.moment import Moment
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VoiceName, Voicing


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark on one page. `fault` is the place of what it marks among the faults to be marked."""

    fault: int
    drawings: tuple[Drawing, ...]


def written_voices(moment: Moment, voicing: Voicing) -> dict[VoiceName, Pitch]:
    """The voices of a voicing that are not given, so that the player's hand is what is written.

    Of a chord that collapsed each key is written once, and none that is the bass's.
    """
    found = {name: pitch for name in free_voices(moment) if (pitch := voicing[name]) is not None}
    if not _collapsed(voicing):
        return found
    once: dict[Pitch, VoiceName] = {pitch: name for name, pitch in found.items()}
    return {name: pitch for pitch, name in once.items() if pitch != voicing.bass}


def collapsed(verdicts: Iterable[MomentVerdict]) -> frozenset[int]:
    """The moments of which one or two keys at most were heard where four voices were asked for:
    all that is wrong with them is one thing."""
    return frozenset(
        v.index
        for v in verdicts
        if v.outcome != "complete" and v.voicing is not None and _collapsed(v.voicing)
    )


def _collapsed(voicing: Voicing) -> bool:
    return None not in voicing and len(set(voicing)) <= 2


def played(
    exercise: Exercise, geometry: Geometry, verdicts: Sequence[MomentVerdict]
) -> dict[int, Column]:
    """The middle voices of a pass on this page, by moment, as they were written as it went on."""
    voices = {
        v.index: written_voices(exercise.moments[v.index], v.voicing) if v.voicing else {}
        for v in verdicts
    }
    tenor = {index: notes["tenor"] for index, notes in voices.items() if "tenor" in notes}
    staves = tenor_staves(exercise, tenor)
    columns: dict[int, Column] = {}
    for index, notes in voices.items():
        if index in geometry.moments:
            written = [VoiceNote(voice, pitch) for voice, pitch in notes.items()]
            columns[index] = write(
                exercise, geometry, index, written, tenor_above=staves[index], before=columns
            )
    return columns


def marks(
    exercise: Exercise,
    geometry: Geometry,
    faults: Sequence[Fault],
    columns: Mapping[int, Column],
    *,
    hollow: Collection[int] = (),
    beside: Iterable[Drawing] = (),
) -> tuple[Mark, ...]:
    """One mark for each fault that touches this page, in the order of the faults.

    `columns` are the player's notes as `played` has set them. Whatever is wrong at a moment of
    `hollow` (see `collapsed`) has the same one mark. `beside` is what else is drawn already: no
    mark lies on it, nor on print, notes and other marks, where there is room; a stroke from note
    to note passes over what stands between them. Moment by moment, what can stand in few places
    is drawn first, so that what comes later moves nothing.
    """
    here = [
        (index, fault)
        for index, fault in enumerate(faults)
        if any(moment in geometry.moments for moment in fault.moments)
    ]
    pen = pen_for(exercise, geometry, columns, beside)
    lines = {}
    for index, fault in here:
        if not set(fault.moments) & set(hollow):
            lines[index] = pen.lines(fault)
    found: dict[int, tuple[Drawing, ...]] = {}
    gaps: dict[int, tuple[Drawing, ...]] = {}
    for index, fault in sorted(here, key=lambda one: (one[1].moments[-1], freedom(one[1].rule))):
        if index in lines:
            found[index] = (*lines[index], *pen.signs(fault, lines[index]))
        else:
            moment = next(m for m in reversed(fault.moments) if m in hollow)
            if moment not in gaps:
                gaps[moment] = pen.gap(moment)
            found[index] = gaps[moment]
    return tuple(Mark(index, found[index]) for index, _ in here if found[index])


def times_and_marks(
    exercise: Exercise,
    geometry: Geometry,
    verdict: PassVerdict,
    columns: Mapping[int, Column],
    tolerance: float,
) -> tuple[tuple[TimeMark, ...], tuple[Mark, ...]]:
    """All that is said of a pass on one page, one mark for one cause: what follows from it is said
    in words. `tolerance` is the part of a beat still called in time."""
    times = time_marks(geometry, verdict.moments, tolerance, columns)
    beside = [drawing for mark in times for drawing in mark.drawings]
    hollow = collapsed(verdict.moments)
    return times, marks(exercise, geometry, verdict.drawn, columns, hollow=hollow, beside=beside)


def drawn_marks(
    exercise: Exercise,
    geometry: Geometry,
    verdict: PassVerdict,
    columns: Mapping[int, Column],
    tolerance: float,
) -> tuple[Drawing, ...]:
    """The drawings of `times_and_marks`, nothing twice."""
    times, faults = times_and_marks(exercise, geometry, verdict, columns, tolerance)
    drawn = [*(mark.drawings for mark in times), *(mark.drawings for mark in faults)]
    return tuple(dict.fromkeys(drawing for drawings in drawn for drawing in drawings))


def marked(
    page: Page,
    exercise: Exercise,
    verdict: PassVerdict,
    tolerance: float,
    inks: Mapping[Ink, str] | None = None,
) -> str:
    """The whole page as SVG with the player's notes and the marks on it."""
    columns = played(exercise, page.geometry, verdict.moments)
    notes = [drawing for column in columns.values() for drawing in column.drawings]
    said = drawn_marks(exercise, page.geometry, verdict, columns, tolerance)
    return drawn_on(page, (*notes, *said), inks)


def drawn_on(page: Page, drawings: Sequence[Drawing], inks: Mapping[Ink, str] | None = None) -> str:
    """The page with drawings on it, higher where they reach beyond its edges."""
    width, height = page.geometry.width, page.geometry.height
    boxes = [box_of(drawing) for drawing in drawings]
    top = math.floor(min([0.0, *(box.top - 1 for box in boxes)]))
    bottom = math.ceil(max([height, *(box.bottom + 1 for box in boxes)]))
    svg = page.svg.removesuffix("</svg>")
    if (top, bottom) != (0, height):
        size = f'viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
        larger = f'viewBox="0 {top} {width} {bottom - top}" width="{width}" height="{bottom - top}"'
        assert size in svg
        svg = svg.replace(size, larger, 1)
    return svg + to_svg(drawings, inks) + "</svg>"
