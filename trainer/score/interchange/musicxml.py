"""Exercises as MusicXML 4.0 (W3C Community Group), valid against its schema."""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import Any

from lxml import etree

from trainer import __version__
from trainer.score.exercise import Exercise, Note
from trainer.score.interchange.common import (
    Part,
    WrittenBar,
    facts,
    figures_in,
    length,
    parts,
    shows_accidental,
    written_bars,
)
from trainer.theory.figures import Figuring
from trainer.theory.figures_text import to_musicxml as figure_parts
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import LETTERS

_CLEFS = {"melody": ("G", 2, 0), "alto": ("G", 2, 0), "tenor": ("G", 2, -1), "bass": ("F", 4, 0)}
_ACCIDENTALS = {
    0: "natural",
    1: "sharp",
    -1: "flat",
    2: "double-sharp",
    -2: "flat-flat",
    3: "triple-sharp",
    -3: "triple-flat",
}
_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)


def to_musicxml(exercise: Exercise, *, solution: bool = False) -> str:
    """The text of a MusicXML file; with `solution` alto and tenor are written too.

    Raises ExerciseError where a note has no sign that lasts so long.
    """
    voices = parts(exercise, solution)
    divisions = _divisions(exercise, voices)
    root = etree.Element("score-partwise", {"version": "4.0"})
    etree.SubElement(etree.SubElement(root, "work"), "work-title").text = exercise.title
    identification = etree.SubElement(root, "identification")
    encoding = etree.SubElement(identification, "encoding")
    etree.SubElement(encoding, "software").text = f"Mittelstimme {__version__}"
    miscellaneous = etree.SubElement(identification, "miscellaneous")
    for name, fact in facts(exercise):
        etree.SubElement(miscellaneous, "miscellaneous-field", {"name": name}).text = fact
    part_list = etree.SubElement(root, "part-list")
    for number, part in enumerate(voices, 1):
        item = etree.SubElement(part_list, "score-part", {"id": f"P{number}"})
        etree.SubElement(item, "part-name").text = part.name.capitalize()
    for number, part in enumerate(voices, 1):
        element = etree.SubElement(root, "part", {"id": f"P{number}"})
        for bar in written_bars(exercise):
            _write_bar(element, exercise, part, bar, divisions, first_part=number == 1)
    etree.indent(root, " ")
    text: str = etree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8" standalone="no"?>\n{_DOCTYPE}\n{text}\n'


def _divisions(exercise: Exercise, voices: list[Part]) -> int:
    times = [note.duration for part in voices for note in part.notes]
    times += [at for at, _ in exercise.figures]
    return lcm(*(time.denominator for time in times))


def _write_bar(
    part_element: Any,
    exercise: Exercise,
    part: Part,
    bar: WrittenBar,
    divisions: int,
    *,
    first_part: bool,
) -> None:
    attributes = {"number": str(bar.number)}
    if bar.number == 0:
        attributes["implicit"] = "yes"
    measure = etree.SubElement(part_element, "measure", attributes)
    keys, metres = dict(exercise.keys), dict(exercise.metres)
    notes = list(part.notes)
    for index, note in enumerate(notes):
        if not bar.start <= note.onset < bar.end:
            continue
        _write_changes(measure, part, note.onset, keys, metres, divisions)
        if first_part and note.onset == 0:
            _write_tempo(measure, exercise)
        if part.name == "bass":
            _write_figures(measure, exercise, note, divisions)
        tied_on = index + 1 < len(notes) and notes[index + 1].tied
        shown = shows_accidental(exercise, part, index)
        _write_note(measure, note, tied_on, divisions, shown)
    if bar.end == exercise.length:
        barline = etree.SubElement(measure, "barline", {"location": "right"})
        etree.SubElement(barline, "bar-style").text = "light-heavy"


def _write_changes(
    measure: Any,
    part: Part,
    onset: Fraction,
    keys: dict[Fraction, Key],
    metres: dict[Fraction, Metre],
    divisions: int,
) -> None:
    if onset not in keys and onset not in metres:
        return
    attributes = etree.SubElement(measure, "attributes")
    if onset == 0:
        etree.SubElement(attributes, "divisions").text = str(divisions)
    if onset in keys:
        key = etree.SubElement(attributes, "key")
        etree.SubElement(key, "fifths").text = str(keys[onset].signature)
        etree.SubElement(key, "mode").text = keys[onset].mode
    if onset in metres:
        time = etree.SubElement(attributes, "time")
        etree.SubElement(time, "beats").text = str(metres[onset].beats)
        etree.SubElement(time, "beat-type").text = str(metres[onset].unit)
    if onset == 0:
        sign, line, octave = _CLEFS[part.name]
        clef = etree.SubElement(attributes, "clef")
        etree.SubElement(clef, "sign").text = sign
        etree.SubElement(clef, "line").text = str(line)
        if octave:
            etree.SubElement(clef, "clef-octave-change").text = str(octave)


def _write_tempo(measure: Any, exercise: Exercise) -> None:
    beat = length(exercise.metre.beat_length)
    quarters = float(Fraction(str(exercise.tempo)) * exercise.metre.beat_length)
    direction = etree.SubElement(measure, "direction", {"placement": "above"})
    metronome = etree.SubElement(etree.SubElement(direction, "direction-type"), "metronome")
    assert beat is not None
    etree.SubElement(metronome, "beat-unit").text = beat.type
    for _ in range(beat.dots):
        etree.SubElement(metronome, "beat-unit-dot")
    etree.SubElement(metronome, "per-minute").text = f"{exercise.tempo:g}"
    etree.SubElement(direction, "sound", {"tempo": f"{quarters:.10g}"})


def _write_figures(measure: Any, exercise: Exercise, note: Note, divisions: int) -> None:
    """The stacks that begin with or during a bass note, each with its duration, before it."""
    inside = figures_in(exercise, note.onset, note.end)
    if not inside:
        return
    late = inside[0][0] - note.onset
    if late:
        forward = etree.SubElement(measure, "forward")
        etree.SubElement(forward, "duration").text = _ticks(late, divisions)
    for at, until, figuring in inside:
        stack = etree.SubElement(measure, "figured-bass")
        _write_stack(stack, figuring)
        etree.SubElement(stack, "duration").text = _ticks(until - at, divisions)
    if late:
        backup = etree.SubElement(measure, "backup")
        etree.SubElement(backup, "duration").text = _ticks(late, divisions)


def _write_stack(stack: Any, figuring: Figuring) -> None:
    for one in figure_parts(figuring):
        figure = etree.SubElement(stack, "figure")
        for name, text in (
            ("prefix", one.prefix),
            ("figure-number", one.number),
            ("suffix", one.suffix),
        ):
            if text:
                etree.SubElement(figure, name).text = text
        if one.extend:
            etree.SubElement(figure, "extend", {"type": one.extend})


def _write_note(measure: Any, note: Note, tied_on: bool, divisions: int, shown: bool) -> None:
    element = etree.SubElement(measure, "note")
    if note.pitch is None:
        etree.SubElement(element, "rest")
    else:
        pitch = etree.SubElement(element, "pitch")
        etree.SubElement(pitch, "step").text = LETTERS[note.pitch.step].upper()
        if note.pitch.alter:
            etree.SubElement(pitch, "alter").text = str(note.pitch.alter)
        etree.SubElement(pitch, "octave").text = str(note.pitch.octave)
    etree.SubElement(element, "duration").text = _ticks(note.duration, divisions)
    ties = (["stop"] if note.tied else []) + (["start"] if tied_on else [])
    for kind in ties:
        etree.SubElement(element, "tie", {"type": kind})
    sign = length(note.duration)
    assert sign is not None
    etree.SubElement(element, "type").text = sign.type
    for _ in range(sign.dots):
        etree.SubElement(element, "dot")
    if shown and note.pitch is not None:
        etree.SubElement(element, "accidental").text = _ACCIDENTALS[note.pitch.alter]
    if sign.triplet:
        modification = etree.SubElement(element, "time-modification")
        etree.SubElement(modification, "actual-notes").text = "3"
        etree.SubElement(modification, "normal-notes").text = "2"
    if ties or note.fermata:
        notations = etree.SubElement(element, "notations")
        for kind in ties:
            etree.SubElement(notations, "tied", {"type": kind})
        if note.fermata:
            etree.SubElement(notations, "fermata")


def _ticks(time: Fraction, divisions: int) -> str:
    return str(int(time * divisions))
