"""An exercise as MEI 5, every note, figure and moment with its own `xml:id`.

Two staves; the stems of the given voices point outward, so that the middle is free. Identifiers:
`melody-3` and `bass-3` (index of the written note in its voice), `alto-3` and `tenor-3` for the
middle voices, `figure-7` and `moment-7` (index of the moment), `bar-2`.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from typing import Literal

from lxml import etree

from trainer.engraving.note_values import Bar, Ratio, Value, bars, divided, ratio, values
from trainer.engraving.notes_on_paper import (
    Line,
    Piece,
    layers_of,
    line_of,
    pieces_of,
    shown_accidentals,
    stem_up,
)
from trainer.score.exercise import Exercise, Note, with_free_top
from trainer.theory.figures import Figuring, Sign, Way
from trainer.theory.key import Key
from trainer.theory.moment import Metre, Moment
from trainer.theory.pitch import LETTERS
from trainer.theory.voicing import MIDDLE, VoiceName, Voicing

Middle = Sequence[Voicing | None] | Literal["suggested"] | None

NAMESPACE = "http://www.music-encoding.org/ns/mei"
_XML_ID = "{http://www.w3.org/XML/1998/namespace}id"
_ACCIDENTALS = {-3: "tf", -2: "ff", -1: "f", 0: "n", 1: "s", 2: "x", 3: "xs"}
_SOUNDING = {-3: "tf", -2: "ff", -1: "f", 0: "n", 1: "s", 2: "ss", 3: "ts"}
# MEI 5, `f`: plain text with accidentals as characters, strokes as combining characters
_SIGNS = {
    Sign.SHARP: "♯",
    Sign.FLAT: "♭",
    Sign.NATURAL: "♮",
    Sign.DOUBLE_SHARP: "𝄪",
    Sign.DOUBLE_FLAT: "𝄫",
    Sign.STROKE: "\N{COMBINING SHORT SOLIDUS OVERLAY}",
    Sign.BACKSTROKE: "\N{COMBINING REVERSE SOLIDUS OVERLAY}",
    Sign.PLUS: "+",
}


def to_mei(
    exercise: Exercise,
    *,
    middle: Middle = None,
    breaks: frozenset[Fraction] = frozenset(),
    figures: bool = True,
    each_system_apart: bool = False,
) -> str:
    """The exercise as an MEI 5 document.

    `middle` adds the middle voices as further layers: the suggested solution, or a voicing per
    moment (None where nothing was played). A system begins at each score time in `breaks`,
    dividing a bar if need be. `figures` off leaves them out, for a player who knows them.
    `each_system_apart` begins a page with every system.
    """
    root = etree.Element("mei", nsmap={None: NAMESPACE}, meiversion="5.0")
    description = _inside(root, "meiHead", "fileDesc")
    _child(_child(description, "titleStmt"), "title").text = exercise.title
    _child(description, "pubStmt")
    score = _inside(root, "music", "body", "mdiv", "score")
    _definition(score, exercise)
    section = _child(score, "section")
    lines = voices(exercise, middle)
    signature, metre = exercise.key.signature, exercise.metre
    for bar in divided(bars(exercise), breaks):
        if bar.start in breaks and bar.start > 0:
            _child(section, "pb" if each_system_apart else "sb")
        if bar.start > 0:
            key, beats = exercise.key_at(bar.start), exercise.metre_at(bar.start)
            if (key.signature, beats) != (signature, metre):
                change = _child(section, "scoreDef")
                if key.signature != signature:
                    change.set("keysig", _signature(key))
                if beats != metre:
                    _metre(change, beats)
                signature, metre = key.signature, beats
        _bar(section, exercise, lines, bar, breaks, figures)
    text: str = etree.tostring(root, encoding="unicode", pretty_print=True)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + text


def voices(exercise: Exercise, middle: Middle) -> tuple[Line, ...]:
    """The voices that are printed, highest first."""
    lines: list[tuple[VoiceName, tuple[Note, ...]]] = [("soprano", exercise.melody)]
    if middle == "suggested":
        lines += [("alto", exercise.alto), ("tenor", exercise.tenor)]
    elif middle is not None:
        top = with_free_top(exercise, _as_notes(exercise, "soprano", middle))
        lines = [("soprano", top)]
        lines += [(voice, _as_notes(exercise, voice, middle)) for voice in MIDDLE]
    lines.append(("bass", exercise.bass))
    return tuple(line_of(voice, notes, exercise) for voice, notes in lines if notes)


def _as_notes(
    exercise: Exercise, voice: VoiceName, middle: Sequence[Voicing | None]
) -> tuple[Note, ...]:
    return tuple(
        Note(
            moment.onset,
            moment.duration,
            None if voicing is None else voicing[voice],
            fermata=moment.fermata and voice == "soprano",
        )
        for moment, voicing in zip(exercise.moments, middle, strict=True)
    )


def _definition(score: etree._Element, exercise: Exercise) -> None:
    definition = _child(score, "scoreDef", keysig=_signature(exercise.key))
    _metre(definition, exercise.metre)
    group = _child(definition, "staffGrp", symbol="brace")
    group.set("bar.thru", "true")
    for number, (shape, line) in enumerate((("G", "2"), ("F", "4")), start=1):
        staff = _child(group, "staffDef", n=str(number), lines="5")
        staff.set("clef.shape", shape)
        staff.set("clef.line", line)


def _signature(key: Key) -> str:
    size = abs(key.signature)
    return "0" if not size else f"{size}{'s' if key.signature > 0 else 'f'}"


def _metre(element: etree._Element, metre: Metre) -> None:
    element.set("meter.count", str(metre.beats))
    element.set("meter.unit", str(metre.unit))
    if (metre.beats, metre.unit) == (4, 4):
        element.set("meter.sym", "common")
    elif (metre.beats, metre.unit) == (2, 2):
        element.set("meter.sym", "cut")


def _bar(
    section: etree._Element,
    exercise: Exercise,
    lines: tuple[Line, ...],
    bar: Bar,
    breaks: frozenset[Fraction],
    figures: bool,
) -> None:
    measure = _child(section, "measure", **{_XML_ID: bar.id})
    if not bar.continued:
        measure.set("n", str(bar.number))
    whole = bar.end - bar.start == exercise.metre_at(bar.start).bar_length
    if not whole:
        measure.set("metcon", "false")
    if bar.end == exercise.length:
        measure.set("right", "end")
    elif bar.end in breaks and exercise.place(bar.end)[1] != 1:
        measure.set("right", "invis")
    pieces = [piece for line in lines for piece in pieces_of(line, bar)]
    upper = [p for p in pieces if p.upper]
    lower = [p for p in pieces if not p.upper]
    for number, staff_pieces in enumerate((upper, lower), start=1):
        staff = _child(measure, "staff", n=str(number))
        shown = shown_accidentals(staff_pieces, exercise.key_at(bar.start))
        layers = layers_of(staff_pieces)
        for n, layer_pieces in enumerate(layers, start=1):
            _layer(_child(staff, "layer", n=str(n)), layer_pieces, bar, shown, exercise)
        if number == 1:
            _moments(_child(staff, "layer", n=str(len(layers) + 1)), exercise, bar)
    _signs(measure, exercise, bar, pieces, lines, figures)


def _layer(
    layer: etree._Element,
    pieces: list[Piece],
    bar: Bar,
    shown: frozenset[str],
    exercise: Exercise,
) -> None:
    """The pieces of one voice on one staff, each at its onset, whatever lies between."""
    beat = exercise.metre_at(bar.start).beat_length

    def apart(stretch: Stretch) -> tuple[Ratio, int]:
        return ratio(stretch.duration), (stretch.onset - bar.start) // beat

    for (plain, _), group in groupby(_gapless(pieces, bar), key=apart):
        parent = layer
        if plain.number > 1:
            parent = _tuplet(layer, plain)
        for beamed, run in groupby(group, key=lambda s: _has_flag(s, plain)):
            stretches = list(run)
            into = _child(parent, "beam") if beamed and len(stretches) > 1 else parent
            for stretch in stretches:
                if isinstance(stretch, Gap):
                    _space(into, stretch.duration * plain.written)
                else:
                    _note(into, stretch, shown, plain.written)


@dataclass(frozen=True, slots=True)
class Gap:
    """Time in which a voice has nothing on this staff: it rests, or stands on the other one."""

    onset: Fraction
    duration: Fraction


Stretch = Piece | Gap


def _gapless(pieces: list[Piece], bar: Bar) -> Iterator[Stretch]:
    """What is written of a voice, with the silence between; only the bass rests in signs, as the
    others are the player's where they are not given."""
    at = bar.start
    for piece in pieces:
        if piece.pitch is None and piece.voice != "bass":
            continue  # the paper stays free
        if piece.onset > at:
            yield Gap(at, piece.onset - at)
        yield piece
        at = piece.onset + piece.duration


def _tuplet(layer: etree._Element, plain: Ratio) -> etree._Element:
    tuplet = _child(layer, "tuplet", num=str(plain.number), numbase=str(plain.base))
    tuplet.set("bracket.visible", "false")
    return tuplet


def _space(parent: etree._Element, duration: Fraction, **marked: str) -> None:
    for number, value in enumerate(values(duration)):
        _valued(_child(parent, "space", **(marked if number == 0 else {})), value)


def _has_flag(stretch: Stretch, plain: Ratio) -> bool:
    """Whether it is a note that joins a beam; what is shorter than a quarter as it is written."""
    if isinstance(stretch, Gap) or stretch.pitch is None:
        return False
    return stretch.duration * plain.written < 1


def _note(parent: etree._Element, piece: Piece, shown: frozenset[str], factor: Fraction) -> None:
    parts = values(piece.duration * factor)
    for number, value in enumerate(parts):
        name = piece.id if number == 0 else f"{piece.id}-{number}"
        if piece.pitch is None:
            _valued(_child(parent, "rest", **{_XML_ID: name}), value)
            continue
        last = number == len(parts) - 1
        if piece.under is not None:
            parent_of = _child(parent, "chord")
            _valued(parent_of, value)
            parent_of.set("stem.dir", "up" if stem_up(piece.under) else "down")
            _head(parent_of, piece, name, number, last, shown)
            under = piece.under.id if number == 0 else f"{piece.under.id}-{number}"
            _head(parent_of, piece.under, under, number, last, shown)
            continue
        note = _head(parent, piece, name, number, last, shown)
        _valued(note, value)
        note.set("stem.dir", "up" if stem_up(piece) else "down")


def _head(
    parent: etree._Element,
    piece: Piece,
    name: str,
    number: int,
    last: bool,
    shown: frozenset[str],
) -> etree._Element:
    """One note without its value: the `number`th of the signs its piece is written in."""
    assert piece.pitch is not None
    note = _child(
        parent,
        "note",
        **{_XML_ID: name},
        pname=LETTERS[piece.pitch.step],
        oct=str(piece.pitch.octave),
    )
    if name in shown:
        note.set("accid", _ACCIDENTALS[piece.pitch.alter])
    elif piece.pitch.alter:
        note.set("accid.ges", _SOUNDING[piece.pitch.alter])
    tied_in = piece.tied_in or number > 0
    tied_out = piece.tied_out or not last
    if tied_in or tied_out:
        note.set("tie", "m" if tied_in and tied_out else "t" if tied_in else "i")
    return note


def _moments(layer: etree._Element, exercise: Exercise, bar: Bar) -> None:
    """Spaces that carry the moments, so that each has its place across the page."""
    onsets = _moments_in(exercise, bar)
    if onsets and onsets[0].onset > bar.start:
        _timed_space(layer, onsets[0].onset - bar.start)
    ends = [m.onset for m in onsets[1:]] + [bar.end]
    for moment, following in zip(onsets, ends, strict=False):
        _timed_space(layer, following - moment.onset, **{_XML_ID: f"moment-{moment.index}"})


def _moments_in(exercise: Exercise, bar: Bar) -> Sequence[Moment]:
    """The moments of a bar, or of the part of one before or after a system's end."""
    first, after = (
        bisect_left(exercise.moments, at, key=lambda moment: moment.onset)
        for at in (bar.start, bar.end)
    )
    return exercise.moments[first:after]


def _timed_space(layer: etree._Element, duration: Fraction, **marked: str) -> None:
    plain = ratio(duration)
    parent = layer
    if plain.number > 1:
        parent = _tuplet(layer, plain)
        parent.set("num.visible", "false")
    _space(parent, duration * plain.written, **marked)


def _signs(
    measure: etree._Element,
    exercise: Exercise,
    bar: Bar,
    pieces: list[Piece],
    lines: tuple[Line, ...],
    figures: bool,
) -> None:
    notes = {line.voice: line.notes for line in lines}
    outer = [p for p in pieces if p.voice in ("soprano", "bass") and p.pitch is not None]
    tops = [(p.onset, p.onset + p.duration) for p in outer if p.voice == "soprano"]
    for piece in outer:
        end = piece.onset + piece.duration
        if notes[piece.voice][piece.index].fermata:
            if piece.tied_out and exercise.length != end:
                continue
            place = "above" if piece.voice == "soprano" else "below"
            if piece.voice == "bass" and any(begin < end <= over for begin, over in tops):
                continue  # one fermata, over the melody, is enough
            _child(measure, "fermata", startid=f"#{piece.id}", place=place)
    if not figures:
        return
    unit = exercise.metre_at(bar.start).unit
    for moment in _moments_in(exercise, bar):
        figuring = moment.figuring
        if not moment.figured or not (figuring.figures or figuring.way != Way.FIGURES):
            continue
        stamp = 1 + (moment.onset - bar.start) * unit / 4
        harm = _child(
            measure,
            "harm",
            **{_XML_ID: f"figure-{moment.index}"},
            staff="2",
            place="below",
            tstamp=f"{float(stamp):.6g}",
        )
        _figuring(_child(harm, "fb"), figuring)


def _figuring(stack: etree._Element, figuring: Figuring) -> None:
    if figuring.way is Way.EXTENDED:
        _child(stack, "f", extender="true").text = ""
    elif figuring.way is not Way.FIGURES:
        _child(stack, "f").text = figuring.way.value
    for figure in figuring.figures:
        numeral = "" if figure.numeral is None else str(figure.numeral)
        sign = "" if figure.sign is None else _SIGNS[figure.sign]
        _child(stack, "f").text = sign + numeral if figure.before else numeral + sign


def _valued(element: etree._Element, value: Value) -> None:
    element.set("dur", value.length)
    if value.dots:
        element.set("dots", str(value.dots))


def _child(parent: etree._Element, name: str, **attributes: str) -> etree._Element:
    return etree.SubElement(parent, name, attributes)


def _inside(parent: etree._Element, *names: str) -> etree._Element:
    for name in names:
        parent = _child(parent, name)
    return parent
