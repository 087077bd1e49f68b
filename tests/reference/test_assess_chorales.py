"""Chorales as another program writes them, assessed from their files.

Source: `music21.corpus.chorales.Iterator`, written as MusicXML by music21's own exporter, with the
figures of tests/reference/chorales.py put in as MusicXML 4.0 `figured-bass` elements. What comes
out of the file must be what the judge says of the same notes read directly: staves, pick-ups,
ties, fermatas and ornaments must not come between.
"""

from __future__ import annotations

import copy
from collections import Counter
from fractions import Fraction
from itertools import islice
from pathlib import Path
from typing import Any

import pytest
from lxml import etree
from music21 import corpus
from music21.musicxml.m21ToXml import GeneralObjectExporter

from tests.reference.chorales import Chorale, chorale_of
from trainer.judging.assessment import assess
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.theory.figures import Figuring
from trainer.theory.figures_text import to_musicxml

COUNT = 12


def exported(score: Any, chorale: Chorale, path: Path) -> Path:
    plain = copy.deepcopy(score)
    for part in plain.parts:
        for element in part.recurse().getElementsByClass("RepeatMark"):
            element.activeSite.remove(element)
    root = etree.fromstring(GeneralObjectExporter(plain).parse())
    divisions = 1
    at = Fraction(0)
    figures = dict(chorale.exercise.figures)
    bass = root.findall("part")[-1]
    for measure in bass.findall("measure"):
        for element in list(measure):
            if element.tag == "attributes" and element.find("divisions") is not None:
                divisions = int(element.findtext("divisions"))
            if element.tag != "note" or element.find("grace") is not None:
                continue
            tie = element.find("tie")
            if at in figures and (tie is None or tie.get("type") != "stop"):
                element.addprevious(written(figures[at]))
            at += Fraction(int(element.findtext("duration")), divisions)
    path.write_bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8"))
    return path


def written(figuring: Figuring) -> Any:
    stack = etree.Element("figured-bass")
    for figure in to_musicxml(figuring):
        element = etree.SubElement(stack, "figure")
        for tag, text in (
            ("prefix", figure.prefix),
            ("figure-number", figure.number),
            ("suffix", figure.suffix),
        ):
            if text:
                etree.SubElement(element, tag).text = text
        if figure.extend:
            etree.SubElement(element, "extend", type=figure.extend)
    return stack


def without_repeats(score: Any) -> bool:
    return not list(score.recurse().getElementsByClass("Repeat"))


@pytest.mark.slow
def test_a_chorale_read_from_a_file_is_judged_as_the_same_notes_read_directly(
    tmp_path: Path,
) -> None:
    scores = filter(without_repeats, corpus.chorales.Iterator(analysis=False))
    compared = 0
    for score in islice(scores, COUNT):
        chorale = chorale_of(score)
        if chorale is None:
            continue
        path = exported(score, chorale, tmp_path / f"chorale-{compared}.musicxml")
        found = assess(path, hands="2+2", given="none").verdict
        direct = Judge(chorale.exercise, Conditions(hands="2+2"), frozenset()).judge_realization(
            chorale.soundings
        )
        assert [m.outcome for m in found.moments] == [m.outcome for m in direct.moments]
        assert Counter((f.rule, f.voices) for f in found.faults) == Counter(
            (f.rule, f.voices) for f in direct.faults
        )
        compared += 1
    assert compared >= 6
