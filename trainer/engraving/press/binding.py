"""Pages bound into a PDF: faces and music embedded, links, outline, title.

Source: ISO 32000-1 (PDF 1.7): 9.7 composite fonts, 9.10.3 ToUnicode, 12.3 outlines, 12.5 links.
The same pages give the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from itertools import pairwise

import pydyf

from trainer.engraving.fonts import Face
from trainer.engraving.press import faces
from trainer.engraving.press.music import Picture, ink
from trainer.engraving.press.paths import number, pair
from trainer.engraving.press.setting import CAP, Words
from trainer.engraving.press.sheets import Mark, Music, Page, Place, Rule, Sheet, Text

_TAG = "AAAAAA"  # stands before the name of a face that is cut down
_PER_BLOCK = 100  # a CMap takes so many entries at a time


def bound(pages: Sequence[Page], sheet: Sheet, title: str) -> bytes:
    """The PDF."""
    return _Binder(sheet, title).bound(pages)


class _Binder:
    def __init__(self, sheet: Sheet, title: str) -> None:
        self._sheet = sheet
        self._pdf = pydyf.PDF()
        self._pdf.info["Title"] = pydyf.String(title)
        self._pdf.catalog["Lang"] = pydyf.String("en")
        self._letters: dict[Face, dict[int, str]] = {}
        self._pictures: dict[str, bytes] = {}
        self._resources = pydyf.Dictionary()
        self._pdf.add_object(self._resources)

    def bound(self, pages: Sequence[Page]) -> bytes:
        places: list[tuple[Place, pydyf.Dictionary]] = []
        links: list[tuple[pydyf.Dictionary, Page]] = []
        for page in pages:
            made = self._page(page)
            places += [(mark, made) for mark in page.marks if isinstance(mark, Place)]
            links.append((made, page))
        targets = {place.name: self._target(place, page) for place, page in places}
        for made, page in links:
            self._link(made, page, targets)
        self._outline([(place, page) for place, page in places if place.title])
        self._resources["Font"] = pydyf.Dictionary(
            {_name(face): self._font(face, letters) for face, letters in self._letters.items()}
        )
        self._resources["XObject"] = pydyf.Dictionary(self._pictures)
        out = io.BytesIO()
        self._pdf.write(out, version=b"1.7", compress=True)
        return out.getvalue()

    def _add(self, made: pydyf.Object) -> bytes:
        self._pdf.add_object(made)
        return bytes(made.reference)

    # pages

    def _page(self, page: Page) -> pydyf.Dictionary:
        drawn = [line for mark in page.marks for line in self._drawn(mark)]
        content = self._add(pydyf.Stream([line.encode() for line in drawn], compress=True))
        made = pydyf.Dictionary(
            {
                "Type": "/Page",
                "Parent": self._pdf.pages.reference,
                "MediaBox": f"[0 0 {self._sheet.width:.6g} {self._sheet.height:.6g}]",
                "Resources": self._resources.reference,
                "Contents": content,
            }
        )
        self._pdf.add_page(made)
        return made

    def _drawn(self, mark: Mark) -> Iterator[str]:
        match mark:
            case Text(x, y, line):
                yield "BT"
                for run in line.runs:
                    yield from self._words(run, x, self._sheet.height - y)
                    x += run.width
                yield "ET"
            case Rule(x, y, width, colour):
                yield f"{ink(colour)} RG 0.4 w {pair(x, self._sheet.height - y)} m"
                yield f"{pair(x + width, self._sheet.height - y)} l S"
            case Music(x, y, width, picture):
                scale = width / picture.width
                foot = self._sheet.height - y - mark.height
                yield f"q {scale:.6g} 0 0 {scale:.6g} {pair(x, foot)} cm"
                yield f"/{self._picture(picture)} Do Q"

    def _words(self, run: Words, x: float, y: float) -> Iterator[str]:
        yield f"{ink(run.ink)} rg 1 0 0 1 {pair(x, y)} Tm"
        for stretch in faces.shaped(run.text, run.face):
            used = self._letters.setdefault(stretch.face, {})
            parts = []
            for glyph in stretch.glyphs:
                used[glyph.number] = used.get(glyph.number) or glyph.text
                moved = glyph.advance - faces.advance(glyph.number, stretch.face)
                if glyph.text == " " and run.wider:
                    moved += run.wider / run.size * 1000
                before = f"{number(-glyph.aside)} " if glyph.aside else ""
                after = number(glyph.aside - moved)
                parts.append(f"{before}<{glyph.number:04x}>" + ("" if after == "0" else after))
            up = number(stretch.raised * run.size / 1000)
            yield f"/{_name(stretch.face)} {number(run.size)} Tf {up} Ts [{''.join(parts)}] TJ"

    def _picture(self, picture: Picture) -> str:
        """The name of the picture; its operators run y downward, the paper's upward."""
        name = f"M{len(self._pictures)}"
        spare = 0.02 * picture.width  # lines on the edge are drawn whole
        form = pydyf.Stream(
            [
                f"1 0 0 -1 {pair(-picture.left, picture.top + picture.height)} cm".encode(),
                picture.operators.encode(),
            ],
            {
                "Type": "/XObject",
                "Subtype": "/Form",
                "BBox": f"[{pair(-spare, -spare)} "
                f"{pair(picture.width + spare, picture.height + spare)}]",
            },
            compress=True,
        )
        self._pictures[name] = self._add(form)
        return name

    # faces

    def _font(self, face: Face, letters: dict[int, str]) -> bytes:
        cut = faces.cut(face, letters)
        name = f"/{_TAG}+{cut.name}"
        kind = {} if cut.truetype else {"Subtype": "/CIDFontType0C"}
        file = self._add(pydyf.Stream([cut.data], kind, compress=True))
        descriptor = pydyf.Dictionary(
            {
                "Type": "/FontDescriptor",
                "FontName": name,
                "Flags": 4,
                "FontBBox": f"[{' '.join(number(n) for n in cut.box)}]",
                "ItalicAngle": -15 if "italic" in face else 0,
                "Ascent": number(cut.ascent),
                "Descent": number(cut.descent),
                "CapHeight": number(CAP * 1000),
                "StemV": 80,
                ("FontFile2" if cut.truetype else "FontFile3"): file,
            }
        )
        widths = " ".join(f"{n} [{number(faces.advance(n, face))}]" for n in sorted(letters))
        descendant = pydyf.Dictionary(
            {
                "Type": "/Font",
                "Subtype": "/CIDFontType2" if cut.truetype else "/CIDFontType0",
                "BaseFont": name,
                "CIDSystemInfo": "<</Registry (Adobe) /Ordering (Identity) /Supplement 0>>",
                "FontDescriptor": self._add(descriptor),
                "W": f"[{widths}]",
            }
        )
        if cut.truetype:
            descendant["CIDToGIDMap"] = "/Identity"
        composite = pydyf.Dictionary(
            {
                "Type": "/Font",
                "Subtype": "/Type0",
                "BaseFont": name,
                "Encoding": "/Identity-H",
                "DescendantFonts": f"[{self._add(descendant).decode()}]",
                "ToUnicode": self._add(pydyf.Stream([_meanings(letters)], compress=True)),
            }
        )
        return self._add(composite)

    # ways through the document

    def _target(self, place: Place, page: pydyf.Dictionary) -> str:
        """The place a little below the edge of the window."""
        y = min(self._sheet.height, self._sheet.height - place.y + 12)
        return f"[{page.reference.decode()} /XYZ null {number(y)} null]"

    def _link(self, made: pydyf.Dictionary, page: Page, targets: dict[str, str]) -> None:
        found = []
        for mark in page.marks:
            if not isinstance(mark, Text):
                continue
            x, y = mark.x, self._sheet.height - mark.y
            for run in mark.line.runs:
                if run.to:
                    box = f"{pair(x, y - 0.25 * run.size)} {pair(x + run.width, y + run.size)}"
                    link = {
                        "Type": "/Annot",
                        "Subtype": "/Link",
                        "Rect": f"[{box}]",
                        "Border": "[0 0 0]",
                        "Dest": targets[run.to],
                    }
                    found.append(self._add(pydyf.Dictionary(link)))
                x += run.width
        if found:
            made["Annots"] = b"[" + b" ".join(found) + b"]"

    def _outline(self, places: Sequence[tuple[Place, pydyf.Dictionary]]) -> None:
        """Two levels: those of level 2 hang from the one of level 1 before them."""
        if not places:
            return
        root = pydyf.Dictionary({"Type": "/Outlines"})
        self._pdf.catalog["Outlines"] = self._add(root)
        children: list[tuple[pydyf.Dictionary, list[pydyf.Dictionary]]] = [(root, [])]
        for place, page in places:
            parent = root if place.level == 1 or len(children) == 1 else children[-1][0]
            item = pydyf.Dictionary(
                {
                    "Title": pydyf.String(place.title),
                    "Dest": self._target(place, page),
                    "Parent": parent.reference,
                }
            )
            self._pdf.add_object(item)
            if parent is root:
                children[0][1].append(item)
                children.append((item, []))
            else:
                children[-1][1].append(item)
        for parent, items in children:
            _chained(parent, items, opened=parent is root)


def _chained(parent: pydyf.Dictionary, items: list[pydyf.Dictionary], *, opened: bool) -> None:
    if not items:
        return
    parent["First"], parent["Last"] = items[0].reference, items[-1].reference
    parent["Count"] = len(items) if opened else -len(items)
    for one, following in pairwise(items):
        one["Next"], following["Prev"] = following.reference, one.reference


def _name(face: Face) -> str:
    return "F-" + face


def _meanings(letters: dict[int, str]) -> bytes:
    """The CMap that says what each letter stands for, so that text can be sought and copied."""
    told = [(n, text) for n, text in sorted(letters.items()) if text]
    blocks = []
    for start in range(0, len(told), _PER_BLOCK):
        part = told[start : start + _PER_BLOCK]
        rows = [f"<{n:04x}> <{text.encode('utf-16-be').hex()}>" for n, text in part]
        blocks += [f"{len(part)} beginbfchar", *rows, "endbfchar"]
    head = (
        "/CIDInit /ProcSet findresource begin 12 dict begin begincmap "
        "/CIDSystemInfo <</Registry (Adobe) /Ordering (UCS) /Supplement 0>> def "
        "/CMapName /Adobe-Identity-UCS def /CMapType 2 def "
        "1 begincodespacerange <0000> <ffff> endcodespacerange"
    )
    tail = "endcmap CMapName currentdict /CMap defineresource pop end end"
    return "\n".join([head, *blocks, tail]).encode()
