"""The `exercises` commands from outside: what they print, their JSON, their exit status."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import mido
import pytest

from tests.score.many import fill
from trainer.commands import main
from trainer.score.kern import read_exercise

BROKEN = "**kern\t**fb\n*k[]\t*\n*C:\t*\n*M4/4\t*\n*MM60\t*\n=1\t=1\n1C\t.\n"


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(["exercises", *map(str, arguments)])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return int(end.value.code or 0), out, err


def report(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    status, out, _ = run(capsys, *arguments, "--json")
    assert status in (0, 1)
    value = json.loads(out)
    assert isinstance(value, dict) and value["version"] == 1
    return value


def test_list_filters_and_tells_in_json(capsys: pytest.CaptureFixture[str]) -> None:
    found = report(capsys, "list", "evening", "--metre", "3/4")["exercises"]
    assert {item["id"] for item in found} >= {"evening-lamp", "evening-river"}
    assert all(item["metre"] == "3/4" for item in found)
    status, out, _ = run(capsys, "list", "--sequence", "falling 7 6")
    assert status == 0 and "falling-seven-six" in out


def test_list_in_a_terminal_of_80_columns_keeps_ids_whole(
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, out, _ = run(capsys, "list", "octave")
    assert "rule-of-the-octave-c " in out


@pytest.mark.parametrize(
    "arguments", [("list", "--level", "x"), ("list", "--key", "H"), ("show", "nothing-like-it")]
)
def test_bad_input_is_one_line_and_status_2(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    status, out, err = run(capsys, *arguments)
    assert status == 2 and out == ""
    assert err.count("\n") == 1 and err.startswith("mittelstimme: ")


def test_show_gives_moments_and_the_file_itself(capsys: pytest.CaptureFixture[str]) -> None:
    shown = report(capsys, "show", "evening-bells", "--key", "Bb")
    assert shown["exercise"]["key"] == "Bb major"
    assert shown["moments"][0]["bass"].startswith("bb")
    _, text, _ = run(capsys, "show", "evening-bells", "--text")
    assert text.startswith("!!!OTL: Evening bells\n")
    _, table, _ = run(capsys, "show", "rule-of-the-octave@g")
    assert "6 4 3" in table and "g minor" in table


def test_check_is_quiet_about_good_pieces_and_fails_on_gross_ones(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert report(capsys, "check", "evening-bells", "evening-lamp")["gross"] == 0
    octaves = tmp_path / "octaves.krn"
    octaves.write_text(
        "!!!OTL: Octaves\n!!!level: 3\n!!!tags: trial\n**kern\t**fb\t**kern\n*k[]\t*\t*k[]\n"
        "*C:\t*\t*C:\n*M4/4\t*\t*M4/4\n*MM60\t*\t*MM60\n=1\t=1\t=1\n2C\t.\t2cc\n2D\t.\t2dd\n"
        "=2\t=2\t=2\n1C;\t.\t1cc;\n==\t==\t==\n*-\t*-\t*-\n"
    )
    status, out, _ = run(capsys, "check", octaves)
    assert status == 1
    assert "octaves: bar 1 beat 3: gross: " in out
    (tmp_path / "broken.krn").write_text(BROKEN)
    status, out, _ = run(capsys, "check", tmp_path)
    assert status == 1 and "2 checked" in out and "final barline" in out


def test_a_score_goes_out_transposed_and_comes_back_with_its_solution(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    files = [tmp_path / f"bells.{suffix}" for suffix in ("musicxml", "mxl", "mei", "krn", "mid")]
    outputs = [word for path in files for word in ("-o", path)]
    told = report(capsys, "export", "evening-bells", "--key", "D", "--solution", *outputs)
    assert told["files"] == [str(path) for path in files]
    assert len(mido.MidiFile(files[-1]).tracks) == 5
    first = None
    for path in files[:-1]:
        into = tmp_path / path.suffix[1:]
        done = report(capsys, "import", path, "--into", into)
        assert done["imported"] == 1
        exercise = read_exercise(Path(done["results"][0]["path"]))
        exercise = replace(exercise, id="evening-bells")  # a native file is called by its name
        assert exercise.alto and str(exercise.key) == "D major"
        assert first is None or exercise == first
        first = exercise


def test_a_folder_is_imported_though_one_file_fails(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    fill(tmp_path / "scores" / "deep", 5)
    (tmp_path / "scores" / "bad.musicxml").write_text("<score-partwise>")
    into = tmp_path / "into"
    status, out, err = run(capsys, "import", tmp_path / "scores", "--into", into)
    assert status == 1
    assert "5 of 6 files imported" in out
    assert err.count("\n") == 1 and "bad.musicxml" in err
    assert len(list(into.glob("*.krn"))) == 5
    status, _, err = run(capsys, "import", tmp_path / "scores", "--into", into)
    assert status == 1 and err.count("already") == 5
    status, out, _ = run(
        capsys, "import", tmp_path / "scores" / "deep", "--overwrite", "--into", into
    )
    assert status == 0 and "5 of 5" in out


def test_similar_finds_the_other_setting(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    from trainer.folders import data_folder

    (data_folder() / "exercises").mkdir(parents=True)
    target = data_folder() / "exercises" / "my-lamp.krn"
    run(capsys, "export", "evening-lamp", "--key", "Bb", "-o", target)
    found = report(capsys, "similar", "evening-lamp")["similar"]
    assert [item["id"] for item in found][:1] == ["my-lamp"]
    assert found[0]["likeness"] == 1.0


def test_a_take_is_exported_with_the_voices_that_were_played(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    practice = ["practice", "evening-bells", "--input", "demo", "--view", "none", "--quick"]
    with pytest.raises(SystemExit):
        main([*practice, "--json"])
    take = json.loads(capsys.readouterr().out)["takes"][0]["id"]
    path = tmp_path / "take.krn"
    assert run(capsys, "export", "--take", take, "-o", path)[0] == 0
    played = read_exercise(path)
    assert len(played.alto) == len(played.tenor) == len(played.moments)
    assert report(capsys, "check", path)["gross"] == 0


def test_export_needs_an_exercise_or_a_take(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    status, _, err = run(capsys, "export", "-o", tmp_path / "x.mei")
    assert status == 2 and "say what to export" in err
    status, _, err = run(capsys, "export", "evening-bells", "-o", "/proc/none/x.mei")
    assert status == 2 and "cannot be written" in err


def test_the_commands_run_as_a_program_of_their_own(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "trainer", "exercises", "list", "evening", "--json"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["exercises"]
