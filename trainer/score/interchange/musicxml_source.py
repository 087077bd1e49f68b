"""MusicXML made ready for the engraver, which reads notes well but drops parts of figures.

verovio 6.4 keeps a figure's number, accidentals and slashes, but loses `plus`, `back-slash`,
`vertical` and figures that are only an extender line. So each stack is read here, by the rules of
MusicXML 4.0, and handed on as one plain text, which verovio carries through to its place in time.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import Any

from lxml import etree

from trainer.errors import ExerciseError, FigureError
from trainer.score.interchange.figures_as_text import figures_from_text
from trainer.theory.figures import NOTHING, Figuring, Way
from trainer.theory.figures_text import XmlFigure, from_musicxml

FACT = "mittelstimme:"  # prefix of our own fields in files of other formats
_FINEST = 1_000_000  # parts of a quarter note


@dataclass(frozen=True, slots=True)
class Prepared:
    """The tree, its divisions of the quarter note, its title, our own fields, and remarks."""

    root: Any
    divisions: int
    title: str
    facts: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...]


def prepared(root: Any) -> Prepared:
    """The tree with plain figures and one division throughout."""
    remarks: list[str] = []
    for element in root.iter("{*}*"):  # files with a namespace, which verovio does not read
        if isinstance(element.tag, str) and element.tag.startswith("{"):
            element.tag = etree.QName(element).localname
    if root.tag == "score-timewise":
        root = _partwise(root)
    divisions = _one_division(root)
    for part in root.iter("part"):
        before = NOTHING
        for measure in part.iter("measure"):
            bar = measure.get("number", "?")
            for stack in list(measure.iter("figured-bass")):
                before = _plain(stack, before, divisions, bar, remarks)
    remark = figures_from_text(root)
    remarks += [remark] if remark else []
    facts = tuple(
        (field.get("name", "")[len(FACT) :], field.text or "")
        for field in root.iter("miscellaneous-field")
        if field.get("name", "").startswith(FACT)
    )
    return Prepared(root, divisions, _title(root), facts, tuple(remarks))


def _partwise(root: Any) -> Any:
    turned = etree.Element("score-partwise", dict(root.attrib))
    parts: dict[str, Any] = {}
    for child in root:
        if child.tag != "measure":
            turned.append(child)
            continue
        for part in child:
            name = part.get("id", "")
            if name not in parts:
                parts[name] = etree.Element("part", {"id": name})
            measure = etree.SubElement(parts[name], "measure", dict(child.attrib))
            measure.extend(list(part))
    turned.extend(parts.values())
    return turned


def _one_division(root: Any) -> int:
    """Bring all durations to the least common division, so that lengths can be read from them."""
    given = {_whole(item.text) for item in root.iter("divisions")} - {0}
    common = lcm(*given) if given else 1
    if common > _FINEST:
        raise ExerciseError(f"the file divides quarter notes into {common} parts")
    for part in root.iter("part"):
        factor = Fraction(common)
        for measure in part.iter("measure"):
            for item in list(measure.iter("divisions", "duration", "offset")):
                if item.tag == "divisions":
                    factor = Fraction(common, _whole(item.text) or 1)
                    item.text = str(common)
                else:
                    item.text = str(round(_duration(item.text, measure) * factor))
    return common


def _whole(text: str | None) -> int:
    text = (text or "").strip()
    return int(text) if text.isdecimal() and len(text) < 8 else 0


def _duration(text: str | None, measure: Any) -> Fraction:
    try:
        duration = Fraction((text or "0").strip()[:20])
    except (ValueError, ZeroDivisionError):
        bar = measure.get("number", "?")
        raise ExerciseError(f"bar {bar} has a duration {(text or '')[:20]!r}") from None
    if abs(duration) > _FINEST:
        raise ExerciseError(f"bar {measure.get('number', '?')} has a duration of {duration}")
    return duration


def _plain(stack: Any, before: Figuring, divisions: int, bar: str, remarks: list[str]) -> Figuring:
    """Put the stack's plain text in the place of its figures; the figuring then in force.

    A line drawn on from the figures is written `~` and its length in quarter notes after them.
    """
    figures = [
        XmlFigure(
            _child(figure, "prefix"),
            _child(figure, "figure-number"),
            _child(figure, "suffix"),
            _extend(figure),
        )
        for figure in stack.iter("figure")
    ]
    for figure in list(stack.iter("figure")):
        stack.remove(figure)
    try:
        figuring = from_musicxml(figures, before)
    except FigureError as error:
        remarks.append(f"bar {bar}: a figure was not taken ({error.what})")
        figuring = NOTHING
    if figuring == NOTHING:  # keep its duration: the next figure's place depends on it
        text = "."
    else:
        text = str(figuring)
        if any(figure.extend == "start" for figure in figures):
            text += _line(_child(stack, "duration"), divisions)
    written = etree.Element("figure")
    etree.SubElement(written, "figure-number").text = text
    stack.insert(0, written)
    return before if figuring.way is Way.EXTENDED else figuring


def _line(duration: str, divisions: int) -> str:
    return f" ~{Fraction(duration) / divisions}" if duration else ""


def _extend(figure: Any) -> Any:
    extend = figure.find("extend")
    if extend is None:
        return None
    kind = extend.get("type", "continue")
    # a line that begins at a figure with a number says nothing of that figure itself
    return kind if kind in ("continue", "stop") else "start"


def _child(figure: Any, name: str) -> str:
    found = figure.find(name)
    return "" if found is None or found.text is None else found.text.strip()


def _title(root: Any) -> str:
    for path in ("work/work-title", "movement-title"):
        text = root.findtext(path)
        if text and text.strip():
            return " ".join(text.split())
    for credit in root.iter("credit"):
        kinds = [kind.text for kind in credit.iter("credit-type")]
        words = " ".join(" ".join(w.text or "" for w in credit.iter("credit-words")).split())
        if "title" in kinds and words:
            return words
    return ""
