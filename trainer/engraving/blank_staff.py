"""An empty staff above a printed system, to write on."""

from __future__ import annotations

import re

from trainer.engraving.geometry import line_thickness
from trainer.engraving.glyphs import sign
from trainer.engraving.page import Page
from trainer.score.exercise import Exercise

GAP = 4.5  # spaces between the blank staff and the ink of the system below
_TREBLE_CLEF, _SHARP, _FLAT = 0xE050, 0xE262, 0xE260
# staff places from the top line down, in half spaces, of the signature's accidentals
_SHARPS = (0, 3, -1, 2, 5, 1, 4)
_FLATS = (4, 1, 5, 2, 6, 3, 7)
_SIZE = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)" width="[\d.]+" height="[\d.]+"')


def with_blank_staff(page: Page, exercise: Exercise) -> str:
    """The page as SVG with five more lines, a treble clef and the signature above its system."""
    system = page.geometry.systems[0]
    space, thickness = system.space, line_thickness(system.space)
    top = min(system.top, system.treble) - (GAP + 4) * space
    raised = max(0.0, space * 1.5 - top)  # room for the clef above the lines
    left, right = system.left, system.right
    lines = "".join(
        f'<path d="M{left:.1f} {top + n * space:.1f}H{right:.1f}" stroke="currentColor" '
        f'stroke-width="{thickness}" fill="none"/>'
        for n in range(5)
    )
    drawn = [lines, _sign(_TREBLE_CLEF, left + 0.7 * space, top + 3 * space, space)]
    key = exercise.key_at(exercise.moments[page.first].onset)
    places, code = (_SHARPS, _SHARP) if key.signature > 0 else (_FLATS, _FLAT)
    for n, place in enumerate(places[: abs(key.signature)]):
        x = left + (4.0 + 1.0 * n) * space
        drawn.append(_sign(code, x, top + place * space / 2, space))
    barlines = sorted({x for x, _, _ in page.geometry.barlines})
    drawn += [_barline(x, top, space, thickness) for x in barlines]
    if exercise.moments[-1].index in system.moments:
        heavy = 0.5 * space
        drawn.append(_barline(right - heavy / 2, top, space, heavy))
    match = _SIZE.search(page.svg)
    assert match is not None
    width, height = float(match[1]), float(match[2])
    size = f'viewBox="0 {-raised:.1f} {width:g} {height + raised:.1f}"'
    size += f' width="{width:g}" height="{height + raised:.1f}"'
    svg = page.svg.replace(match[0], size, 1)
    return svg.removesuffix("</svg>") + f'<g class="blank">{"".join(drawn)}</g></svg>'


def _barline(x: float, top: float, space: float, thickness: float) -> str:
    return (
        f'<path d="M{x:.1f} {top:.1f}V{top + 4 * space:.1f}" stroke="currentColor" '
        f'stroke-width="{thickness:g}" fill="none"/>'
    )


def _sign(code: int, x: float, y: float, space: float) -> str:
    path = sign(code, 4 * space).path
    return f'<path transform="translate({x:.1f} {y:.1f})" d="{path}"/>'
