"""What a reader sees on a drawn page: note by note, from nothing but the drawing itself.

lxml walks the SVG; fontTools measures outlines and knows the shipped font's glyphs. Signs are told
by their shape, pitches by the lines of the staff, the clef, the signature and the accidentals of
the bar, staves by ledger lines: nothing of the code that writes is asked. (That an accidental holds
for its place to the end of the bar is notation's own rule, common practice, no source; a bar
divided between two systems says it anew.)
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache, lru_cache

from fontTools.pens.boundsPen import BoundsPen
from fontTools.svgLib.path import parse_path
from fontTools.ttLib import TTFont
from lxml import etree

from trainer.resources import assets_folder

Matrix = tuple[float, float, float, float, float, float]
Bounds = tuple[float, float, float, float]
SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"
_IDENTITY: Matrix = (1, 0, 0, 1, 0, 0)
_CALL = re.compile(r"(\w+)\(([^)]*)\)")
_NUMBER = re.compile(r"-?\d*\.?\d+(?:e-?\d+)?")
_LINE = re.compile(r"M\s*(-?[\d.]+)[ ,]+(-?[\d.]+)\s*L\s*(-?[\d.]+)[ ,]+(-?[\d.]+)\s*$")
# SMuFL 1.4: what a reader knows by sight
HEADS = {0xE0A4: "black", 0xE0A3: "half", 0xE0A2: "whole", 0xE0A0: "breve"}
ALTERS = {0xE264: -2, 0xE260: -1, 0xE261: 0, 0xE262: 1, 0xE263: 2}
CLEFS = {0xE050: (4, 4), 0xE062: (3, 3)}  # step and octave of the line it stands on: g4, f3
FLAGS = {0xE240: 1, 0xE241: 1, 0xE242: 2, 0xE243: 2}
DOT = 0xE1E7
LETTERS = "cdefgab"
_KNOWN = (*HEADS, *ALTERS, *FLAGS, DOT)


@dataclass(frozen=True)
class Seen:
    """A note on the page. `source` is the id of a printed one, empty for one that was written in.

    `x` is the left edge of its head in pixels; `dots` and `flags` are those of its chord.
    """

    system: int
    staff: int  # 0 above, 1 below
    pitch: str
    x: float
    head: str
    source: str
    dots: int
    flags: int
    space: float


@dataclass
class _Staff:
    lines: list[float]
    clef: tuple[int, float] = (0, 0.0)  # letters above c0 of the clef's line, and where it is
    signature: dict[int, int] = field(default_factory=dict)  # step to alteration

    @property
    def space(self) -> float:
        return (self.lines[-1] - self.lines[0]) / 4

    def place(self, y: float) -> float:
        """Letters above c0 of a height on the page; whole only where a note can stand."""
        height, at = self.clef
        return height + (at - y) / (self.space / 2)


@dataclass
class _Sign:
    code: int
    x: float
    y: float
    source: str
    bar: int
    dotted: int = 0


@dataclass
class _Page:
    systems: list[list[_Staff]] = field(default_factory=list)
    bars: list[tuple[int, float, float]] = field(default_factory=list)  # system, left, right
    signs: list[_Sign] = field(default_factory=list)
    level: list[tuple[float, float, float]] = field(default_factory=list)  # x1, x2, y
    figures: dict[int, float] = field(default_factory=dict)


def read(svg: str) -> tuple[list[Seen], dict[int, float]]:
    """All notes of a page, and where the figures stand, by moment (the middle of each)."""
    page = _Page()
    root = etree.fromstring(svg.encode())
    _walk(page, root, _IDENTITY, "", -1)
    for sign in page.signs:
        if sign.bar < 0:
            sign.bar = _bar_of(page, sign)
    return [*_notes(page)], page.figures


# ---- from the drawing to signs ----------------------------------------------------------------


def _walk(page: _Page, element: etree._Element, matrix: Matrix, source: str, bar: int) -> None:
    matrix = _times(matrix, element.get("transform", ""))
    kind, name = element.get("class", ""), element.get("id", "")
    if kind == "system":
        page.systems.append([])
    if kind == "measure":
        bar = len(page.bars)
        page.bars.append((len(page.systems) - 1, 0.0, 0.0))
        for number, staff in enumerate(e for e in element if e.get("class") == "staff"):
            _staff(page, staff, matrix, number)
    if kind == "note":
        source = name
    if kind == "figuring":
        _figure(page, element, matrix, int(re.sub(r".*figure-", "", name)))
        return
    if element.tag == f"{SVG}use" and kind != "keyAccid":
        found = re.search(r"sign-([0-9A-F]{4})$", element.get(HREF, ""))
        if found is not None and element.getparent().get("class") != "keyAccid":
            x, y = _apply(matrix, 0.0, 0.0)
            page.signs.append(_Sign(int(found[1], 16), x, y, source, bar))
    if element.tag == f"{SVG}path":
        _path(page, element, matrix, bar)
    for child in element:
        if isinstance(child.tag, str) and child.tag != f"{SVG}defs":
            _walk(page, child, matrix, source, bar)


def _staff(page: _Page, element: etree._Element, matrix: Matrix, number: int) -> None:
    inner = _times(matrix, element.get("transform", ""))
    lines = [_straight(path, inner) for path in element.findall(f"{SVG}path")]
    whole = [line for line in lines if line is not None][:5]
    system = page.systems[-1]
    if len(system) <= number:
        system.append(_Staff([y for _, _, y in whole]))
    page.bars[-1] = (page.bars[-1][0], whole[0][0], whole[0][1])
    staff = system[number]
    for use in element.iter(f"{SVG}use"):
        parent = use.getparent()
        code = int(re.search(r"sign-([0-9A-F]{4})$", use.get(HREF, ""))[1], 16)  # type: ignore[index]
        _, y = _apply(_up_to(use, element, inner), 0.0, 0.0)
        if parent.get("class") == "clef":
            step, octave = CLEFS[code]
            staff.clef = (7 * octave + step, y)
        elif parent.get("class") == "keyAccid":
            staff.signature[round(staff.place(y)) % 7] = ALTERS[code]


def _up_to(use: etree._Element, top: etree._Element, matrix: Matrix) -> Matrix:
    """The transform of an element within another one whose own is known."""
    chain = []
    at = use
    while at is not top:
        chain.append(at.get("transform", ""))
        at = at.getparent()
    for transform in reversed(chain):
        matrix = _times(matrix, transform)
    return matrix


def _path(page: _Page, path: etree._Element, matrix: Matrix, bar: int) -> None:
    line = _straight(path, matrix)
    if line is not None:
        page.level.append(line)
        return
    if path.get("fill", "") in ("", "none") or not page.systems:
        return
    space = page.systems[0][0].space
    x, y = _apply(matrix, 0.0, 0.0)
    code = _known_by_shape(path.get("d", ""), round(space, 4))
    if code is not None:
        page.signs.append(_Sign(code, x, y, "", -1))


def _figure(page: _Page, group: etree._Element, matrix: Matrix, moment: int) -> None:
    edges = [
        (bounds[0] + x, bounds[2] + x)
        for path in group.iter(f"{SVG}path")
        for x in [_apply(_times(matrix, path.get("transform", "")), 0.0, 0.0)[0]]
        if (bounds := _bounds(path.get("d", ""))) is not None
    ]
    if edges:
        page.figures[moment] = (min(a for a, _ in edges) + max(b for _, b in edges)) / 2


@lru_cache(maxsize=4096)
def _bounds(outline: str) -> Bounds | None:
    pen = BoundsPen(None)
    parse_path(outline, pen)
    found: Bounds | None = pen.bounds
    return found


@lru_cache(maxsize=4096)
def _known_by_shape(outline: str, space: float) -> int | None:
    """The sign whose outline in the font, at the staff's own size, is this one."""
    bounds = _bounds(outline)
    if bounds is None:
        return None
    left, top, right, bottom = (edge / space for edge in bounds)
    for code, (wanted, contours) in _glyphs().items():
        near = zip((left, -bottom, right, -top), wanted, strict=True)
        if outline.count("M") == contours and all(abs(a - b) < 0.02 for a, b in near):
            return code
    return None


@cache
def _glyphs() -> dict[int, tuple[Bounds, int]]:
    """Of each sign its bounds in staff spaces, y upward, and of how many closed lines it is."""
    font = TTFont(assets_folder() / "fonts" / "MittelstimmeSigns.ttf")
    glyphs, names, unit = font.getGlyphSet(), font.getBestCmap(), font["head"].unitsPerEm / 4
    found = {}
    for code in _KNOWN:
        bounds, contours = BoundsPen(glyphs), _Counting()
        glyphs[names[code]].draw(bounds)
        glyphs[names[code]].draw(contours)
        found[code] = (tuple(edge / unit for edge in bounds.bounds), contours.count)
    return found


class _Counting(BoundsPen):
    """Counts the closed lines of a glyph."""

    def __init__(self) -> None:
        super().__init__(None)
        self.count = 0

    def _moveTo(self, pt: tuple[float, float]) -> None:  # noqa: N802
        self.count += 1
        super()._moveTo(pt)


def _straight(path: etree._Element, matrix: Matrix) -> tuple[float, float, float] | None:
    """Left, right and height of a level line."""
    match = _LINE.match(path.get("d", ""))
    if match is None or match[2] != match[4]:
        return None
    x1, y = _apply(matrix, float(match[1]), float(match[2]))
    x2, _ = _apply(matrix, float(match[3]), float(match[4]))
    return min(x1, x2), max(x1, x2), y


def _times(matrix: Matrix, transform: str) -> Matrix:
    for name, inside in _CALL.findall(transform):
        numbers = [float(n) for n in _NUMBER.findall(inside)]
        if name == "translate":
            step: Matrix = (1, 0, 0, 1, numbers[0], numbers[1] if len(numbers) > 1 else 0.0)
        else:
            assert name == "scale", name
            step = (numbers[0], 0, 0, numbers[-1], 0, 0)
        a, b, c, d, e, f = matrix
        g, h, i, j, k, m = step
        matrix = (
            a * g + c * h,
            b * g + d * h,
            a * i + c * j,
            b * i + d * j,
            a * k + c * m + e,
            b * k + d * m + f,
        )
    return matrix


def _apply(matrix: Matrix, x: float, y: float) -> tuple[float, float]:
    a, b, c, d, e, f = matrix
    return a * x + c * y + e, b * x + d * y + f


# ---- from signs to notes ----------------------------------------------------------------------


def _bar_of(page: _Page, sign: _Sign) -> int:
    """The bar something written stands in, by the system that is nearest."""

    def away(system: list[_Staff]) -> float:
        top, bottom = system[0].lines[0], system[1].lines[-1]
        return max(top - sign.y, sign.y - bottom, 0.0)

    nearest = min(range(len(page.systems)), key=lambda n: away(page.systems[n]))
    own = [n for n, (system, *_) in enumerate(page.bars) if system == nearest]
    return min(own, key=lambda n: max(page.bars[n][1] - sign.x, sign.x - page.bars[n][2], 0.0))


def _notes(page: _Page) -> Iterator[Seen]:
    for bar, (system, *_) in enumerate(page.bars):
        here = [sign for sign in page.signs if sign.bar == bar]
        for number, staff in enumerate(page.systems[system]):
            heads = [
                sign
                for sign in here
                if sign.code in HEADS and _staff_of(page, system, sign) == number
            ]
            yield from _in_bar(staff, number, system, heads, here)


def _staff_of(page: _Page, system: int, head: _Sign) -> int:
    """The staff whose places it stands on and whose ledger lines lead to it."""
    fits = []
    for number, staff in enumerate(page.systems[system]):
        place = staff.place(head.y)
        if abs(place - round(place)) > 0.15 or not _ledgers_lead(page, staff, head):
            continue
        away = max(staff.lines[0] - head.y, head.y - staff.lines[-1], 0.0)
        fits.append((away, number))
    return min(fits)[1] if fits else 0


def _ledgers_lead(page: _Page, staff: _Staff, head: _Sign) -> bool:
    space = staff.space
    wanted = []
    y = staff.lines[0] - space
    while y > head.y - 0.1 * space:
        wanted.append(y)
        y -= space
    y = staff.lines[-1] + space
    while y < head.y + 0.1 * space:
        wanted.append(y)
        y += space
    return all(
        any(
            abs(line - at) < 0.12 * space and x1 < head.x + 0.3 * space and x2 > head.x + space
            for x1, x2, line in page.level
        )
        for at in wanted
    )


def _in_bar(
    staff: _Staff, number: int, system: int, heads: list[_Sign], here: list[_Sign]
) -> Iterator[Seen]:
    """Left to right; a sign holds for its place until another comes."""
    space = staff.space
    shown = _signs_of(heads, [s for s in here if s.code in ALTERS], space)
    in_force: dict[int, set[int]] = {}
    heads.sort(key=lambda head: head.x)
    for chord in _chords(heads, space):
        left, right = min(h.x for h in chord), max(h.x for h in chord) + 1.7 * space
        written = [h for h in chord if not h.source]
        dots = [
            s
            for s in here
            if s.code == DOT
            and not s.source
            and left < s.x < right + space
            and any(abs(s.y - h.y) < 0.6 * space for h in written)
        ]
        dotted, uneven = divmod(len(dots), max(1, len({round(h.y, 1) for h in written})))
        flags = [s for s in here if s.code in FLAGS and not s.source]
        said: dict[int, set[int]] = {}
        for head in chord:
            place = round(staff.place(head.y))
            step, octave = place % 7, place // 7
            known = in_force.get(place, {staff.signature.get(step, 0)})
            alter = shown.get(id(head))
            if alter is None:
                alters = "?" if len(known) > 1 else _letters(next(iter(known)))
            else:
                alters = _letters(alter)
                said.setdefault(place, set()).add(alter)
            if alter is None and len(known) == 1:
                said.setdefault(place, set()).update(known)
            yield Seen(
                system,
                number,
                f"{LETTERS[step]}{alters}{octave}",
                head.x,
                HEADS[head.code],
                head.source,
                -1 if uneven else dotted,
                max((FLAGS[f.code] for f in flags if _on_stem(f, head, space)), default=0),
                space,
            )
        in_force.update(said)


def _on_stem(flag: _Sign, head: _Sign, space: float) -> bool:
    """Whether a flag's stem is that of a head: at its left or right edge."""
    return -0.2 * space < flag.x - head.x < 1.4 * space


def _letters(alter: int) -> str:
    return "b" * -alter if alter < 0 else "#" * alter


def _chords(heads: list[_Sign], space: float, apart: float = 1.9) -> Iterator[list[_Sign]]:
    """Heads that touch one another's column belong together, and those of one place between which
    there is only a sign or a dot."""
    chord: list[_Sign] = []
    for head in heads:
        if chord and head.x - chord[-1].x > apart * space:
            yield chord
            chord = []
        chord.append(head)
    if chord:
        yield chord


def _signs_of(heads: list[_Sign], signs: list[_Sign], space: float) -> dict[int, int]:
    """Which alteration stands before which head: in the order of the heads of one place."""
    found: dict[int, int] = {}
    levels: list[list[_Sign]] = []
    for head in sorted(heads, key=lambda h: h.y):
        if levels and head.y - levels[-1][0].y < 0.2 * space:
            levels[-1].append(head)
        else:
            levels.append([head])
    for level in levels:
        level.sort(key=lambda head: head.x)
        own = [s for s in signs if abs(s.y - level[0].y) < 0.2 * space]
        for chord in _chords(level, space, 2.45):
            first = chord[0].x
            earlier = [h.x for h in level if h.x < first]
            begin = max([first - 6.2 * space, *earlier])
            before = sorted((s for s in own if begin < s.x < first), key=lambda s: s.x)
            between = sorted((s for s in own if first < s.x < chord[-1].x), key=lambda s: s.x)
            both = [*before, *between]
            places: list[list[_Sign]] = []  # one head may be that of two voices
            for head in chord:
                if places and head.x - places[-1][0].x < 0.2 * space:
                    places[-1].append(head)
                else:
                    places.append([head])
            if len(both) == 1:
                both *= len(places)  # one note in two voices
            for one, sign in zip(places, both, strict=False):
                found.update((id(head), ALTERS[sign.code]) for head in one)
    return found
