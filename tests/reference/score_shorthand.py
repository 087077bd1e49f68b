"""MusicXML and MEI written out from a shorthand one can read, for the tests of the import."""

from __future__ import annotations

import re

_TYPES = {1: "16th", 2: "eighth", 4: "quarter", 8: "half", 12: "half", 16: "whole"}
_SIGNS = {"#": "sharp", "b": "flat", "n": "natural"}


def note(text: str, extra: str = "", inside: str = "") -> str:
    """`G2:16` a whole g2 (4 divisions a quarter), `F#4:4`, `r:8` a rest."""
    name, length = text.split(":")
    ticks = int(length)
    dot = "<dot/>" if ticks in (3, 6, 12) else ""
    kind = _TYPES.get(ticks, "quarter")
    if name == "r":
        head = "<rest/>"
    else:
        match = re.fullmatch(r"([A-G])([#b]*)(\d)", name)
        assert match is not None
        alter = len(match[2]) * (1 if "#" in match[2] else -1)
        said = f"<alter>{alter}</alter>" if alter else ""
        head = f"<pitch><step>{match[1]}</step>{said}<octave>{match[3]}</octave></pitch>"
    return f"<note>{inside}{head}<duration>{ticks}</duration><type>{kind}</type>{dot}{extra}</note>"


def notes(text: str, extra: str = "") -> str:
    return "".join(note(word, extra) for word in text.split())


def stack(*figures: str, duration: int = 0, attributes: str = "") -> str:
    """`figured-bass` of texts such as `6`, `#6` (prefix), `6#` (suffix), `6/slash`, `6>start`."""
    inner = ""
    for figure in figures:
        match = re.fullmatch(r"([#bn]?)(\d*|t\.s\.)([#bn]?)(?:/([a-z-]+))?(?:>([a-z]+))?", figure)
        assert match is not None, figure
        prefix, number, suffix, stroke, extend = match.groups()
        inner += "<figure>"
        inner += f"<prefix>{_SIGNS[prefix]}</prefix>" if prefix else ""
        inner += f"<figure-number>{number}</figure-number>" if number else ""
        inner += f"<suffix>{_SIGNS[suffix]}</suffix>" if suffix else ""
        inner += f"<suffix>{stroke}</suffix>" if stroke else ""
        inner += f'<extend type="{extend}"/>' if extend else ""
        inner += "</figure>"
    time = f"<duration>{duration}</duration>" if duration else ""
    return f"<figured-bass{attributes}>{inner}{time}</figured-bass>"


def go(ticks: int) -> str:
    """Forward (+) or backup (-) by so many divisions."""
    name = "forward" if ticks > 0 else "backup"
    return f"<{name}><duration>{abs(ticks)}</duration></{name}>"


def attributes(fifths: int = 0, time: str = "4/4", divisions: int = 4, more: str = "") -> str:
    beats, unit = time.split("/")
    return (
        f"<attributes><divisions>{divisions}</divisions><key><fifths>{fifths}</fifths></key>"
        f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>{more}</attributes>"
    )


def musicxml(*parts: tuple[str, str | list[str]]) -> str:
    """A score of (name, bars); the first bar is given its attributes if it has none."""
    listed, written = "", ""
    for number, (name, bars) in enumerate(parts, 1):
        listed += f'<score-part id="P{number}"><part-name>{name}</part-name></score-part>'
        body = ""
        for count, bar in enumerate([bars] if isinstance(bars, str) else bars, 1):
            head = attributes() if count == 1 and "<divisions>" not in bar else ""
            if bar.startswith("<measure"):
                body += bar
            else:
                body += f'<measure number="{count}">{head}{bar}</measure>'
        written += f'<part id="P{number}">{body}</part>'
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
        f"<part-list>{listed}</part-list>{written}</score-partwise>"
    )


def mei(bars: str, *, definition: str = 'key.sig="0" meter.count="4" meter.unit="4"') -> str:
    """A score of a treble staff 1 and a bass staff 2 around measures written in MEI."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="5.0"><meiHead><fileDesc>'
        "<titleStmt><title>Evening</title></titleStmt><pubStmt/></fileDesc></meiHead><music><body>"
        f'<mdiv><score><scoreDef {definition}><staffGrp><staffDef n="1" lines="5" '
        'clef.shape="G" clef.line="2"/><staffDef n="2" lines="5" clef.shape="F" clef.line="4"/>'
        f"</staffGrp></scoreDef><section>{bars}</section></score></mdiv></body></music></mei>"
    )


def mei_bar(top: str, low: str, beside: str = "", head: str = 'n="1"') -> str:
    """One measure; notes as `c5/4` (pitch and MEI duration), `f#4/2.` dotted."""
    return (
        f'<measure {head}><staff n="1"><layer n="1">{_mei_notes(top)}</layer></staff>'
        f'<staff n="2"><layer n="1">{_mei_notes(low)}</layer></staff>{beside}</measure>'
    )


def harm(stamp: float | str, *figures: str, staff: str = ' staff="2"') -> str:
    inner = "".join(f"<f>{figure}</f>" for figure in figures)
    return f'<harm{staff} tstamp="{stamp}"><fb>{inner}</fb></harm>'


def _mei_notes(text: str) -> str:
    found = ""
    for word in text.split():
        match = re.fullmatch(r"(r|([a-g])(#|b)?(\d))/(\d+)(\.?)", word)
        assert match is not None, word
        dots = ' dots="1"' if match[6] else ""
        if match[1] == "r":
            found += f'<rest dur="{match[5]}"{dots}/>'
            continue
        accid = {"#": ' accid="s"', "b": ' accid="f"', None: ""}[match[3]]
        found += f'<note pname="{match[2]}" oct="{match[4]}" dur="{match[5]}"{dots}{accid}/>'
    return found
