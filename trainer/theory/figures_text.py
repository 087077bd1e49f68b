"""Figurings as other notations write them: Humdrum `**fb`, MEI `f` text, MusicXML figure parts.

Each pair of functions is inverse: reading what was written gives the same figuring. Plain text is
`Figuring.parse` and `str`. Where a stack holds an extender line beside new figures, the line stands
for the figure at the same height of the stack `before`.

Sources: the Humdrum `**fb` representation as the humdrum tools and verovio read it; MEI 5 `fb` and
`f`; MusicXML 4.0 `figure`, `prefix`, `suffix`, `extend`; SMuFL's figured-bass range U+EA50 to
U+EA6F and standard accidentals U+E260 to U+E264; Unicode's combining overlays.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Literal

from trainer.errors import FigureError
from trainer.theory.figures import NOTHING, Figure, Figuring, Sign, Way

Extend = Literal["start", "continue", "stop"]


@dataclass(frozen=True, slots=True)
class XmlFigure:
    """The texts of one MusicXML `figure`: an empty text is an absent element."""

    prefix: str = ""
    number: str = ""
    suffix: str = ""
    extend: Extend | None = None


# words for the ways of playing that are not figures, as they are found, spaces and case apart
_WORDS: dict[str, Way] = {
    "t.s.": Way.TASTO_SOLO,
    "ts": Way.TASTO_SOLO,
    "t.s": Way.TASTO_SOLO,
    "tastosolo": Way.TASTO_SOLO,
    "tasto": Way.TASTO_SOLO,
    "0": Way.TASTO_SOLO,
    "unis.": Way.UNISON,
    "unis": Way.UNISON,
    "unisono": Way.UNISON,
    "all'unisono": Way.UNISON,
    "all'unis.": Way.UNISON,
    "_": Way.EXTENDED,
}

# one character (or pair) of MEI text -> plain text
_MEI = {
    "♯": "#",
    "♭": "b",
    "♮": "n",
    "𝄪": "##",
    "𝄫": "bb",
    "x": "##",
    "\ue260": "b",
    "\ue261": "n",
    "\ue262": "#",
    "\ue263": "##",
    "\ue264": "bb",
    "\u0337": "/",  # combining short solidus overlay
    "\u0338": "/",  # combining long solidus overlay
    "\u0335": "/",  # combining strokes: they raise as the slanting ones do
    "\u0336": "/",
    "\u20d2": "/",
    "\u20e5": "\\",  # combining reverse solidus overlay
    "\u20d3": "/",
    "\uea50": "0",
    "\uea51": "1",
    "\uea52": "2",
    "\uea53": "2/",
    "\uea54": "3",
    "\uea55": "4",
    "\uea56": "4/",
    "\uea57": "5",
    "\uea58": "5/",
    "\uea59": "5/",
    "\uea5a": "5/",  # the struck 5: what it means is a setting of the piece
    "\uea5b": "6",
    "\uea5c": "6/",
    "\uea5d": "7",
    "\uea5e": "7/",
    "\uea5f": "7/",
    "\uea60": "8",
    "\uea61": "9",
    "\uea62": "9/",
    "\uea63": "bb",
    "\uea64": "b",
    "\uea65": "n",
    "\uea66": "#",
    "\uea67": "##",
    "\uea6c": "+",
    "\uea6d": "/",  # combining raising
    "\uea6f": "6/",
    # brackets and parentheses mark an editor's figures; they sound like others
    **dict.fromkeys("\uea68\uea69\uea6a\uea6b[]()", ""),
}
_TO_MEI = {
    Sign.SHARP: "♯",
    Sign.FLAT: "♭",
    Sign.NATURAL: "♮",
    Sign.DOUBLE_SHARP: "𝄪",
    Sign.DOUBLE_FLAT: "𝄫",
    Sign.STROKE: "\u0338",
    Sign.BACKSTROKE: "\u20e5",
    Sign.PLUS: "+",
}

# MusicXML 4.0 accidental and suffix values -> plain text; the first of each sign is written
_XML = {
    "sharp": "#",
    "flat": "b",
    "natural": "n",
    "double-sharp": "##",
    "sharp-sharp": "##",
    "flat-flat": "bb",
    "double-flat": "bb",
    "plus": "+",
    "slash": "/",
    "vertical": "/",
    "back-slash": "\\",
    "backslash": "\\",
}
_TO_XML = {text: value for value, text in reversed(_XML.items())}

_FIGURE = re.compile(r"(##|bb|[#bn/\\+])?(\d{1,2})?(##|bb|[#bn/\\+])?")


def from_kern(token: str, before: Figuring = NOTHING) -> Figuring:
    """Read a Humdrum `**fb` token: `6 4+ 2`, `-5`, `n`, `6/`, `_`; raises FigureError.

    A flat is `-`; `|` through a numeral is a stroke; a line drawn after a figure (`6_`), brackets
    and editorial marks change nothing of what sounds. `.` and the empty token are nothing.
    """
    if token.strip() in ("", "."):
        return NOTHING
    words = re.sub(r"[()\[\]:~<>i?r]", "", token) if not _word(token) else token
    plain = words.replace("--", "bb").replace("-", "b").replace("|", "/").replace("x", "##")
    return _stack(_kern_word(token, plain), before)


def to_kern(figuring: Figuring) -> str:
    """The `**fb` token; FigureError for an empty figuring, which Humdrum cannot write."""
    if figuring == NOTHING:
        raise FigureError("an empty figuring cannot be written", remedy="write 5 3")
    text = str(figuring)
    return text if figuring.way is not Way.FIGURES else text.replace("b", "-")


def from_mei(texts: Sequence[str], before: Figuring = NOTHING) -> Figuring:
    """Read the texts of the `f` elements of one MEI `fb`, top to bottom; raises FigureError.

    Accidentals and strokes may be plain, Unicode's or SMuFL's: `6̸`, `♯`, U+EA5C.
    """
    plain: list[str] = []
    for text in texts:
        whole = _word(text)
        if whole is not None:
            plain.append(whole.value)
            continue
        spelled = "".join(_MEI.get(character, character) for character in text)
        plain += [word for word in re.sub(r"(?<=\S)\s*_", "", spelled).split() if word]
    return _stack([_Read(word, word) for word in plain], before)


def to_mei(figuring: Figuring) -> tuple[str, ...]:
    """The texts of the `f` elements, top to bottom; one `_`, `t.s.` or `unis.` for the others."""
    if figuring.way is not Way.FIGURES:
        return (figuring.way.value,)
    return tuple(_assembled(figure, _TO_MEI) for figure in figuring.figures)


def from_musicxml(figures: Sequence[XmlFigure], before: Figuring = NOTHING) -> Figuring:
    """Read the `figure` elements of one MusicXML `figured-bass`; raises FigureError.

    A figure that is only extended (`continue` or `stop`, no number, or the number repeated) stands
    for the one before it.
    """
    read = []
    for figure in figures:
        shown = " ".join(filter(None, (figure.prefix, figure.number, figure.suffix)))
        bare = not (figure.prefix or figure.number or figure.suffix)
        if bare or figure.extend in ("continue", "stop"):
            if bare and figure.extend is None:
                continue
            read.append(_Read("_", shown or "an extender line"))
            continue
        word = _word(figure.number)
        if word is not None:
            read.append(_Read(word.value, shown))
            continue
        signs = [_sign(part) for part in (figure.prefix, figure.suffix)]
        read.append(_Read(f"{signs[0]}{figure.number.strip()}{signs[1]}", shown))
    return _stack(read, before)


def to_musicxml(figuring: Figuring) -> tuple[XmlFigure, ...]:
    """The parts of the `figure` elements, top to bottom; none for an empty figuring."""
    if figuring.way is Way.EXTENDED:
        return (XmlFigure(extend="continue"),)
    if figuring.way is not Way.FIGURES:
        return (XmlFigure(number=figuring.way.value),)
    written = []
    for figure in figuring.figures:
        sign = "" if figure.sign is None else _TO_XML[figure.sign.value]
        number = "" if figure.numeral is None else str(figure.numeral)
        first = figure.before or figure.numeral is None
        written.append(XmlFigure(sign if first else "", number, "" if first else sign))
    return tuple(written)


@dataclass(frozen=True, slots=True)
class _Read:
    plain: str
    shown: str  # for messages


def _word(text: str) -> Way | None:
    return _WORDS.get("".join(text.replace("’", "'").split()).lower())


def _kern_word(token: str, plain: str) -> list[_Read]:
    whole = _word(token)
    if whole is not None:
        return [_Read(whole.value, token)]
    words = [word if word == "_" else word.rstrip("_") for word in plain.split()]
    return [_Read(word, token) for word in words if word]


def _sign(value: str) -> str:
    value = value.strip()
    if value and value not in _XML:
        raise FigureError(f"{value!r} is no prefix or suffix of a figure that is known")
    return _XML.get(value, "")


def _stack(words: Sequence[_Read], before: Figuring) -> Figuring:
    ways = [_WORDS.get(word.plain) for word in words]
    if words and all(way is Way.EXTENDED for way in ways):
        return Figuring((), Way.EXTENDED)
    if len(words) == 1 and ways[0] is not None:
        return Figuring((), ways[0])
    figures = []
    for word, way, old in zip_longest(words, ways, before.figures[: len(words)]):
        if way is Way.EXTENDED:
            if old is None:
                raise FigureError(f"{word.shown}: the extender line has no figure before it")
            figures.append(old)
        else:
            figures.append(_figure(word))
    return Figuring(tuple(figures))


def _figure(word: _Read) -> Figure:
    match = _FIGURE.fullmatch(word.plain)
    if match is None or not word.plain or (match[1] and match[3]):
        raise FigureError(
            f"{word.shown!r} is not a figure", remedy="write one like 6, 4+, b5, 5/ or #"
        )
    sign = Sign(match[1] or match[3]) if match[1] or match[3] else None
    numeral = None if match[2] is None else int(match[2])
    before = bool(match[1]) and numeral is not None and sign is not None and not sign.raises
    return Figure(numeral, sign, before)


def _assembled(figure: Figure, signs: dict[Sign, str]) -> str:
    sign = "" if figure.sign is None else signs[figure.sign]
    numeral = "" if figure.numeral is None else str(figure.numeral)
    return sign + numeral if figure.before else numeral + sign
