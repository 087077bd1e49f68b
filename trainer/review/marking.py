"""A marked piece as a page of HTML, or as MusicXML with the marks as words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from itertools import pairwise

from lxml import etree

from trainer.judging.verdict import PassVerdict
from trainer.review.html import render
from trainer.review.sheet import Comment, Sheet
from trainer.score.exercise import Exercise, Note, with_free_top
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import UPPER, VoiceName


def marked_html(sheet: Sheet, under: str, made: datetime) -> str:
    """One marked piece as a page; `under` is the line below its title."""
    named = {one.rule for one in sheet.comments if one.rule}
    return render("marked.html", named, made, sheet=sheet, under=under)


def marked_musicxml(exercise: Exercise, said: Sequence[Comment]) -> str:
    """The four voices with each numbered comment as words above the bar it is heard in.

    Raises ExerciseError where a note has no sign that lasts so long.
    """
    from trainer.score.interchange.musicxml import to_musicxml

    root = etree.fromstring(to_musicxml(exercise, solution=True).encode())
    divisions = int(root.findtext(".//divisions") or "1")
    first = root.find("part")
    assert first is not None
    measures = list(first.iterfind("measure"))
    bars = _bar_starts(exercise, [m.get("number") or "" for m in measures])
    for one in reversed([one for one in said if one.number]):
        onset = exercise.moments[one.moment].onset if one.onset is None else one.onset
        which = max(i for i, start in enumerate(bars) if start <= onset)
        direction = etree.Element("direction", placement="above")
        words = etree.SubElement(etree.SubElement(direction, "direction-type"), "words")
        words.text = f"{one.number} {one.title} ({one.weight}): {one.text}"
        offset = (onset - bars[which]) * divisions
        etree.SubElement(direction, "offset", sound="no").text = str(round(offset))
        measures[which].insert(_after_attributes(measures[which]), direction)
    etree.indent(root, " ")
    text: str = etree.tostring(root, encoding="unicode")
    kind = (
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
        ' "http://www.musicxml.org/dtds/partwise.dtd">'
    )
    return f'<?xml version="1.0" encoding="UTF-8" standalone="no"?>\n{kind}\n{text}\n'


def _after_attributes(measure: etree._Element) -> int:
    return next((i for i, e in enumerate(measure) if e.tag != "attributes"), len(measure))


def _bar_starts(exercise: Exercise, numbers: list[str]) -> list[Fraction]:
    """Where each measure begins: the earliest score time whose bar has its number."""
    from trainer.engraving.note_values import bars

    starts = [bar.start for bar in bars(exercise)]
    if len(starts) != len(numbers):
        raise AssertionError("the bars of the page are not those of the file")
    return starts


def written_out(exercise: Exercise, verdict: PassVerdict) -> Exercise:
    """What was played, as written middle voices; where nothing was, rests.

    The melody too is the player's where none is given, or where it rests.
    """
    found: dict[VoiceName, tuple[Note, ...]] = {
        name: _voice(exercise, verdict, name) for name in UPPER
    }
    melody = with_free_top(exercise, found["soprano"])
    return replace(exercise, melody=melody, alto=found["alto"], tenor=found["tenor"])


def _voice(exercise: Exercise, verdict: PassVerdict, name: VoiceName) -> tuple[Note, ...]:
    heard = {m.index: m.voicing for m in verdict.moments if m.voicing is not None}
    notes: list[Note] = []
    for moment in exercise.moments:
        voicing = heard.get(moment.index)
        pitch: Pitch | None = None if voicing is None else voicing[name]
        for start, end in _within_bars(exercise, moment.onset, moment.onset + moment.duration):
            tied = pitch is not None and start != moment.onset
            notes.append(Note(start, end - start, pitch, tied))
    return tuple(notes)


def _within_bars(
    exercise: Exercise, start: Fraction, end: Fraction
) -> list[tuple[Fraction, Fraction]]:
    from trainer.engraving.note_values import bars

    edges = [bar.start for bar in bars(exercise) if start < bar.start < end]
    return list(pairwise([start, *edges, end]))
