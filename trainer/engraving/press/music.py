"""Engraved music (SVG without fonts) as a picture in a PDF: lines and curves, no pixels.

It knows what the engraver draws and no more; anything else raises ValueError.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from lxml import etree

from trainer.engraving.press import paths

_HREF = "{http://www.w3.org/1999/xlink}href"
_CAPS = {"butt": 0, "round": 1, "square": 2}
_JOINS = {"miter": 0, "round": 1, "bevel": 2}


@dataclass(frozen=True, slots=True)
class Picture:
    """`width` and `height` in the drawing's own unit; `operators` draw it y downward."""

    left: float
    top: float
    width: float
    height: float
    operators: str


@dataclass(frozen=True, slots=True)
class _Style:
    color: str
    fill: str = "#000000"
    stroke: str = "none"
    width: float = 1.0
    cap: str = "butt"
    join: str = "miter"

    def of(self, element: etree._Element) -> _Style:
        """The same with what the element says of itself."""
        given = element.attrib
        return replace(
            self,
            color=given.get("color", self.color),
            fill=given.get("fill", self.fill),
            stroke=given.get("stroke", self.stroke),
            width=float(given.get("stroke-width", self.width)),
            cap=given.get("stroke-linecap", self.cap),
            join=given.get("stroke-linejoin", self.join),
        )

    def inked(self, shape: str) -> str:
        """The shape, filled and stroked."""
        filled, stroked = self.fill != "none", self.stroke != "none"
        said = [f"{self._ink(self.fill)} rg"] if filled else []
        if stroked:
            said.append(f"{self._ink(self.stroke)} RG {paths.number(self.width)} w")
            said.append(f"{_CAPS[self.cap]} J {_JOINS[self.join]} j")
        paint = {(True, True): "B", (True, False): "f", (False, True): "S", (False, False): "n"}
        return "\n".join([*said, shape, paint[filled, stroked]])

    def _ink(self, colour: str) -> str:
        return ink(self.color if colour == "currentColor" else colour)


def ink(colour: str) -> str:
    """`#1a1714` as the three numbers of a PDF."""
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", colour):
        raise ValueError(f"an ink {colour!r}")
    return " ".join(f"{int(colour[n : n + 2], 16) / 255:.3g}" for n in (1, 3, 5))


def picture(svg: str) -> Picture:
    """The drawing to be printed."""
    root = etree.fromstring(svg.encode())
    left, top, width, height = (float(n) for n in root.get("viewBox", "").split())
    signs = {sign.get("id", ""): sign for sign in root.iter("{*}g") if _is_definition(sign)}
    style = _Style(root.get("color", "#000000")).of(root)
    drawn = (line for child in root for line in _drawn(child, style, signs))
    return Picture(left, top, width, height, "\n".join(drawn))


def _is_definition(element: etree._Element) -> bool:
    parent = element.getparent()
    return parent is not None and etree.QName(parent).localname == "defs"


def _drawn(
    element: etree._Element, style: _Style, signs: dict[str, etree._Element]
) -> Iterator[str]:
    name = etree.QName(element).localname
    if name == "defs":
        return
    style = style.of(element)
    moved = [f"{_matrix(part)} cm" for part in _transforms(element.get("transform", ""))]
    if moved:
        yield "q"
        yield from moved
    if name == "g":
        for child in element:
            yield from _drawn(child, style, signs)
    elif name == "use":
        yield from _drawn(signs[element.get(_HREF, "").removeprefix("#")], style, signs)
    else:
        yield style.inked(_shape(name, element))
    if moved:
        yield "Q"


def _shape(name: str, element: etree._Element) -> str:
    given = {str(key): str(value) for key, value in element.attrib.items()}
    match name:
        case "path":
            return paths.path(given["d"])
        case "polygon" | "polyline":
            return paths.polygon(given["points"], closed=name == "polygon")
        case "ellipse":
            return paths.ellipse(given)
        case "rect":
            return paths.rectangle(given)
    raise ValueError(f"a drawing with <{name}>")


def _transforms(text: str) -> list[tuple[str, list[float]]]:
    found = re.findall(r"(\w+)\(([^)]*)\)", text)
    return [
        (name, [float(n) for n in re.split(r"[,\s]+", inside.strip())]) for name, inside in found
    ]


def _matrix(part: tuple[str, list[float]]) -> str:
    name, values = part
    x, y = (values * 2)[:2]
    if name == "scale":
        return f"{x:.6g} 0 0 {y:.6g} 0 0"
    if name == "translate" and len(values) == 2:
        return f"1 0 0 1 {paths.pair(x, y)}"
    raise ValueError(f"a drawing moved by {name}{tuple(values)}")
