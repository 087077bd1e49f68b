"""The rectangles of all print on a page, read from a drawing of verovio's with bounding boxes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from lxml import etree

from trainer.engraving.boxes import Box

_G, _RECT, _PATH = (f"{{http://www.w3.org/2000/svg}}{name}" for name in ("g", "rect", "path"))
# what stands on the page and is no line of the staff; a note's own box is its head
_KINDS = {
    "note": "head",
    "stem": "stem",
    "flag": "flag",
    "rest": "rest",
    "dots": "dot",
    "accid": "accidental",
    "beam": "beam",
    "tie": "tie",
    "clef": "clef",
    "keySig": "signature",
    "meterSig": "metre",
    "fermata": "fermata",
    "barLine": "barline",
}
_LINE = re.compile(r"M\s*(-?[\d.]+)[ ,]+(-?[\d.]+)\s+L\s*(-?[\d.]+)[ ,]+(-?[\d.]+)")
_NARROW = 1e-9


def printed_boxes(
    system: etree._Element,
    margin: tuple[float, float],
    scale: float,
    shifts: Mapping[str, float],
) -> Iterator[Box]:
    """All of one system; `margin` in verovio's units, `scale` in pixels a unit, `shifts` by how
    many pixels the staff of each id was moved down, with all that stands on it."""
    for group in system.iter(_G):
        kind = _KINDS.get(group.get("class", "").split(" ")[0])
        staff = next((a for a in group.iterancestors(_G) if a.get("class") == "staff"), None)
        down = 0.0 if staff is None else shifts.get(staff.get("id", ""), 0.0)
        if group.get("class", "").startswith("ledgerLines"):
            yield from _ledgers(group, margin, scale, down)
        if kind is None or "bounding-box" in group.get("class", ""):
            continue
        rect = group.find(f"{_G}/{_RECT}")
        if rect is None:
            continue
        x, y, wide, high = (float(rect.get(a, "0")) for a in ("x", "y", "width", "height"))
        if wide < _NARROW or high < _NARROW:
            continue
        left, top = (x + margin[0]) * scale, (y + margin[1]) * scale + down
        yield Box(kind, left, top, left + wide * scale, top + high * scale)


def _ledgers(
    group: etree._Element, margin: tuple[float, float], scale: float, down: float
) -> Iterator[Box]:
    for path in group.iter(_PATH):
        match = _LINE.match(path.get("d", ""))
        if match:
            x1, y, x2, _ = (float(number) for number in match.groups())
            half = float(path.get("stroke-width", "22")) * scale / 2
            middle = (y + margin[1]) * scale + down
            yield Box(
                "ledger",
                (x1 + margin[0]) * scale,
                middle - half,
                (x2 + margin[0]) * scale,
                middle + half,
            )
