"""The text face of the pages, cut down to the letters a page can need, as a CSS rule."""

from __future__ import annotations

import base64
import io
from functools import lru_cache

from trainer.engraving.fonts import FONT_FILES, Face
from trainer.resources import assets_folder

# Latin with its accents, punctuation, arrows, music accidentals
_RANGES = ((0x20, 0x17F), (0x2010, 0x2044), (0x2190, 0x2193), (0x2212, 0x2212), (0x266D, 0x266F))


@lru_cache(maxsize=1)
def face_rules() -> str:
    """`@font-face` for upright and italic, the fonts inside the text itself."""
    return _rule("upright", "normal") + _rule("italic", "italic")


def _rule(face: Face, style: str) -> str:
    from fontTools import subset
    from fontTools.ttLib import TTFont

    options = subset.Options()
    options.flavor = "woff2"
    options.layout_features = ["kern", "liga", "lnum", "tnum"]
    options.drop_tables += ["FFTM"]  # a font editor's own note
    with TTFont(assets_folder() / "fonts" / FONT_FILES[face]) as font:
        cutter = subset.Subsetter(options)
        cutter.populate(unicodes=[code for a, b in _RANGES for code in range(a, b + 1)])
        cutter.subset(font)
        font.flavor = "woff2"
        out = io.BytesIO()
        font.save(out)
    data = base64.b64encode(out.getvalue()).decode()
    return (
        f"@font-face{{font-family:'EB Garamond 12';font-style:{style};"
        f"src:url(data:font/woff2;base64,{data}) format('woff2')}}\n"
    )
