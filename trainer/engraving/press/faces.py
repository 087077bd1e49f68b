"""Words shaped in the shipped faces, and the faces cut down to what a PDF needs of them.

Only the shipped faces are used, whatever the machine has. A letter that none of them has is printed
as an empty box; `lacking` tells which those are.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from itertools import groupby, pairwise

import uharfbuzz as hb

from trainer.engraving.fonts import FONT_FILES, Face
from trainer.resources import assets_folder

_OVERHANG = 90.0  # thousandths by which an italic letter leans over what follows


@dataclass(frozen=True, slots=True)
class Glyph:
    """A letter as it stands in a line: its number in the face, what it stands for (empty if it is
    a later part of what one before stands for), and in thousandths of the size how far it moves
    on, how far it is set aside."""

    number: int
    text: str
    advance: float
    aside: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """Letters that follow one another in one face, `raised` by thousandths of the size."""

    face: Face
    glyphs: tuple[Glyph, ...]
    raised: float = 0.0


@dataclass(frozen=True, slots=True)
class Cut:
    """A face cut down to some letters. `data` is a bare CFF table or, where `truetype`, a font;
    the measures are thousandths of the size."""

    name: str
    data: bytes
    truetype: bool
    box: tuple[float, float, float, float]
    ascent: float
    descent: float


@lru_cache(maxsize=16384)
def shaped(words: str, face: Face) -> tuple[Stretch, ...]:
    """The words in that face, kerned and with its ligatures.

    Accidentals are taken from the music signs, which hang them about the middle of the note they
    belong to; among words they stand on the line.
    """
    stretches = []
    for which, letters in groupby(words, lambda letter: _face_of(letter, face)):
        if which == face:
            stretches.append(Stretch(which, tuple(_glyphs("".join(letters), which))))
            continue
        for letter in letters:
            (sign,) = _glyphs(letter, which)
            clear = _OVERHANG if "italic" in face else 0.0
            glyph = replace(sign, aside=clear, advance=sign.advance + clear)
            stretches.append(Stretch(which, (glyph,), -_foot(sign.number, which)))
    return tuple(stretches)


def width(words: str, face: Face, size: float) -> float:
    """How wide the words are set, in the unit of `size`."""
    return math.fsum(g.advance for s in shaped(words, face) for g in s.glyphs) * size / 1000


def lacking(words: str) -> str:
    """The letters that no shipped face has, each once, in the order they are met."""
    found = (w for w in words if not w.isspace() and not _has(w, "upright") and not _has(w))
    return "".join(dict.fromkeys(found))


def advance(number: int, face: Face) -> float:
    """The set width of a letter by itself, in thousandths of the size."""
    font = _font(face)
    return float(font.get_glyph_h_advance(number) * 1000 / font.face.upem)


def cut(face: Face, numbers: Collection[int]) -> Cut:
    """The face with these letters only, which keep their numbers."""
    font = _font(face)
    wanted = hb.SubsetInput()
    wanted.glyph_set.update({0, *numbers})
    wanted.flags = hb.SubsetFlags.RETAIN_GIDS | hb.SubsetFlags.NO_LAYOUT_CLOSURE
    smaller = hb.subset(font.face, wanted)
    truetype = "glyf" in smaller.table_tags
    data = smaller.blob.data if truetype else smaller.reference_table("CFF ").data
    extents, scale = font.get_font_extents("ltr"), 1000 / font.face.upem
    drawn = [font.get_glyph_extents(number) for number in numbers]
    box = (
        min(e.x_bearing for e in drawn) * scale,
        min(e.y_bearing + e.height for e in drawn) * scale,  # heights are counted downward
        max(e.x_bearing + e.width for e in drawn) * scale,
        max(e.y_bearing for e in drawn) * scale,
    )
    return Cut(
        FONT_FILES[face].split(".")[0],
        data,
        truetype,
        box,
        extents.ascender * scale,
        extents.descender * scale,
    )


def _foot(number: int, face: Face) -> float:
    """How far the letter reaches above the line (below: less than 0), in thousandths."""
    font = _font(face)
    drawn = font.get_glyph_extents(number)
    return float((drawn.y_bearing + drawn.height) * 1000 / font.face.upem)


@cache
def _font(face: Face) -> hb.Font:
    return hb.Font(hb.Face((assets_folder() / "fonts" / FONT_FILES[face]).read_bytes()))


def _has(letter: str, face: Face = "music") -> bool:
    return _font(face).get_nominal_glyph(ord(letter)) is not None


def _face_of(letter: str, face: Face) -> Face:
    return "music" if not _has(letter, face) and _has(letter) else face


def _glyphs(words: str, face: Face) -> Iterator[Glyph]:
    font = _font(face)
    line = hb.Buffer()
    line.add_str(words)
    line.guess_segment_properties()
    hb.shape(font, line)
    scale = 1000 / font.face.upem
    begins = [*sorted({info.cluster for info in line.glyph_infos}), len(words)]
    ends = dict(pairwise(begins))
    told: set[int] = set()
    for info, place in zip(line.glyph_infos, line.glyph_positions, strict=True):
        at = info.cluster
        text = "" if at in told else words[at : ends[at]]
        told.add(at)
        yield Glyph(info.codepoint, text, place.x_advance * scale, place.x_offset * scale)
