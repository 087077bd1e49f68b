"""`mittelstimme assess`: a written realization is marked as a teacher would."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from trainer.commands.assess import command
from trainer.commands.practice import command as practice
from trainer.errors import ExerciseError

HEAD = (
    "**kern\t**fb\t**kern\t**kern\t**kern\n*Ibass\t*\t*Itenor\t*Ialto\t*Isoprn\n"
    "*clefF4\t*\t*clefGv2\t*clefG2\t*clefG2\n*k[]\t*\t*k[]\t*k[]\t*k[]\n*C:\t*\t*C:\t*C:\t*C:\n"
    "*M4/4\t*\t*M4/4\t*M4/4\t*M4/4\n*MM60\t*\t*MM60\t*MM60\t*MM60\n"
)
TAIL = "==\t==\t==\t==\t==\n*-\t*-\t*-\t*-\t*-\n"


def written(folder: Path, *lines: str) -> Path:
    """A file of lines `bass figures tenor alto soprano`, words apart by `|`."""
    body = "".join("\t".join(word.strip() for word in line.split("|")) + "\n" for line in lines)
    path = folder / "written.krn"
    path.write_text(f"!!!OTL: Written\n{HEAD}{body}{TAIL}", encoding="utf-8")
    return path


def assessed(path: Path, *options: str) -> tuple[int, dict[str, Any]]:
    result = CliRunner().invoke(command, [str(path), "--json", *options])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, json.loads(result.output)


GOOD = (
    "=1|=1|=1|=1|=1",
    "4C|.|4G|4e|4cc",
    "4F|.|4A|4f|4cc",
    "4G|.|4G|4d|4b",
    "4C|.|4G|4e|4cc",
)


def test_a_clean_realization_passes(tmp_path: Path) -> None:
    status, report = assessed(written(tmp_path, *GOOD))
    assert status == 0
    assert report["version"] == 1
    assert report["summary"] == {"moments": 4, "complete": 4, "gross": 0, "weak": 0, "remark": 0}


def test_consecutive_fifths_are_marked_with_place_and_voices(tmp_path: Path) -> None:
    status, report = assessed(
        written(tmp_path, "=1|=1|=1|=1|=1", "2C|.|2G|2e|2cc", "2D|.|2A|2f|2a")
    )
    assert status == 1
    fault = report["faults"][0]
    assert fault["rule"] == "consecutive-fifths"
    assert fault["weight"] == "gross"
    assert fault["voices"] == ["tenor", "bass"]
    assert (fault["moments"], fault["bar"], fault["beat"]) == ([0, 1], 1, 3.0)


def test_a_missing_figure_and_a_foreign_note_are_marked(tmp_path: Path) -> None:
    _, report = assessed(written(tmp_path, "=1|=1|=1|=1|=1", "2G|7|2d|2g|2b", "2C|.|2G|2f#|2cc"))
    first, second = report["moments"]
    assert (first["verdict"], first["missing"]) == ("incomplete", ["7"])
    assert (second["verdict"], second["foreign"]) == ("foreign", ["#4"])


def test_passing_notes_in_the_voices_are_no_faults(tmp_path: Path) -> None:
    _, report = assessed(
        written(
            tmp_path,
            "=1|=1|=1|=1|=1",
            "2C|.|4G|8e|4cc",
            ".|.|.|8f|.",
            ".|.|4c|4g|4cc",
            "2C|.|2c|2g|2ee",
        )
    )
    assert report["summary"]["gross"] == 0
    assert report["summary"]["complete"] == 2


def test_an_ornament_on_the_beat_stands_for_its_goal(tmp_path: Path) -> None:
    """The alto's f over C, held from the chord before, falls to e: an unwritten 4 3."""
    _, report = assessed(
        written(
            tmp_path,
            "=1|=1|=1|=1|=1",
            "2F|.|2A|2f|2cc",
            "2C|.|2G|4f|2cc",
            ".|.|.|4e|.",
        )
    )
    assert [m["verdict"] for m in report["moments"]] == ["complete", "complete"]


def test_fifths_between_ornaments_are_found_where_they_stand(tmp_path: Path) -> None:
    """Eighth notes in tenor and alto make fifths that no bass note would show."""
    _, report = assessed(
        written(
            tmp_path,
            "=1|=1|=1|=1|=1",
            "1C|.|2c|2g|1ee",
            ".|.|8c|8g|.",
            ".|.|8d|8a|.",
            ".|.|4c|4g|.",
        )
    )
    places = [
        (f["rule"], f["beat"], f["voices"]) for f in report["faults"] if f["weight"] == "gross"
    ]
    assert ("consecutive-fifths", 3.5, ["alto", "tenor"]) in places


def test_a_file_without_middle_voices_is_an_error() -> None:
    with pytest.raises(ExerciseError, match="no middle voices"):
        assessed(Path("exercises/evening-bells.krn"))


def test_the_top_voice_is_marked_unless_it_is_given(tmp_path: Path) -> None:
    """Octaves between the outer voices: the writer's, or those of the tune."""
    path = written(tmp_path, "=1|=1|=1|=1|=1", "2C|.|2e|2g|2cc", "2D|.|2d|2f|2dd")
    _, report = assessed(path)
    assert [(f["rule"], f["voices"]) for f in report["faults"] if f["weight"] == "gross"] == [
        ("consecutive-octaves", ["soprano", "bass"])
    ]
    status, report = assessed(path, "--given", "bass,melody")
    assert status == 0
    assert report["summary"]["gross"] == 0


def test_a_given_melody_may_be_outside_the_figuring_and_ones_own_may_not(tmp_path: Path) -> None:
    path = written(tmp_path, "=1|=1|=1|=1|=1", "2C|.|2G|2e|2aa", "2C|.|2G|2e|2cc")
    _, report = assessed(path)
    assert report["moments"][0]["foreign"] == ["6"]
    _, report = assessed(path, "--given", "bass,melody")
    assert report["moments"][0]["verdict"] == "complete"


def test_a_take_of_the_log_is_marked_by_its_id(tmp_path: Path) -> None:
    log = str(tmp_path / "log.db")
    played = CliRunner().invoke(
        practice,
        ["evening-bells", "--input", "demo", "--view", "none", "--quick", "--log", log, "--json"],
    )
    assert played.exit_code == 0, played.output
    take = json.loads(played.stdout)["takes"][0]["id"]
    result = CliRunner().invoke(command, [take[:8], "--log", log, "--json"])
    report = json.loads(result.stdout)
    assert report["summary"]["complete"] == report["summary"]["moments"] == 11


def test_a_fault_comes_with_what_would_have_been_right(tmp_path: Path) -> None:
    _, report = assessed(written(tmp_path, "=1|=1|=1|=1|=1", "2C|.|2G|2e|2cc", "2D|.|2A|2f|2a"))
    assert "avoids it" in report["faults"][0]["text"]
