"""Outlines and fonts, held against fontTools, which reads the same files by itself."""

from __future__ import annotations

import base64
import io
import re
from pathlib import Path

import pytest
import verovio
from fontTools.pens.areaPen import AreaPen
from fontTools.pens.boundsPen import BoundsPen
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.svgLib.path import parse_path
from fontTools.ttLib import TTFont

from trainer.engraving.fonts import FONT_FILES, SIGNS, Face
from trainer.engraving.glyphs import sign, text
from trainer.resources import assets_folder
from trainer.review.page_face import PAGE_FILES

FONTS = assets_folder() / "fonts"
RESERVED = "Bravura"


def opened(face: Face) -> TTFont:
    return TTFont(FONTS / FONT_FILES[face])


def verovios() -> TTFont:
    style = (Path(verovio.__file__).parent / "data" / "Bravura.css").read_text(encoding="utf-8")
    found = re.search(r"base64,([A-Za-z0-9+/=]+)", style)
    assert found is not None
    return TTFont(io.BytesIO(base64.b64decode(found[1])))


def test_every_sign_has_the_outline_that_the_font_file_has() -> None:
    font = opened("music")
    glyphs, scale = font.getGlyphSet(), 1000 / font["head"].unitsPerEm
    for code, name in font.getBestCmap().items():
        drawn = sign(code, 1000)
        ink, ours = AreaPen(glyphs), AreaPen()
        glyphs[name].draw(ink)
        parse_path(drawn.path, ours)
        assert -ours.value == pytest.approx(ink.value * scale**2, rel=1e-3, abs=20)
        bounds = BoundsPen(glyphs)
        glyphs[name].draw(bounds)
        left, low, right, high = (n * scale for n in bounds.bounds or (0, 0, 0, 0))
        found = (drawn.left, drawn.top, drawn.right, drawn.bottom)
        assert found == pytest.approx((left, -high, right, -low), abs=0.01)
        assert drawn.advance == pytest.approx(glyphs[name].width * scale)


def test_words_are_kerned() -> None:
    font = opened("upright")
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    alone = sum(glyphs[names[ord(letter)]].width for letter in "To") / font["head"].unitsPerEm
    assert text("To", "upright", 1.0).advance < alone - 0.05


def test_a_sign_the_font_lacks_is_named() -> None:
    with pytest.raises(KeyError, match=r"U\+2603"):
        sign(0x2603, 40)


def test_a_letter_the_face_lacks_is_left_out() -> None:
    assert text("a\U0001f3b9b", "italic", 12).advance == text("ab", "italic", 12).advance


def test_our_subset_of_a_font_with_a_reserved_name_has_a_name_of_its_own() -> None:
    names = opened("music")["name"]
    shown = {names.getDebugName(id) for id in (1, 3, 4, 6, 16, 18)} - {None}
    assert SIGNS in shown and not any(RESERVED in name for name in shown if name)
    assert RESERVED not in "".join(FONT_FILES.values())
    assert f'Reserved Font Name "{RESERVED}"' in names.getDebugName(0)  # the notice stays


def test_the_signs_are_those_of_verovio_unchanged() -> None:
    ours, theirs = opened("music"), verovios()
    assert ours.getBestCmap().keys() == theirs.getBestCmap().keys()
    for code, name in theirs.getBestCmap().items():
        pens = []
        for font, glyph in ((ours, ours.getBestCmap()[code]), (theirs, name)):
            pen = SVGPathPen(font.getGlyphSet())
            font.getGlyphSet()[glyph].draw(pen)
            pens.append(pen.getCommands())
        assert pens[0] == pens[1]


@pytest.mark.parametrize("face", ["upright", "italic"])
def test_the_face_of_the_pages_has_every_letter_a_page_can_need(face: Face) -> None:
    cut, whole = TTFont(FONTS / PAGE_FILES[face]), opened(face)
    wanted = {*range(0x20, 0x180), *range(0x2010, 0x2045), 0x2190, 0x2192, 0x2212, 0x266D, 0x266F}
    assert wanted & whole.getBestCmap().keys() <= cut.getBestCmap().keys()
    for letter in "aÄß8–’":
        widths = [f["hmtx"][f.getBestCmap()[ord(letter)]][0] for f in (cut, whole)]
        assert widths[0] == widths[1]
    assert "Open Font License" in cut["name"].getDebugName(13)


def test_each_font_has_its_licence_beside_it() -> None:
    for file in FONTS.glob("*.[otw]*f*"):
        family = re.match(r"[A-Za-z]+", file.name)
        assert family is not None
        licence = (FONTS / f"{family[0]}-LICENSE.txt").read_text(encoding="utf-8")
        assert licence.startswith("Copyright") and "SIL OPEN FONT LICENSE Version 1.1" in licence
