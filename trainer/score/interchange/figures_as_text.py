"""Figures that a notation program has only as text: lyrics under the bass, or words at a beat.

Looked for where a MusicXML file has no `figured-bass` at all. Lyrics count if most of a part's
are figures, its verses being the stack from the top down; words if every line of one is a figure.
"""

from __future__ import annotations

from typing import Any

from lxml import etree

from trainer.errors import FigureError
from trainer.theory.figures import NOTHING, Figuring
from trainer.theory.figures_text import from_mei

_MOST = 0.7  # of a part's sung notes


def figures_from_text(root: Any) -> str:
    """Put `figured-bass` elements where text says figures; a remark, empty if there was none."""
    if next(root.iter("figured-bass"), None) is not None:
        return ""
    found = sum(_from_lyrics(part) for part in root.iter("part"))
    if found:
        return f"{found} figurings were taken from lyrics"
    found = sum(_from_words(part) for part in root.iter("part"))
    return f"{found} figurings were taken from words" if found else ""


def _from_lyrics(part: Any) -> int:
    stacks = [(note, _read(_verses(note))) for note in part.iter("note") if _verses(note)]
    figured = [(note, figuring) for note, figuring in stacks if figuring is not None]
    if not figured or len(figured) < _MOST * len(stacks):
        return 0
    for note, figuring in figured:
        note.addprevious(_stack(figuring))
    return len(figured)


def _verses(note: Any) -> list[str]:
    verses = sorted(note.iter("lyric"), key=lambda lyric: lyric.get("number", "1"))
    texts = [" ".join(text.text or "" for text in verse.iter("text")) for verse in verses]
    return [text for text in texts if text.strip()]


def _from_words(part: Any) -> int:
    count = 0
    for direction in list(part.iter("direction")):
        lines = "\n".join(words.text or "" for words in direction.iter("words")).split("\n")
        figuring = _read([line for line in lines if line.strip()])
        if figuring is None:
            continue
        offset = direction.findtext("offset") or ""
        placed = [_stack(figuring)]
        ticks = int(offset) if offset.lstrip("-").isdecimal() else 0
        if ticks:
            placed = [_moved(ticks), *placed, _moved(-ticks)]
        for element in placed:
            direction.addprevious(element)
        count += 1
    return count


def _read(texts: list[str]) -> Figuring | None:
    try:
        figuring = from_mei(texts)
    except FigureError:
        return None
    return None if figuring == NOTHING else figuring


def _stack(figuring: Figuring) -> Any:
    stack = etree.Element("figured-bass")
    etree.SubElement(etree.SubElement(stack, "figure"), "figure-number").text = str(figuring)
    return stack


def _moved(ticks: int) -> Any:
    element = etree.Element("forward" if ticks > 0 else "backup")
    etree.SubElement(element, "duration").text = str(abs(ticks))
    return element
