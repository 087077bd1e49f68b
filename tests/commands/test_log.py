"""`log` and `review` from the command line: what they print, and with which status they end."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.journal.samples import TAKE, play
from trainer.commands import main
from trainer.journal.store import Journal


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    """Status, stdout and stderr of a command."""
    capsys.readouterr()
    with pytest.raises(SystemExit) as ended:
        main([str(argument) for argument in arguments])
    printed = capsys.readouterr()
    return int(ended.value.code or 0), printed.out, printed.err


def told(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    """The object a command prints with `--json`; it ends with status 0."""
    status, out, err = run(capsys, *arguments, "--json")
    assert status == 0, err
    found: dict[str, Any] = json.loads(out)
    return found


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A log with two takes by a player who is not in the settings."""
    path = tmp_path / "log.sqlite"
    play(path)
    play(path)
    return path


def test_the_log_of_the_home_folder_is_meant_where_none_is_named(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, log: Path
) -> None:
    status, _, err = run(capsys, "review")
    assert status == 2 and "there is no log yet" in err and err.count("\n") == 1
    monkeypatch.setenv("MITTELSTIMME_LOG", str(log))
    assert told(capsys, "review")["totals"]["takes"] == 2


def test_review_prints_the_takes_whole(capsys: pytest.CaptureFixture[str], log: Path) -> None:
    found = told(capsys, "review", "--log", log, "--last", "1")
    assert (found["format"], found["version"]) == ("mittelstimme-review", 1)
    (take,) = found["takes"]
    assert take["exercise"] == TAKE.exercise_id and take["exercise_text"] == TAKE.exercise
    assert [next(iter(event)) for event in take["events"]] == [
        "down",
        "down",
        "pedal",
        "up",
        "pedal",
    ]
    assert take["verdict"]["faults"][0]["rule"] == "consecutive-fifths"


def test_what_is_exported_is_merged_elsewhere(
    capsys: pytest.CaptureFixture[str], log: Path, tmp_path: Path
) -> None:
    bundle, other = tmp_path / "one.bundle", tmp_path / "other.sqlite"
    assert told(capsys, "log", "export", bundle, "--log", log)["takes"] == 2
    (first,) = told(capsys, "log", "merge", bundle, "--log", other)["files"]
    (again,) = told(capsys, "log", "merge", bundle, "--log", other)["files"]
    assert (first["new"], again["new"], again["known"]) == (2, 0, 2)
    here, there = (told(capsys, "review", "--log", path) for path in (log, other))
    assert here["takes"] == there["takes"]


def test_a_log_that_is_whole_is_said_to_be(capsys: pytest.CaptureFixture[str], log: Path) -> None:
    status, out, _ = run(capsys, "log", "verify", "--log", log)
    assert (status, out) == (0, "2 takes, 2 markings, 4 moments: whole\n")


def test_a_damaged_log_gives_status_1_and_is_repaired_with_the_old_one_kept(
    capsys: pytest.CaptureFixture[str], log: Path
) -> None:
    with closing(sqlite3.connect(log)) as raw:
        raw.execute("UPDATE played SET takes = 7")
        raw.commit()
    status, out, _ = run(capsys, "log", "verify", "--log", log)
    assert status == 1 and "the sums are not those of the takes; repair: add them up again" in out
    mended = told(capsys, "log", "verify", "--repair", "--log", log)
    assert mended["left"] == [] and Path(mended["kept"]).is_file()
    assert told(capsys, "review", "--log", log)["totals"]["takes"] == 2


def test_takes_are_judged_again_and_the_old_marks_stay(
    capsys: pytest.CaptureFixture[str], log: Path
) -> None:
    before = told(capsys, "log", "remark", "--log", log)
    assert (before["judged"], before["changed"]) == (0, 0)  # these rules have judged them already
    done = told(capsys, "log", "remark", "--all", "--log", log)
    assert (done["judged"], done["changed"]) == (2, 2)  # the sample's marks were made up
    with Journal.open(log) as journal:
        for take in journal.takes():
            markings = journal.markings(take.id)
            assert [one.current for one in markings] == [False, True]
    assert told(capsys, "log", "verify", "--log", log)["left"] == []


@pytest.mark.parametrize(
    "arguments",
    [
        ("review", "--player", "nobody"),
        ("review", "--last", "0"),
        ("review", "--csv", "x.csv"),
        ("log", "export", "no/such/folder/x"),
        ("log", "merge", "no-such-file"),
        ("log", "assignment", "no-such-file"),
        ("review", "--class", "--assignment", "no-such-file"),
        ("assess", "ffff0000"),
    ],
)
def test_bad_input_is_one_line_and_status_2(
    capsys: pytest.CaptureFixture[str], log: Path, arguments: tuple[str, ...]
) -> None:
    status, out, err = run(capsys, *arguments, "--log", log)
    assert (status, out) == (2, "") and err.count("\n") == 1 and "Traceback" not in err


def test_a_player_who_is_several_must_be_named(
    capsys: pytest.CaptureFixture[str], log: Path, tmp_path: Path
) -> None:
    other = Path(shutil.copy(log, tmp_path / "copy.sqlite"))
    with closing(sqlite3.connect(other)) as raw:
        raw.executescript(
            "PRAGMA foreign_keys=OFF; UPDATE player SET id = 'z' || substr(id, 2), name = 'Ben';"
            "UPDATE take SET player_id = 'z' || substr(player_id, 2), id = 'z' || substr(id, 2);"
            "UPDATE played SET player_id = 'z' || substr(player_id, 2);"
            "UPDATE fluency SET player_id = 'z' || substr(player_id, 2);"
            "UPDATE fault_count SET player_id = 'z' || substr(player_id, 2);"
        )
    assert run(capsys, "log", "merge", other, "--log", log)[0] == 0
    status, _, err = run(capsys, "log", "export", tmp_path / "x", "--log", log)
    assert status == 2 and "whose takes" in err and "Ben" in err
    assert (
        told(capsys, "log", "export", tmp_path / "x", "--player", "Ben", "--log", log)["takes"] == 2
    )


def test_a_log_without_takes_makes_a_page_that_says_so(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    Journal.open(tmp_path / "empty.sqlite").close()
    page = tmp_path / "page.html"
    status, out, _ = run(capsys, "review", "--log", tmp_path / "empty.sqlite", "--html", page)
    assert (status, out) == (0, f"{page}\n")
    assert "Nothing has been played yet." in page.read_text(encoding="utf-8")
    assert run(capsys, "review", "--log", tmp_path / "empty.sqlite")[1:] == (
        "Nothing has been played yet.\n",
        "",
    )


def test_takes_whose_exercise_cannot_be_read_are_still_counted(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "log.sqlite"
    play(path, take=replace(TAKE, exercise="no exercise at all"))
    assert told(capsys, "review", "--log", path)["totals"]["takes"] == 1
    assert run(capsys, "review", "--log", path)[0] == 0
    page = tmp_path / "page.html"
    assert run(capsys, "review", "--log", path, "--html", page)[0] == 0
    status, out, _ = run(capsys, "log", "verify", "--log", path)
    assert status == 1 and "exercise text 1 cannot be read" in out
