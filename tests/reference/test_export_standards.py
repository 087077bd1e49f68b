"""What is exported, held to the standards it claims.

Sources: the W3C MusicXML 4.0 schema as shipped in the package `musicxml` (its xlink and xml parts
from xmlschema's); verovio's and music21's own readers.
"""

from __future__ import annotations

import importlib.util
import re
from dataclasses import replace
from pathlib import Path

import music21
import pytest
import verovio
import xmlschema
from hypothesis import HealthCheck, given, settings

from tests.score.strategies import exercises
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.interchange import export, to_mei, to_musicxml
from trainer.score.interchange.exporting import FORMATS
from trainer.score.kern import read_exercise

SHIPPED = [read_exercise(path) for path in sorted(exercises_folder().glob("*.krn"))]


@pytest.fixture(scope="module")
def schema() -> xmlschema.XMLSchema:
    parts = Path(xmlschema.__file__).parent / "schemas"
    found = importlib.util.find_spec("musicxml")
    assert found is not None and found.submodule_search_locations
    folder = Path(found.submodule_search_locations[0]) / "generate_classes"
    return xmlschema.XMLSchema(
        folder / "musicxml_4_0.xsd",
        locations={
            "http://www.w3.org/1999/xlink": str(parts / "XLINK" / "xlink.xsd"),
            "http://www.w3.org/XML/1998/namespace": str(parts / "XML" / "xml.xsd"),
        },
        use_location_hints=False,
        allow="local",
    )


def _without_doctype(text: str) -> str:
    return re.sub(r"<!DOCTYPE[^>]*>", "", text)


@pytest.mark.parametrize("exercise", SHIPPED, ids=lambda exercise: exercise.id)
def test_musicxml_of_shipped_pieces_is_valid(
    exercise: Exercise, schema: xmlschema.XMLSchema
) -> None:
    schema.validate(_without_doctype(to_musicxml(exercise, solution=True)))


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(exercise=exercises())
def test_musicxml_of_any_exercise_is_valid(exercise: Exercise, schema: xmlschema.XMLSchema) -> None:
    schema.validate(_without_doctype(to_musicxml(exercise, solution=True)))


def test_the_schema_would_notice_a_wrong_element(schema: xmlschema.XMLSchema) -> None:
    wrong = _without_doctype(to_musicxml(SHIPPED[0])).replace("<duration>", "<length>", 1)
    wrong = wrong.replace("</duration>", "</length>", 1)
    assert not schema.is_valid(wrong)


@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(exercise=exercises())
def test_verovio_loads_mei_without_a_warning(
    exercise: Exercise, capfd: pytest.CaptureFixture[str]
) -> None:
    capfd.readouterr()
    verovio.enableLog(verovio.LOG_WARNING)
    try:
        toolkit = verovio.toolkit()
        assert toolkit.loadData(to_mei(exercise, solution=True))
        toolkit.renderToSVG(1)
    finally:
        verovio.enableLog(verovio.LOG_OFF)
    assert capfd.readouterr().err == ""


def test_verovio_does_warn_of_mei_that_deserves_it(capfd: pytest.CaptureFixture[str]) -> None:
    text = to_mei(SHIPPED[0]).replace('pname="', 'pname="x', 1).replace('dur="4"', 'dur="q"', 1)
    verovio.enableLog(verovio.LOG_WARNING)
    try:
        verovio.toolkit().loadData(text)
    finally:
        verovio.enableLog(verovio.LOG_OFF)
    assert capfd.readouterr().err


@pytest.mark.parametrize("exercise", SHIPPED[:12], ids=lambda exercise: exercise.id)
def test_music21_reads_the_same_notes_from_musicxml(exercise: Exercise, tmp_path: Path) -> None:
    path = tmp_path / "there.musicxml"
    export(replace(exercise, alto=(), tenor=()), path)
    score = music21.converter.parse(path)
    voices = [voice for voice in (exercise.melody, exercise.bass) if voice]
    assert len(score.parts) == len(voices)
    for part, voice in zip(score.parts, voices, strict=True):
        read = [(n.pitch.midi, float(n.quarterLength)) for n in part.recurse().notes]
        assert read == [(n.pitch.midi, float(n.duration)) for n in voice if n.pitch is not None]


def test_every_format_is_written_and_a_wrong_suffix_refused(tmp_path: Path) -> None:
    for suffix in FORMATS:
        export(SHIPPED[0], tmp_path / f"there{suffix}")
        assert (tmp_path / f"there{suffix}").stat().st_size > 100
    with pytest.raises(Exception, match=r"\.doc is no format to write; use one of"):
        export(SHIPPED[0], tmp_path / "there.doc")
    assert not (tmp_path / "there.doc").exists()
