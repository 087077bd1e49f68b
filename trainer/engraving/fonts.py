"""The shipped faces."""

from __future__ import annotations

from typing import Literal

Face = Literal["music", "upright", "italic", "small-upright", "small-italic"]

SIGNS = "Mittelstimme Signs"  # a subset of a font with a reserved name, so under one of its own

FONT_FILES: dict[Face, str] = {
    "music": "MittelstimmeSigns.ttf",
    "upright": "EBGaramond12-Regular.otf",
    "italic": "EBGaramond12-Italic.otf",
    "small-upright": "EBGaramond08-Regular.otf",
    "small-italic": "EBGaramond08-Italic.otf",
}
