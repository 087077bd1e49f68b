"""Small MusicXML 4.0 files, written out by hand for tests: parts, voices, chords, figures."""

from __future__ import annotations

from pathlib import Path

from trainer.theory.pitch import LETTERS, Pitch

DIVISIONS = 4  # to the quarter


def note(text: str, voice: int = 1, staff: int = 0) -> str:
    """`c4:4` a quarter, `c4+e4:8` a chord, `r:4`, `c4:4~` tied on, `~c4:4` in, `grace c4`."""
    if text.startswith("grace "):
        return _one(text.removeprefix("grace "), None, voice, staff, grace=True)
    words, _, length = text.strip("~").partition(":")
    ties = ["stop"] * text.startswith("~") + ["start"] * text.endswith("~")
    return "".join(
        _one(word, int(length), voice, staff, chord=i > 0, ties=ties)
        for i, word in enumerate(words.split("+"))
    )


def _one(
    word: str,
    length: int | None,
    voice: int,
    staff: int,
    chord: bool = False,
    grace: bool = False,
    ties: list[str] | None = None,
) -> str:
    if word == "r":
        sound = "<rest/>"
    else:
        pitch = Pitch.parse(word)
        alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
        sound = (
            f"<pitch><step>{LETTERS[pitch.step].upper()}</step>{alter}"
            f"<octave>{pitch.octave}</octave></pitch>"
        )
    head = ("<grace/>" if grace else "") + ("<chord/>" if chord else "")
    duration = "" if length is None else f"<duration>{length}</duration>"
    tied = "".join(f'<tie type="{kind}"/>' for kind in ties or [])
    kinds = {16: "whole", 12: "half", 8: "half", 6: "quarter", 4: "quarter", 2: "eighth", 1: "16th"}
    dot = "<dot/>" if length in (6, 12) else ""
    kind = f"<type>{kinds[length or 2]}</type>{dot}"
    on_staff = f"<staff>{staff}</staff>" if staff else ""
    marks = "".join(f'<tied type="{kind}"/>' for kind in ties or [])
    notations = f"<notations>{marks}</notations>" if marks else ""
    place = f"<voice>{voice}</voice>{kind}{on_staff}"
    return f"<note>{head}{sound}{duration}{tied}{place}{notations}</note>"


def figured(*figures: str) -> str:
    """A `figured-bass` before the note it stands at; each figure `prefix|number|suffix`."""
    parts = []
    for figure in figures:
        prefix, number, suffix = (
            (*figure.split("|"), "", "")[:3] if "|" in figure else ("", figure, "")
        )
        parts.append(
            "<figure>"
            + (f"<prefix>{prefix}</prefix>" if prefix else "")
            + (f"<figure-number>{number}</figure-number>" if number else "")
            + (f"<suffix>{suffix}</suffix>" if suffix else "")
            + "</figure>"
        )
    return f"<figured-bass>{''.join(parts)}</figured-bass>"


def attributes(
    fifths: int = 0, beats: int = 4, clef: str = "G2", staves: int = 1, first: bool = True
) -> str:
    clefs = clef.split()
    written = "".join(
        f'<clef number="{i}"><sign>{c[0]}</sign><line>{c[1]}</line></clef>'
        for i, c in enumerate(clefs, 1)
    )
    return (
        "<attributes>"
        + (f"<divisions>{DIVISIONS}</divisions>" if first else "")
        + f"<key><fifths>{fifths}</fifths></key>"
        + f"<time><beats>{beats}</beats><beat-type>4</beat-type></time>"
        + (f"<staves>{staves}</staves>" if staves > 1 else "")
        + (written if first else "")
        + "</attributes>"
    )


def backup(length: int) -> str:
    return f"<backup><duration>{length}</duration></backup>"


def sheet(path: Path, parts: dict[str, list[str]], pickup: bool = False) -> Path:
    """Write parts (name -> measures as MusicXML) to a file."""
    names = "".join(
        f'<score-part id="P{i}"><part-name>{name}</part-name></score-part>'
        for i, name in enumerate(parts, 1)
    )
    bodies = ""
    for i, measures in enumerate(parts.values(), 1):
        first = 0 if pickup else 1
        bars = "".join(
            f'<measure number="{number}" implicit="{"no" if number else "yes"}">{measure}</measure>'
            for number, measure in enumerate(measures, first)
        )
        bodies += f'<part id="P{i}">{bars}</part>'
    path.write_text(
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0">'
        "<work><work-title>Sheet</work-title></work>"
        f"<part-list>{names}</part-list>{bodies}</score-partwise>",
        encoding="utf-8",
    )
    return path
