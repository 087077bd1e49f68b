"""The text face of the pages, cut down to the letters a page can need, as a CSS rule."""

from __future__ import annotations

import base64
from functools import lru_cache

from trainer.engraving.fonts import Face
from trainer.resources import assets_folder

# made beforehand from the faces of the window and the print
PAGE_FILES: dict[Face, str] = {
    "upright": "EBGaramond12-Regular-page.woff2",
    "italic": "EBGaramond12-Italic-page.woff2",
}


@lru_cache(maxsize=1)
def face_rules() -> str:
    """`@font-face` for upright and italic, the fonts inside the text itself."""
    return _rule("upright", "normal") + _rule("italic", "italic")


def _rule(face: Face, style: str) -> str:
    font = (assets_folder() / "fonts" / PAGE_FILES[face]).read_bytes()
    data = base64.b64encode(font).decode()
    return (
        f"@font-face{{font-family:'EB Garamond 12';font-style:{style};"
        f"src:url(data:font/woff2;base64,{data}) format('woff2')}}\n"
    )
