"""`exercises generate`: pieces to read at sight, printed or kept."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from trainer.commands import main
from trainer.score.kern import parse_exercise, read_exercise


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as end:
        main(["exercises", "generate", *arguments])
    assert isinstance(end.value.code, int)
    return end.value.code


def test_one_piece_is_printed_as_a_native_file(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--step", "9", "--key", "D", "--metre", "3/4", "--seed", "4") == 0
    piece = parse_exercise(capsys.readouterr().out)
    assert (str(piece.key), str(piece.metre), piece.level) == ("D major", "3/4", 9)


def test_several_are_kept_in_a_folder_and_reported(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "new"
    assert run("--step", "12", "--seed", "8", "--count", "3", "--out", str(out), "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["version"] == 1
    assert [one["seed"] for one in told["exercises"]] == [8, 9, 10]
    for one in told["exercises"]:
        assert read_exercise(one["file"]).id == one["id"]


def test_a_file_that_is_there_is_not_overwritten(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wish = ("--step", "9", "--seed", "5", "--out", str(tmp_path))
    assert run(*wish) == 0
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    assert run(*wish) == 2
    assert "the file is there already" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize(
    ("wish", "says"),
    [
        (("--step", "2"), "no phrases can be made at step 2"),
        (("--step", "9", "--metre", "waltz"), "'waltz' is not a metre"),
        (("--step", "9", "--key", "H"), "'H' is not a key"),
        (("--step", "9", "--count", "0"), "0 pieces cannot be made"),
        (("--step", "9", "--count", "2"), "several pieces need a place"),
        (("--step", "9", "--bars", "400"), "400 bars cannot be made"),
    ],
)
def test_a_wish_that_cannot_be_met_is_one_line_and_status_2(
    wish: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*wish) == 2
    error = capsys.readouterr().err
    assert says in error
    assert error.count("\n") == 1
