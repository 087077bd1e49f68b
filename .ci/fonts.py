"""Make the fonts that are derived from others, so that the program needs no font tool to run.

    python .ci/fonts.py          (in an environment with the test extra)

- the music signs: verovio carries a subset of Bravura as WOFF2 inside a style sheet; it is unpacked
  to TrueType and given a name of its own, because a modified version may not carry a reserved one;
- the faces of the HTML pages: EB Garamond, cut down to the letters a page can need.
"""

from __future__ import annotations

import base64
import io
import re
from pathlib import Path

import verovio
from fontTools import subset
from fontTools.ttLib import TTFont

from trainer.engraving.fonts import FONT_FILES, SIGNS
from trainer.review.page_face import PAGE_FILES

FONTS = Path(__file__).parent.parent / "assets" / "fonts"
COPYRIGHT = (
    "Copyright (c) 2013-2023, Steinberg Media Technologies GmbH (http://www.steinberg.net/), with "
    'Reserved Font Name "Bravura". This is a modified version: a subset, renamed.'
)
LICENCE = "This Font Software is licensed under the SIL Open Font License, Version 1.1."
# Latin with its accents, punctuation, arrows, music accidentals
PAGE_RANGES = (
    (0x20, 0x17F),
    (0x2010, 0x2044),
    (0x2190, 0x2193),
    (0x2212, 0x2212),
    (0x266D, 0x266F),
)


def verovio_signs() -> TTFont:
    """The music font that verovio carries, as it is there."""
    style = (Path(verovio.__file__).parent / "data" / "Bravura.css").read_text(encoding="utf-8")
    found = re.search(r"base64,([A-Za-z0-9+/=]+)", style)
    if found is None:
        raise SystemExit("verovio's Bravura.css holds no font; see how it carries it now")
    return TTFont(io.BytesIO(base64.b64decode(found[1])), recalcTimestamp=False)


def signs() -> bytes:
    """The same under a name of its own, as TrueType."""
    font = verovio_signs()
    names = font["name"]
    names.names = []
    for id, text in {
        0: COPYRIGHT,
        1: SIGNS,
        2: "Regular",
        3: f"{SIGNS} 1.0",
        4: SIGNS,
        5: "Version 1.0",
        6: SIGNS.replace(" ", ""),
        13: LICENCE,
        14: "https://openfontlicense.org",
    }.items():
        names.setName(text, id, 3, 1, 0x409)
        names.setName(text, id, 1, 0, 0)
    for table in ("FFTM", "GDEF", "GPOS", "GSUB"):  # a font editor's notes, empty layout
        if table in font:
            del font[table]
    font.flavor = None
    return _saved(font)


def page_face(file: str) -> bytes:
    """A face of the HTML pages as WOFF2."""
    options = subset.Options()
    options.flavor = "woff2"
    options.layout_features = ["kern", "liga", "lnum", "tnum"]
    options.name_IDs = ["*"]  # the copyright stays with the letters
    options.drop_tables += ["FFTM"]
    with TTFont(FONTS / file, recalcTimestamp=False) as font:
        cutter = subset.Subsetter(options)
        cutter.populate(unicodes=[code for a, b in PAGE_RANGES for code in range(a, b + 1)])
        cutter.subset(font)
        font.flavor = "woff2"
        return _saved(font)


def _saved(font: TTFont) -> bytes:
    out = io.BytesIO()
    font.save(out)
    return out.getvalue()


def main() -> None:
    made = {FONT_FILES["music"]: signs()}
    made |= {PAGE_FILES[face]: page_face(FONT_FILES[face]) for face in PAGE_FILES}
    for name, data in made.items():
        (FONTS / name).write_bytes(data)
        print(f"{name}: {len(data)} bytes")


if __name__ == "__main__":
    main()
