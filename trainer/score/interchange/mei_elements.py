"""Single elements of MEI 5: what they say, as plain values."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

from trainer.errors import ExerciseError

_DURATIONS = {"long": Fraction(16), "breve": Fraction(8), "maxima": Fraction(32)}


def reference(element: Any, name: str) -> str:
    """The id an attribute points at."""
    return (element.get(name) or "").lstrip("#")


def number(text: str | None) -> float | None:
    """A number written in an attribute, None if there is none."""
    try:
        return None if text is None else float(text)
    except ValueError:
        return None


def label(staff: Any) -> str:
    """The name of a staff, or of the group that holds it."""
    for element in (staff, staff.getparent()):
        if element is None or element.tag not in ("staffDef", "staffGrp"):
            continue
        label = element.find("label")
        text = element.get("label") or "" if label is None else "".join(label.itertext())
        if text.strip():
            return " ".join(text.split())
    return ""


def signature(element: Any) -> tuple[int, str] | None:
    """The signature in sharps (+) or flats (-), and the mode if it is given."""
    child = element if element.tag == "keySig" else element.find("keySig")
    text = element.get("keysig") or element.get("key.sig")
    mode = element.get("key.mode") or ""
    if child is not None:
        text, mode = child.get("sig") or text, child.get("mode") or mode
    match = re.fullmatch(r"([0-7])([sf]?)", text or "")
    if match is None:
        return None
    fifths = int(match[1])
    return (-fifths if match[2] == "f" else fifths), mode


def metre(element: Any) -> tuple[int, int] | None:
    """Beats and unit of the metre given, None if none is; raises ExerciseError."""
    child = element if element.tag == "meterSig" else element.find("meterSig")
    count, unit = element.get("meter.count"), element.get("meter.unit")
    sign = element.get("meter.sym")
    if child is not None:
        count, unit, sign = child.get("count"), child.get("unit"), child.get("sym")
    if not count and sign in ("common", "cut"):
        return (4, 4) if sign == "common" else (2, 2)
    if not (count and unit and re.fullmatch(r"\d+(\+\d+)*", count) and unit.isdecimal()):
        return None
    beats = sum(map(int, count.split("+")))
    if not (1 <= beats <= 99 and int(unit) in (1, 2, 4, 8, 16)):
        raise ExerciseError(f"the metre {count}/{unit} is none this program can count")
    return beats, int(unit)


def duration(element: Any, ratio: Fraction) -> Fraction:
    """In quarter notes; 0 if the element has none."""
    text = element.get("dur") or ""
    if text in _DURATIONS:
        plain = _DURATIONS[text]
    elif text.isdecimal() and 0 < int(text) <= 2048:
        plain = Fraction(4, int(text))
    else:
        return Fraction(0)
    dots = int(number(element.get("dots")) or len(element.findall("dot")))
    return plain * (2 - Fraction(1, 2 ** min(dots, 4))) * ratio


def without_line(texts: list[str]) -> tuple[list[str], Fraction]:
    """Texts without the note of how far their line is drawn, and that length."""
    reach = Fraction(0)
    plain = []
    for text in texts:
        match = re.fullmatch(r"(.*?) ?~(\d+(?:/[1-9]\d*)?)", text)
        if match:
            text, reach = match[1], Fraction(match[2])
        plain += [text] if text else []
    return plain, reach


def reach(harm: Any, offset: Fraction, length: Fraction, beat: Fraction) -> Fraction:
    """How far MEI says that an extender line is drawn, in quarter notes; 0 if it does not."""
    ends = [harm.get("tstamp2"), *(f.get("tstamp2") for f in harm.iter("f"))]
    for end in ends:
        match = re.fullmatch(r"(\d+)m\+(\d+(?:\.\d+)?)", end or "")
        if match:
            beats = Fraction(match[2]).limit_denominator(96)
            return int(match[1]) * length + (beats - 1) * beat - offset
    return Fraction(0)
