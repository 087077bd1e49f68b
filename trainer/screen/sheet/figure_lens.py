"""The figure lens: the figuring as written, and what sounds now said the same way.

Sounding is solid, missing is hollow, what does not belong is struck through, an addition stands
in brackets; so form tells it, and colour only agrees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal

import pygame

from trainer.engraving.figure_drawing import STRUCK, numeral_signs
from trainer.engraving.ink import Drawing, Ink, Stroke
from trainer.judging.verdict import MomentVerdict
from trainer.practice.lens import LensMark
from trainer.screen.drawing.forme import Forme, Type
from trainer.screen.drawing.painter import Painted
from trainer.screen.drawing.theme import Role
from trainer.theory.figures import Figure, Figuring, Way
from trainer.theory.moment import Moment
from trainer.theory.sonority import Sonority

State = Literal["written", "implied", "sounding", "missing", "foreign", "addition"]
_ROLES: dict[State, Role] = {
    "written": "ink",
    "implied": "soft",
    "sounding": "ink",
    "missing": "ink",
    "foreign": "mark",
    "addition": "remark",
}
_AGAIN = 100  # added to the row of a second note of the same number: two thirds, say
_WORDS: dict[Way, str] = {
    Way.EXTENDED: "the chord before is held",
    Way.TASTO_SOLO: "the bass alone",
    Way.UNISON: "octaves with the bass",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One interval over the bass: as it is written (None: it is not) and as it sounds."""

    number: int
    written: tuple[Figure, State] | None
    sounding: tuple[Figure, State] | None


@dataclass(frozen=True, slots=True)
class Lens:
    """What the lens shows at a moment: rows, highest first, and one line below."""

    rows: tuple[Row, ...]
    words: str
    amiss: bool


def read(
    moment: Moment, sonority: Sonority, sounding: Sequence[LensMark], heard: MomentVerdict | None
) -> Lens:
    """The lens at a moment: `sounding` as `trainer.practice.lens` gives it, `heard` the verdict on
    the keys that sound now, None for silence."""
    written: dict[int, tuple[Figure, State]] = {}
    for figure in moment.figuring.figures:
        written[_row(figure.number)] = (figure, "written")
    if moment.figuring.way is Way.FIGURES and sonority.bass is not None:
        for member in sonority.members:
            if member.bold and member.number != 1:
                written.setdefault(_row(member.number), (Figure(member.number), "implied"))
        if not moment.figuring.figures:
            written.setdefault(5, (Figure(5), "implied"))
    cells: dict[int, tuple[Figure, State]] = {}
    for mark in sounding:
        _put(cells, mark.figure, mark.state)
    rows = sorted({*written, *cells}, key=lambda row: -_height(row))
    return Lens(
        tuple(Row(number, written.get(number), cells.get(number)) for number in rows),
        *_words(moment, heard),
    )


def _row(number: int) -> int:
    """1 is shown as 8; compound numerals as they are written below 8."""
    folded = (number - 1) % 7 + 1
    return 8 if folded == 1 else 9 if number == 9 else folded


def _height(row: int) -> float:
    """Where a row stands among the others; a second note of one number follows the first."""
    return row % _AGAIN - 0.5 * (row // _AGAIN)


def _put(rows: dict[int, tuple[Figure, State]], label: str, state: State) -> None:
    figure = Figuring.parse(label).figures[0]
    row = _row(figure.number)
    if figure.numeral in (1, None):
        figure = Figure(row, figure.sign, figure.sign is not None and not figure.sign.raises)
    while row in rows and rows[row] != (figure, state):
        row += _AGAIN
    rows[row] = (figure, state)


def _words(moment: Moment, heard: MomentVerdict | None) -> tuple[str, bool]:
    if moment.figuring.way in _WORDS:
        return _WORDS[moment.figuring.way], False
    if heard is None or heard.outcome == "not-played":
        if not moment.figuring.figures and moment.chord:
            return "no figure means 5 and 3", False
        return "", False
    if heard.outcome == "wrong-bass":
        return "another bass is written", True
    if heard.outcome == "wrong-melody":
        return "another melody is written", True
    if heard.foreign:
        return f"the {_listed(heard.foreign)} does not belong", True
    if heard.missing:
        return f"the {_listed(heard.missing)} is missing", True
    if heard.additions:
        return f"complete, with {_listed(heard.additions)} added", False
    return "complete", False


def _listed(labels: Sequence[str]) -> str:
    return " and ".join(labels)


def set_lens(forme: Forme, lens: Lens, area: pygame.Rect) -> None:
    """Two columns of numerals under their headings, the words below."""
    em = forme.em
    left, right = area.x + 0.27 * area.width, area.x + 0.73 * area.width
    baseline = area.y + em
    forme.text("written", left, baseline, face="italic", size=0.82, role="soft", align="centre")
    forme.text("sounding", right, baseline, face="italic", size=0.82, role="soft", align="centre")
    height = min(1.5 * em, (area.height - 5 * em) / max(1, len(lens.rows)) / 1.55)
    pitch = 1.55 * height
    top = baseline + 0.6 * em
    count = max(4 if area.height > 11 * em else 1, len(lens.rows))
    forme.column(area.centerx, top, top + count * pitch)
    for number, row in enumerate(lens.rows):
        y = top + (number + 0.85) * pitch
        for x, cell in ((left, row.written), (right, row.sounding)):
            if cell is not None:
                figure, state = cell
                kind = forme.type
                key = ("lens", kind.theme.ground, figure, state, round(x), round(y), round(height))
                make = partial(_numeral, kind, figure, state, x, y, height)
                forme.painted(kind.painter.kept(key, make), key)
    y = top + count * pitch + 1.3 * em
    role: Role = "mark" if lens.amiss else "ink"
    wrapped = forme.type.lettering.wrapped(lens.words, "italic", 0.85 * em, area.width)
    for line in wrapped[:3]:
        if y > area.bottom + 0.4 * em:
            break
        forme.text(line, area.centerx, y, face="italic", size=0.85, role=role, align="centre")
        y += 1.15 * em


def _numeral(
    type: Type, figure: Figure, state: State, x: float, y: float, height: float
) -> Painted:
    """One numeral centred on x, standing on y."""
    theme = type.theme
    colour = theme.colour(_ROLES[state])
    size = height * (0.78 if state == "implied" else 1.0)
    signs, width = numeral_signs(figure, size)
    left = x - width / 2
    parts = [
        type.painter.sign(code, left + dx, y + dy - (height - size) / 2, size, colour)
        for code, dx, dy in signs
    ]
    area = (
        parts[0].rect.unionall([p.rect for p in parts]).inflate(round(height), round(height) // 2)
    )
    surface = pygame.Surface(area.size, pygame.SRCALPHA)
    if state == "missing":
        _hollow(surface, parts, area, type, signs, left, y, size)
    else:
        for part in parts:
            surface.blit(part.surface, (part.x - area.x, part.y - area.y))
    extra: list[Drawing] = []
    arm, thick = 0.42 * height, max(1.5, 0.075 * height)
    if state == "foreign":
        extra.append(
            Stroke(left - arm, y, left + width + arm, y - 0.95 * size, 1.3 * thick, "mark")
        )
    whole = (figure.numeral or 0, figure.sign) in STRUCK
    if figure.sign is not None and figure.sign.raises and not whole:
        ink: Ink = "mark" if state == "foreign" else "print"
        reach = 0.15 * size
        extra.append(
            Stroke(left - reach, y - 0.2 * size, left + width + reach, y - 0.85 * size, thick, ink)
        )
    if state == "addition":
        for way, at in ((1, left - 0.3 * height), (-1, left + width + 0.3 * height)):
            tip = at + way * 0.16 * height
            extra += [
                Stroke(tip, y + 0.08 * size, at, y - 0.5 * size, thick, "remark"),
                Stroke(at, y - 0.5 * size, tip, y - 1.08 * size, thick, "remark"),
            ]
    if extra:
        painted = type.painter.paint(extra, theme.inks())
        if painted is not None:
            surface.blit(painted.surface, (painted.x - area.x, painted.y - area.y))
    return Painted(surface, area.x, area.y)


def _hollow(
    surface: pygame.Surface,
    parts: Sequence[Painted],
    area: pygame.Rect,
    type: Type,
    signs: Sequence[tuple[int, float, float]],
    left: float,
    y: float,
    size: float,
) -> None:
    """The outline of a sign: drawn around itself in ink, and then out of itself in paper."""
    reach = max(1, round(size / 16))
    for part in parts:
        for dx in range(-reach, reach + 1):
            for dy in range(-reach, reach + 1):
                if dx * dx + dy * dy <= reach * reach + 1:
                    surface.blit(part.surface, (part.x - area.x + dx, part.y - area.y + dy))
    for code, right, down in signs:
        inner = type.painter.sign(code, left + right, y + down, size, type.theme.paper)
        surface.blit(inner.surface, (inner.x - area.x, inner.y - area.y))
