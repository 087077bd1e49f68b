"""Where things stand on an engraved page, in the page's own pixels, read from verovio's SVG."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from lxml import etree

from trainer.engraving.boxes import Box
from trainer.engraving.printed import printed_boxes

SPACE = 180  # units of verovio's SVG between two staff lines
SVG = "{http://www.w3.org/2000/svg}"
_MOVE = re.compile(r"translate\(\s*(-?[\d.]+)[ ,]+(-?[\d.]+)\s*\)")
_LINE = re.compile(r"M\s*(-?[\d.]+)[ ,]+(-?[\d.]+)\s+L\s*(-?[\d.]+)[ ,]+(-?[\d.]+)")


@dataclass(frozen=True, slots=True)
class Head:
    """A note: left edge and middle of its head, and the tip of its stem (None: a whole note)."""

    id: str
    x: float
    y: float
    tip: float | None


@dataclass(frozen=True, slots=True)
class System:
    """One system: its extent, and the top line of either staff; a staff is four spaces high."""

    left: float
    right: float
    treble: float
    bass: float
    space: float
    top: float  # of all ink in the system
    bottom: float
    moments: tuple[int, ...]

    def treble_y(self, height: int) -> float:
        """The y of a staff place; `height` counts letters above c0 (f5, the top line, is 38)."""
        return self.treble + (38 - height) * self.space / 2

    def bass_y(self, height: int) -> float:
        """The same on the lower staff (a3, the top line, is 26)."""
        return self.bass + (26 - height) * self.space / 2


@dataclass(frozen=True, slots=True)
class Geometry:
    """`moments` maps an index to the left edge of its column; `figures` to its first baseline."""

    width: float
    height: float
    systems: tuple[System, ...]
    moments: dict[int, float]
    notes: dict[str, Head]
    figures: dict[int, tuple[float, float]]
    barlines: tuple[tuple[float, float, float], ...]  # x, top, bottom
    printed: tuple[Box, ...] = ()  # all print but the lines of the staves

    @property
    def space(self) -> float:
        """The distance of two staff lines."""
        return self.systems[0].space

    def system_of(self, moment: int) -> System:
        """The system a moment stands in; KeyError if it is not on this page."""
        for system in self.systems:
            if moment in system.moments:
                return system
        raise KeyError(moment)


def read_geometry(boxed: etree._Element, scale: float, width: float, height: float) -> Geometry:
    """From the inner SVG of a page drawn with bounding boxes; `scale` is pixels a unit."""
    found = _Found(margin_of(boxed), scale)
    for group in _of_class(boxed, "system"):
        found.system(group)
    return Geometry(
        width,
        height,
        _apart(found.systems),
        found.moments,
        found.notes,
        found.figures,
        tuple(found.bars),
        tuple(found.printed),
    )


def read_columns(boxed: etree._Element, scale: float) -> tuple[dict[int, float], float]:
    """Of one endless system as above: the left edge of every moment's column, and its end."""
    margin = margin_of(boxed)[0]
    columns: dict[int, float] = {}
    for space in _of_class(boxed, "space"):
        rect, name = space.find(f".//{SVG}rect"), space.get("id", "")
        if rect is not None and name.startswith("moment-"):
            x = (float(rect.get("x", "0")) + margin) * scale
            columns[int(name.removeprefix("moment-"))] = x
    lines = (staff.find(f"{SVG}path") for staff in _of_class(boxed, "staff"))
    ends = (max(x for x, _ in _ends(line, (margin, 0.0))) for line in lines if line is not None)
    return columns, max(ends) * scale


def without_boxes(boxed: etree._Element) -> None:
    """Take the bounding boxes away: what is left is the picture."""
    for group in list(boxed.iter(f"{SVG}g")):
        parent = group.getparent()
        if parent is not None and group.get("class", "").endswith(" bounding-box"):
            parent.remove(group)
            if not len(parent):
                parent.text = None


class _Found:
    """What has been met so far on a page; `margin` in units, everything kept in pixels."""

    def __init__(self, margin: tuple[float, float], scale: float) -> None:
        self.margin = margin
        self.scale = scale
        self.systems: list[System] = []
        self.moments: dict[int, float] = {}
        self.notes: dict[str, Head] = {}
        self.figures: dict[int, tuple[float, float]] = {}
        self.bars: list[tuple[float, float, float]] = []
        self.printed: list[Box] = []
        self._here: list[int] = []  # moments of the system being read
        self._inked: list[float] = []  # heights of its ink

    def system(self, group: etree._Element) -> None:
        self._here, self._inked = [], []
        staves = list(staff_shifts(group, self.margin[1], self.scale))
        shifts = {
            note.get("id", ""): shift
            for staff, shift in staves
            for note in _of_class(staff, "note")
        }
        for element in group.iter(f"{SVG}g"):
            kind, name = element.get("class", ""), element.get("id", "")
            if kind == "space" and name.startswith("moment-"):
                self._moment(element, int(name.removeprefix("moment-")))
            elif kind == "fermata":
                self._fermata(element)
            elif kind == "note":
                self._note(element, name, shifts.get(name, 0.0))
            elif kind == "harm" and name.startswith("figure-"):
                self._figures(element, int(name.removeprefix("figure-")))
            elif kind == "barLine":
                self._barline(element)
        self.printed += printed_boxes(
            group, self.margin, self.scale, {staff.get("id", ""): shift for staff, shift in staves}
        )
        self.systems.append(_system(group, self.margin, self.scale, tuple(self._here), self._inked))

    def _place(self, element: etree._Element) -> tuple[float, float]:
        x, y = float(element.get("x", "0")), float(element.get("y", "0"))
        return (x + self.margin[0]) * self.scale, (y + self.margin[1]) * self.scale

    def _moment(self, element: etree._Element, index: int) -> None:
        rect = element.find(f".//{SVG}rect")
        if rect is not None:
            self.moments[index] = self._place(rect)[0]
            self._here.append(index)

    def _fermata(self, element: etree._Element) -> None:
        match = _MOVE.search(etree.tostring(element, encoding="unicode"))
        if match:
            self._inked.append((float(match[2]) + self.margin[1]) * self.scale)

    def _note(self, element: etree._Element, name: str, shift: float) -> None:
        head = _head(element, name, self.margin, self.scale, shift)
        self.notes[name] = head
        self._inked += [head.y, head.tip or head.y]

    def _figures(self, element: etree._Element, index: int) -> None:
        places = [self._place(words) for words in element.iter(f"{SVG}text")]
        if places:
            self.figures[index] = places[0]
            self._inked.append(max(y for _, y in places))

    def _barline(self, element: etree._Element) -> None:
        ends = [
            (x * self.scale, y * self.scale)
            for path in element.iter(f"{SVG}path")
            for x, y in _ends(path, self.margin)
        ]
        if ends:
            heights = [y for _, y in ends]
            self.bars.append((ends[0][0], min(heights), max(heights)))


def margin_of(page: etree._Element) -> tuple[float, float]:
    """What verovio moves the whole page by, in its units."""
    for element in _of_class(page, "page-margin"):
        match = _MOVE.search(element.get("transform", ""))
        if match:
            return float(match[1]), float(match[2])
    return 0.0, 0.0


def _of_class(root: etree._Element, name: str) -> Iterator[etree._Element]:
    return (e for e in root.iter(f"{SVG}g") if e.get("class") == name)


def _head(
    element: etree._Element,
    name: str,
    margin: tuple[float, float],
    scale: float,
    shift: float,
) -> Head:
    x = y = 0.0
    for head in _of_class(element, "notehead"):
        use = head.find(f"{SVG}use")
        match = None if use is None else _MOVE.search(use.get("transform", ""))
        if match:
            x, y = float(match[1]) + margin[0], float(match[2]) + margin[1]
    tip = None
    parent = element.getparent()
    chord = parent is not None and parent.get("class") == "chord"
    for stem in _of_class(parent if chord else element, "stem"):
        for path in stem.iter(f"{SVG}path"):
            tips = [yy for _, yy in _ends(path, margin)]
            if tips:
                tip = max(tips, key=lambda yy: abs(yy - y)) * scale + shift
    return Head(name, x * scale, y * scale + shift, tip)


def staff_shifts(
    system: etree._Element, margin: float, scale: float
) -> Iterator[tuple[etree._Element, float]]:
    """By how many pixels each staff must move down for its lines to fall on whole pixels."""
    for staff in _of_class(system, "staff"):
        line = staff.find(f"{SVG}path")
        match = None if line is None else _LINE.match(line.get("d", ""))
        if match:
            y = (float(match[2]) + margin) * scale
            yield staff, on_pixels(y, line_thickness(SPACE * scale)) - y


def line_thickness(space: float) -> int:
    """Whole pixels for a staff line, given the distance of two."""
    return max(1, round(0.1 * space))


def on_pixels(y: float, thickness: int) -> float:
    """The nearest centre at which a line of whole pixels has sharp edges."""
    return round(y - 0.5) + 0.5 if thickness % 2 else float(round(y))


def _ends(path: etree._Element, margin: tuple[float, float]) -> Iterator[tuple[float, float]]:
    match = _LINE.match(path.get("d", ""))
    if match:
        yield float(match[1]) + margin[0], float(match[2]) + margin[1]
        yield float(match[3]) + margin[0], float(match[4]) + margin[1]


def _system(
    group: etree._Element,
    margin: tuple[float, float],
    scale: float,
    moments: tuple[int, ...],
    inked: list[float],
) -> System:
    staves: list[list[tuple[float, float, float]]] = []
    for staff in _of_class(group, "staff"):
        lines = []
        for path in staff.findall(f"{SVG}path"):
            ends = list(_ends(path, margin))
            if len(ends) == 2 and ends[0][1] == ends[1][1]:
                lines.append((ends[0][0] * scale, ends[1][0] * scale, ends[0][1] * scale))
        if len(lines) >= 5:
            staves.append(lines)
    upper, lower = staves[0], staves[1]
    space = upper[1][2] - upper[0][2]
    thickness = line_thickness(space)
    treble, bass = (on_pixels(lines[0][2], thickness) for lines in (upper, lower))
    return System(
        left=min(line[0] for line in upper),
        right=max(line[1] for lines in staves for line in lines),
        treble=treble,
        bass=bass,
        space=space,
        top=min([treble - 2 * space, *(y - space for y in inked)]),
        bottom=max([bass + 5.5 * space, *(y + space for y in inked)]),
        moments=moments,
    )


def _apart(systems: list[System]) -> tuple[System, ...]:
    """The systems, their extents cut where they would reach into one another."""
    for index in range(1, len(systems)):
        above, below = systems[index - 1], systems[index]
        if above.bottom > below.top:
            middle = (above.bottom + below.top) / 2
            systems[index - 1] = replace(above, bottom=middle)
            systems[index] = replace(below, top=middle)
    return tuple(systems)
