"""An exercise as engraved pages: plain SVG without fonts, and where everything stands on it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import verovio
from lxml import etree

from trainer.engraving.boxes import Box, box_of
from trainer.engraving.figure_drawing import ROW, drawn_figures
from trainer.engraving.geometry import (
    SPACE,
    SVG,
    Geometry,
    line_thickness,
    margin_of,
    on_pixels,
    read_columns,
    read_geometry,
    staff_shifts,
    without_boxes,
)
from trainer.engraving.glyphs import text
from trainer.engraving.ink import Words
from trainer.engraving.mei import Middle, to_mei
from trainer.engraving.note_values import bars
from trainer.engraving.systems import Place, system_starts
from trainer.score.exercise import Exercise, Note

_HREF = "{http://www.w3.org/1999/xlink}href"
_TALLEST = 60000  # verovio's greatest page height, in its own units


@dataclass(frozen=True, slots=True)
class Page:
    """One page. `svg` is a whole document without fonts, drawn in `currentColor`.

    Its notes carry their ids, its figures `figure-7`. `first` and `last` are the moments on it.
    """

    number: int
    svg: str
    geometry: Geometry

    @property
    def first(self) -> int:
        return min(self.geometry.moments)

    @property
    def last(self) -> int:
        return max(self.geometry.moments)


def engrave(
    exercise: Exercise,
    width_px: float,
    height_px: float | None = None,
    *,
    space_px: float = 8.0,
    middle: Middle = None,
    figures: bool = True,
    bar_numbers: bool = True,
) -> tuple[Page, ...]:
    """The exercise on pages `width_px` wide and at most `height_px` high (None: one long page).

    `space_px` is the distance of two staff lines. `middle` prints middle voices as
    `trainer.engraving.mei.to_mei` does. A page is only as high as its systems need.
    """
    toolkit = verovio.toolkit()
    starts = _starts(exercise, toolkit, width_px, space_px, middle)
    _set_up(toolkit, width_px, height_px, space_px, breaks="line")
    _load(toolkit, to_mei(exercise, middle=middle, breaks=starts, figures=figures))
    return _pages(exercise, toolkit, space_px, bar_numbers)


def engrave_systems(
    exercise: Exercise,
    width_px: float,
    *,
    space_px: float = 8.0,
    middle: Middle = None,
    figures: bool = True,
    bar_numbers: bool = True,
) -> tuple[Page, ...]:
    """The same with every system on a page of its own, as high as it needs."""
    toolkit = verovio.toolkit()
    starts = _starts(exercise, toolkit, width_px, space_px, middle)
    _set_up(toolkit, width_px, None, space_px, breaks="encoded")
    mei = to_mei(exercise, middle=middle, breaks=starts, figures=figures, each_system_apart=True)
    _load(toolkit, mei)
    return _pages(exercise, toolkit, space_px, bar_numbers)


def _pages(
    exercise: Exercise, toolkit: Any, space_px: float, bar_numbers: bool
) -> tuple[Page, ...]:
    return tuple(
        _page(exercise, number, _parse(toolkit.renderToSVG(number)), space_px, bar_numbers)
        for number in range(1, toolkit.getPageCount() + 1)
    )


def _starts(
    exercise: Exercise, toolkit: Any, width_px: float, space_px: float, middle: Middle
) -> frozenset[Fraction]:
    """Measure one endless system, then choose where to break it."""
    _set_up(toolkit, 100_000 * space_px / 18, None, space_px, breaks="none")
    _load(toolkit, to_mei(exercise, middle=middle, figures=False))
    columns, end = read_columns(_parse(toolkit.renderToSVG(1)), 1 / SPACE)
    phrase_ends = {
        exercise.moments[p.last].onset + exercise.moments[p.last].duration for p in exercise.phrases
    }
    barlines = {bar.start for bar in bars(exercise)}
    struck = {m.onset: columns.get(m.index) for m in exercise.moments}
    first = struck.get(Fraction(0)) or 0.0
    places = [Place(Fraction(0), first, True, True)]
    for onset in sorted(barlines | phrase_ends):
        if onset == 0 or onset >= exercise.length:
            continue
        if onset not in barlines and not _all_begin(exercise, onset):
            continue
        x = struck.get(onset) or _between(exercise, columns, end, onset)
        places.append(Place(onset, x, onset in phrase_ends, onset in barlines))
    clef = 4.0 + 1.1 * abs(exercise.key.signature)
    width = width_px / space_px - 0.5  # the right margin, and what rounding may take
    return system_starts(places, end, width, first, clef)


def _all_begin(exercise: Exercise, onset: Fraction) -> bool:
    """Whether no written note goes across `onset`."""

    def begins(voice: tuple[Note, ...]) -> bool:
        return not voice or any(n.onset == onset and not n.tied for n in voice)

    return all(begins(voice) for voice in (exercise.melody, exercise.bass)) and all(
        not voice or begins(voice) for voice in (exercise.alto, exercise.tenor)
    )


def _between(exercise: Exercise, columns: dict[int, float], end: float, onset: Fraction) -> float:
    """A place across for a time at which no moment stands."""
    before = [m for m in exercise.moments if m.onset <= onset]
    after = [m for m in exercise.moments if m.onset > onset]
    left = columns[before[-1].index]
    if not after:
        return end
    right = columns[after[0].index]
    share = float((onset - before[-1].onset) / (after[0].onset - before[-1].onset))
    return left + share * (right - left)


def _set_up(
    toolkit: Any, width_px: float, height_px: float | None, space_px: float, breaks: str
) -> None:
    verovio.enableLog(verovio.LOG_OFF)
    units = 18 / space_px  # verovio's page units a pixel
    height = _TALLEST if height_px is None else min(_TALLEST, round(height_px * units))
    toolkit.setOptions(
        {
            "font": "Bravura",
            "breaks": breaks,
            "adjustPageHeight": True,
            "header": "none",
            "footer": "none",
            "pageWidth": max(100, min(100_000, round(width_px * units))),
            "pageHeight": max(100, height),
            "pageMarginTop": 18,
            "pageMarginBottom": 18,
            "pageMarginLeft": 46,
            "pageMarginRight": 4,
            "lyricSize": ROW * 18 / 8.7,  # the height of a row of figures
            # room for the player's accidentals, more after a barline
            "rightMarginLeftBarLine": 2.0,
            "leftMarginNote": 2.0,
            "spacingStaff": 15,
            "spacingSystem": 10,
            "spacingLinear": 0.3,
            "spacingNonLinear": 0.6,
            "minLastJustification": 0.55,
            "mnumInterval": 0,
            "svgViewBox": True,
            "svgBoundingBoxes": True,
            "xmlIdSeed": 1,
            "topMarginHarm": 1.4,
            "bottomMarginHarm": 1.0,
        }
    )


def _load(toolkit: Any, mei: str) -> None:
    if not toolkit.loadData(mei):
        raise AssertionError("verovio did not take the page")


def _parse(svg: str) -> etree._Element:
    root = etree.fromstring(svg.encode())
    inner = root.find(f"{SVG}svg")
    assert inner is not None
    return root


def _page(
    exercise: Exercise,
    number: int,
    drawn: etree._Element,
    space_px: float,
    bar_numbers: bool,
) -> Page:
    scale = space_px / SPACE
    inner = drawn.find(f"{SVG}svg")
    assert inner is not None
    _, _, wide, high = (float(v) for v in inner.get("viewBox", "0 0 0 0").split())
    width, height = round(wide * scale), math.ceil(high * scale)
    geometry = read_geometry(inner, scale, width, height)
    numbers = _numbers(exercise, geometry) if bar_numbers else ()
    figures = list(drawn_figures(exercise, geometry))
    figured = (box for _, _, boxes in figures for box in boxes)
    printed = (*geometry.printed, *figured, *(box for _, box in numbers))
    geometry = replace(geometry, printed=printed)
    without_boxes(inner)
    _take_away(inner)
    _sharpen(inner, scale)
    definitions = drawn.find(f"{SVG}defs")
    _rename(definitions, inner, number)
    for element in inner.iter(f"{SVG}path", f"{SVG}polygon", f"{SVG}rect", f"{SVG}polyline"):
        element.set("stroke", "currentColor")
    content = "".join(
        etree.tostring(child, encoding="unicode")
        for child in inner
        if child.tag is not etree.Comment
    )
    groups = "".join(
        f'<g id="figure-{index}" class="figuring">{shapes}</g>' for index, shapes, _ in figures
    )
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        'color="#000000" fill="currentColor">'
        + ("" if definitions is None else etree.tostring(definitions, encoding="unicode"))
        + f'<g transform="scale({scale:.6f})">{content}</g>{groups}'
        + "".join(shape for shape, _ in numbers)
        + "</svg>"
    )
    svg = re.sub(r' xmlns(:xlink)?="[^"]+"', "", svg).replace(
        "<svg ",
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" ',
        1,
    )
    return Page(number, re.sub(r">\s+<", "><", svg), geometry)


def _take_away(inner: etree._Element) -> None:
    """Remove verovio's own text (figures, bar numbers), which is drawn anew as outlines."""
    for element in list(inner.iter(f"{SVG}g")):
        kind, parent = element.get("class", ""), element.getparent()
        empty = "Milestone" in kind and "placeholder" not in kind and not len(element)
        if parent is not None and (empty or kind.split(" ")[0] in ("harm", "mNum")):
            parent.remove(element)
    for mark in list(inner.iter(f"{SVG}ellipse")):
        place = mark.getparent()
        if place is not None and "placeholder" in place.get("class", ""):
            place.remove(mark)


def _sharpen(inner: etree._Element, scale: float) -> None:
    """Move each staff, with all that stands on it, to whole pixels."""
    margin = margin_of(inner)
    for system in inner.iter(f"{SVG}g"):
        if system.get("class") != "system":
            continue
        for staff, shift in staff_shifts(system, margin[1], scale):
            staff.set("transform", f"translate(0 {shift / scale:.2f})")
            for line in staff.findall(f"{SVG}path"):
                line.set("stroke-width", f"{line_thickness(SPACE * scale) / scale:.2f}")
        for path in system.findall(f"{SVG}path"):
            _upright(path, margin[0], scale)
        for barline in system.iter(f"{SVG}g"):
            if barline.get("class") == "barLine":
                for path in barline.findall(f"{SVG}path"):
                    _upright(path, margin[0], scale)


def _upright(path: etree._Element, margin: float, scale: float) -> None:
    """Put a vertical line on whole pixels."""
    match = re.match(r"M([\d.-]+) ([\d.-]+) L([\d.-]+) ([\d.-]+)$", path.get("d", ""))
    if match and match[1] == match[3]:
        thickness = max(1, round(float(path.get("stroke-width", "27")) * scale))
        x = on_pixels((float(match[1]) + margin) * scale, thickness) / scale - margin
        path.set("d", f"M{x:.2f} {match[2]} L{x:.2f} {match[4]}")
        path.set("stroke-width", f"{thickness / scale:.2f}")


def _numbers(exercise: Exercise, geometry: Geometry) -> tuple[tuple[str, Box], ...]:
    """The bar at the beginning of each system but the piece's first, in brackets where the system
    begins within it: "bar 4, beat 4" is then found without counting. (Common practice, no source.)
    """
    drawn = []
    for system in geometry.systems:
        moment = exercise.moments[system.moments[0]]
        if moment.index == 0:
            continue
        size = 1.75 * system.space
        told = str(moment.bar) if moment.beat == 1 else f"({moment.bar})"
        x, y = system.left - 0.2 * system.space, system.treble - 1.9 * system.space
        path = text(told, "italic", size).path
        drawn.append(
            (
                f'<path transform="translate({x:.2f} {y:.2f})" d="{path}"/>',
                box_of(Words(told, x, y, size, "italic", "print"), "bar number"),
            )
        )
    return tuple(drawn)


def _rename(definitions: etree._Element | None, inner: etree._Element, number: int) -> None:
    """Verovio's glyphs are named with a random tail; give them names that stay the same."""
    if definitions is None:
        return
    names: dict[str, str] = {}
    for glyph in definitions:
        old = glyph.get("id", "")
        names[old] = f"sign-{old.split('-')[0]}"
        glyph.set("id", names[old])
    for use in inner.iter(f"{SVG}use"):
        reference = use.get(_HREF, "").removeprefix("#")
        if reference in names:
            use.set(_HREF, f"#{names[reference]}")
