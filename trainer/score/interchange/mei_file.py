"""Exercises as MEI 5, as verovio reads them without a warning."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from lxml import etree

from trainer import __version__
from trainer.score.exercise import Exercise, Note
from trainer.score.interchange.common import (
    Part,
    WrittenBar,
    facts,
    length,
    parts,
    shows_accidental,
    written_bars,
)
from trainer.theory.figures_text import to_mei as figure_texts
from trainer.theory.pitch import LETTERS

_NAMESPACE = "http://www.music-encoding.org/ns/mei"
_ID = "{http://www.w3.org/XML/1998/namespace}id"
_CLEFS = {"melody": ("G", "2"), "alto": ("G", "2"), "tenor": ("G", "2"), "bass": ("F", "4")}
_DURATIONS = {
    "long": "long",
    "breve": "breve",
    "whole": "1",
    "half": "2",
    "quarter": "4",
    "eighth": "8",
    "16th": "16",
    "32nd": "32",
    "64th": "64",
}
_ACCIDENTALS = {0: "n", 1: "s", -1: "f", 2: "ss", -2: "ff", 3: "ts", -3: "tf"}


def to_mei(exercise: Exercise, *, solution: bool = False) -> str:
    """The text of an MEI file; with `solution` alto and tenor are written too.

    Raises ExerciseError where a note has no sign that lasts so long.
    """
    voices = parts(exercise, solution)
    root = etree.Element("mei", {"xmlns": _NAMESPACE, "meiversion": "5.0"})
    _write_head(root, exercise)
    body = etree.SubElement(etree.SubElement(root, "music"), "body")
    score = etree.SubElement(etree.SubElement(body, "mdiv"), "score")
    _write_definition(score, exercise, voices)
    section = etree.SubElement(score, "section")
    metres, keys = dict(exercise.metres), dict(exercise.keys)
    for bar in written_bars(exercise):
        if bar.start and (bar.start in metres or bar.start in keys):
            _write_changes(etree.SubElement(section, "scoreDef"), exercise, bar.start)
        _write_bar(section, exercise, voices, bar)
    etree.indent(root, " ")
    text: str = etree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _write_head(root: Any, exercise: Exercise) -> None:
    head = etree.SubElement(root, "meiHead")
    description = etree.SubElement(head, "fileDesc")
    titles = etree.SubElement(description, "titleStmt")
    etree.SubElement(titles, "title").text = exercise.title
    etree.SubElement(description, "pubStmt")
    encoding = etree.SubElement(head, "encodingDesc")
    programs = etree.SubElement(encoding, "appInfo")
    program = etree.SubElement(programs, "application", {"version": __version__})
    etree.SubElement(program, "name").text = "Mittelstimme"
    works = etree.SubElement(head, "workList")
    work = etree.SubElement(works, "work")
    etree.SubElement(work, "title").text = exercise.title
    notes = etree.SubElement(work, "notesStmt")
    for name, text in facts(exercise):
        etree.SubElement(notes, "annot", {"type": name}).text = text


def _write_definition(score: Any, exercise: Exercise, voices: list[Part]) -> None:
    definition = etree.SubElement(score, "scoreDef")
    quarters = Fraction(str(exercise.tempo)) * exercise.metre.beat_length
    definition.set("midi.bpm", f"{float(quarters):.10g}")
    _write_changes(definition, exercise, Fraction(0))
    group = etree.SubElement(definition, "staffGrp", {"symbol": "bracket"})
    for number, part in enumerate(voices, 1):
        staff = etree.SubElement(group, "staffDef", {"n": str(number), "lines": "5"})
        etree.SubElement(staff, "label").text = part.name.capitalize()
        shape, line = _CLEFS[part.name]
        clef = etree.SubElement(staff, "clef", {"shape": shape, "line": line})
        if part.name == "tenor":
            clef.set("dis", "8")
            clef.set("dis.place", "below")


def _write_changes(definition: Any, exercise: Exercise, onset: Fraction) -> None:
    _write_key(definition, exercise, onset)
    metres = dict(exercise.metres)
    if onset in metres:
        metre = metres[onset]
        etree.SubElement(
            definition, "meterSig", {"count": str(metre.beats), "unit": str(metre.unit)}
        )


def _write_key(parent: Any, exercise: Exercise, onset: Fraction) -> None:
    key = dict(exercise.keys).get(onset)
    if key is not None:
        count = key.signature
        text = "0" if not count else f"{abs(count)}{'s' if count > 0 else 'f'}"
        etree.SubElement(parent, "keySig", {"sig": text, "mode": key.mode})


def _write_bar(section: Any, exercise: Exercise, voices: list[Part], bar: WrittenBar) -> None:
    measure = etree.SubElement(section, "measure", {"n": str(bar.number)})
    if bar.end - bar.start != exercise.metre_at(bar.start).bar_length:
        measure.set("metcon", "false")
    if bar.end == exercise.length:
        measure.set("right", "end")
    beside: list[Any] = []  # ties, fermatas and figures stand after the staves
    for number, part in enumerate(voices, 1):
        staff = etree.SubElement(measure, "staff", {"n": str(number)})
        layer = etree.SubElement(staff, "layer", {"n": "1"})
        for index, note in enumerate(part.notes):
            if bar.start < note.onset < bar.end:
                _write_key(layer, exercise, note.onset)
            if bar.start <= note.onset < bar.end:
                _write_note(layer, exercise, part, index, note, beside)
    beat = Fraction(4, exercise.metre_at(bar.start).unit)
    for at, figuring in exercise.figures:
        if bar.start <= at < bar.end:
            stamp = float(1 + (at - bar.start) / beat)
            harm = etree.Element("harm", {"staff": str(len(voices)), "tstamp": f"{stamp:.10g}"})
            stack = etree.SubElement(harm, "fb")
            for text in figure_texts(figuring):
                etree.SubElement(stack, "f").text = text
            beside.append(harm)
    measure.extend(beside)


def _write_note(
    layer: Any, exercise: Exercise, part: Part, index: int, note: Note, beside: list[Any]
) -> None:
    sign = length(note.duration)
    assert sign is not None
    name = f"{part.name}-{index}"
    attributes = {_ID: name, "dur": _DURATIONS[sign.type]}
    if sign.dots:
        attributes["dots"] = str(sign.dots)
    parent = layer
    if sign.triplet:
        parent = etree.SubElement(layer, "tuplet", {"num": "3", "numbase": "2"})
    if note.pitch is None:
        etree.SubElement(parent, "rest", attributes)
    else:
        pitch = note.pitch
        attributes |= {"pname": LETTERS[pitch.step], "oct": str(pitch.octave)}
        element = etree.SubElement(parent, "note", attributes)
        shown = shows_accidental(exercise, part, index)
        element.set("accid" if shown else "accid.ges", _ACCIDENTALS[pitch.alter])
    if index + 1 < len(part.notes) and part.notes[index + 1].tied:
        ends = {"startid": f"#{name}", "endid": f"#{part.name}-{index + 1}"}
        beside.append(etree.Element("tie", ends))
    if note.fermata:
        beside.append(etree.Element("fermata", {"startid": f"#{name}", "place": "above"}))
