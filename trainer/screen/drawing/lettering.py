"""Text and music signs as surfaces: the shipped faces at any size, kept once drawn."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import pygame

from trainer.engraving.fonts import FONT_FILES, Face
from trainer.resources import assets_folder
from trainer.screen.drawing.kept import Kept
from trainer.screen.drawing.theme import Colour

_NOT_SMALL = frozenset("☞←↑→↓−′")  # what the small cuts of the face lack
_KEPT = 24 << 20  # bytes of surfaces; a view at 3840x2160 needs a quarter of it
_OPEN = 64  # fonts; a view needs a dozen


def read_fonts() -> dict[Face, bytes]:
    """The font files, read once: no frame waits for the disk."""
    folder = assets_folder() / "fonts"
    return {face: (folder / name).read_bytes() for face, name in FONT_FILES.items()}


def bytes_of(surface: pygame.Surface) -> int:
    """The memory it takes."""
    return surface.get_pitch() * surface.get_height() + 500  # and what is around them


@dataclass
class Lettering:
    """Draws text; holds open fonts and drawn surfaces, so it lives as long as the window."""

    _files: dict[Face, bytes] = field(default_factory=read_fonts)
    _fonts: Kept[pygame.font.Font] = field(default_factory=lambda: Kept(_OPEN, lambda font: 1))
    _drawn: Kept[pygame.Surface] = field(default_factory=lambda: Kept(_KEPT, bytes_of))

    def font(self, face: Face, size: float, text: str = "") -> pygame.font.Font:
        """The face at `size` pixels an em; small sizes get the small cut, if it has the signs."""
        pixels = max(6, round(size))
        if pixels < 20 and face in ("upright", "italic") and _NOT_SMALL.isdisjoint(text):
            face = "small-upright" if face == "upright" else "small-italic"
        file = self._files[face]
        return self._fonts.find((face, pixels), lambda: pygame.font.Font(io.BytesIO(file), pixels))

    def surface(self, text: str, face: Face, size: float, colour: Colour) -> pygame.Surface:
        key = (text, face, round(size), colour)
        return self._drawn.find(key, lambda: self.font(face, size, text).render(text, True, colour))

    def width(self, text: str, face: Face, size: float) -> int:
        return self.font(face, size, text).size(text)[0]

    def ascent(self, face: Face, size: float) -> int:
        """From the top of a text surface to its baseline."""
        return self.font(face, size).get_ascent()

    def cut(self, text: str, face: Face, size: float, room: int) -> str:
        """The text, shortened with an ellipsis at a word if it does not fit into `room` pixels."""
        if self.width(text, face, size) <= room:
            return text
        words = text.split(" ")
        while len(words) > 1:
            words.pop()
            short = " ".join(words).rstrip(",;:.·– ") + " …"
            if self.width(short, face, size) <= room:
                return short
        short = text
        while len(short) > 1 and self.width(short + "…", face, size) > room:
            short = short[:-1]
        return short + "…"

    def wrapped(self, text: str, face: Face, size: float, room: int) -> tuple[str, ...]:
        """The text in lines of at most `room` pixels."""
        lines: list[str] = []
        for paragraph in text.split("\n"):
            line = ""
            for word in paragraph.split():
                longer = f"{line} {word}" if line else word
                if line and self.width(longer, face, size) > room:
                    lines.append(line)
                    line = word
                else:
                    line = longer
            lines.append(line)
        return tuple(lines)
