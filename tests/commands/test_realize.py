"""`mittelstimme realize`: solutions as notes, as JSON, as files; the nearest to a take."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import mido
import pytest
from lxml import etree

from tests.judging.lessons import lesson
from trainer.commands import main
from trainer.journal.writer import Writer
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Take
from trainer.practice.demo import perform, realization
from trainer.score.kern import write_exercise
from trainer.score.library import Library
from trainer.theory.pitch import Pitch

TUNE = "evening-rain"


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(["realize", *arguments])
    captured = capsys.readouterr()
    return int(end.value.code or 0), captured.out, captured.err


def test_the_json_has_a_note_per_voice_and_moment(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, TUNE, "--best", "3", "--json")
    report = json.loads(out)
    exercise = Library().find(TUNE)
    assert status == 0 and report["version"] == 1 and report["exercise"] == TUNE
    assert report["count"] > 10**6
    costs = [found["cost"] for found in report["realizations"]]
    assert len(costs) == 3 and costs == sorted(costs)
    voices = report["realizations"][0]["voices"]
    assert list(voices) == ["soprano", "alto", "tenor", "bass"]
    assert voices["bass"] == [str(moment.bass) for moment in exercise.moments]
    assert voices["soprano"] == [str(moment.melody) for moment in exercise.moments]
    assert all(Pitch.parse(note) for notes in voices.values() for note in notes)


def test_the_text_shows_the_voices_bar_by_bar_and_the_number(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, out, _ = run(capsys, TUNE, "--count", "--key", "g")
    assert status == 0
    assert "131,394,339 legal realizations" in out  # as many as in its own key
    assert "g minor" in out and "  soprano  g4" in out


def test_midi_and_musicxml_hold_four_voices(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    midi, xml = tmp_path / "rain.mid", tmp_path / "rain.musicxml"
    status, _, _ = run(capsys, TUNE, "--midi", str(midi), "--musicxml", str(xml))
    assert status == 0
    notes = [
        {message.note for message in track if message.type == "note_on"}
        for track in mido.MidiFile(midi).tracks
    ]
    assert sum(bool(keys) for keys in notes) == 4
    assert len(etree.parse(xml).findall("part-list/score-part")) >= 2


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "say what to realize"),
        (("no-such-tune",), "there is no exercise 'no-such-tune'"),
        ((TUNE, "--keep", "no-rule"), "'no-rule' is not a rule"),
        ((TUNE, "--midi", "tune.xml"), "name it tune.mid"),
        ((TUNE, "--from", "abc", "--best", "2"), "--best and --from do not go together"),
        ((TUNE, "--best", "0"), "0 is not in the range"),
    ],
)
def test_what_cannot_be_done_is_one_line(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], said: str
) -> None:
    status, out, err = run(capsys, *arguments)
    assert status == 2 and out == ""
    assert said in err and err.count("\n") == 1


def test_an_exercise_that_cannot_be_realized_names_file_bar_and_rule(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "stuck.krn"
    stuck = replace(lesson("C", "c3 d3", ",4", "c4 a4"), title="Stuck", id="stuck")
    path.write_text(write_exercise(stuck), encoding="utf-8")
    status, out, err = run(capsys, str(path))
    assert status == 2 and out == "" and err.count("\n") == 1
    assert f"{path}: bar 1 beat 2: " in err and "(unprepared-suspension)" in err


def test_the_nearest_to_a_take_keeps_what_was_right(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    exercise = Library().find(TUNE)
    conditions = Conditions(tempo=60.0)
    voicings = realization(exercise, conditions)
    events = perform(exercise, conditions, voicings, 10.0)
    half = tuple(event for event in events if event.time < 10.0 + 8.4)
    take = Take(
        TUNE, write_exercise(exercise), conditions, half, 10.0, datetime(2026, 3, 1, tzinfo=UTC)
    )
    log = tmp_path / "log.sqlite"
    with Writer(log) as writer:
        take_id = writer.begin(take)
        writer.events(take_id, take.events)
        writer.end(take_id, take, judge(take), finished=False)
    status, out, err = run(capsys, "--from", take_id, "--log", str(log), "--json")
    assert status == 0, err
    report = json.loads(out)
    assert report["exercise"] == TUNE
    voices = report["realizations"][0]["voices"]
    for name in ("alto", "tenor"):
        assert voices[name][:8] == [str(voicing[name]) for voicing in voicings[:8]]
        assert len(voices[name]) == len(exercise.moments)
    status, _, err = run(capsys, "sixths", "--from", take_id, "--log", str(log))
    assert status == 2 and f"is of {TUNE}, not of sixths" in err
