"""The native file is ordinary Humdrum: other readers find the same notes in it.

Sources: verovio's Humdrum reader (humlib) and music21's `humdrum.spineParser`, both independent
of this project; the SMuFL range U+EA50 to U+EA6F for the figures verovio gives out.
"""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import music21
import pytest
import verovio

from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise, Note
from trainer.score.kern import read_exercise

FILES = sorted(exercises_folder().glob("*.krn"))


def _pitches(voice: tuple[Note, ...]) -> list[tuple[int, float]]:
    return [(note.pitch.midi, float(note.duration)) for note in voice if note.pitch is not None]


def _voices(exercise: Exercise) -> list[tuple[Note, ...]]:
    voices = (exercise.bass, exercise.tenor, exercise.alto, exercise.melody)
    return [voice for voice in voices if voice]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_music21_reads_the_same_notes(path: Path) -> None:
    exercise = read_exercise(path)
    score = music21.converter.parse(path, format="humdrum")
    parts = sorted(score.parts, key=lambda part: int(str(part.id).split("_")[1]))
    assert len(parts) == len(_voices(exercise))
    for part, voice in zip(parts, _voices(exercise), strict=True):
        read = [(note.pitch.midi, float(note.quarterLength)) for note in part.recurse().notes]
        assert read == _pitches(voice)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_verovio_reads_the_same_notes_and_every_figure_at_its_place(path: Path) -> None:
    exercise = read_exercise(path)
    toolkit = verovio.toolkit()
    assert toolkit.loadFile(str(path))
    events = toolkit.renderToTimemap({"includeRests": False})
    sounding = [
        (Fraction(event["qstamp"]).limit_denominator(96), toolkit.getMIDIValuesForElement(name))
        for event in events
        for name in event.get("on", [])
    ]
    read = sorted((onset, values["pitch"]) for onset, values in sounding)
    written = sorted(
        (note.onset, note.pitch.midi)
        for voice in _voices(exercise)
        for note in voice
        if note.pitch is not None
    )
    assert read == written
    mei = toolkit.getMEI()
    digits = [
        [ord(sign) - 0xEA50 for sign in re.sub("<.*?>", "", fb) if 0xEA50 <= ord(sign) <= 0xEA62]
        for fb in re.findall("<fb.*?</fb>", mei, re.DOTALL)
    ]
    stacks = [figuring.figures for _, figuring in exercise.figures if figuring.figures]
    assert len(digits) == len(stacks)
    for found, figures in zip(digits, stacks, strict=True):
        assert len(found) == sum(figure.numeral is not None for figure in figures)
