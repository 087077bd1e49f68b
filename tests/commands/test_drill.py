"""`drill`: planned, played, broken off at any instant, and taken up again."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest

from trainer.commands import main
from trainer.conducting.todays_drill import begun_path, open_drill, read_begun, write_begun
from trainer.errors import LogError
from trainer.folders import HOME
from trainer.journal.store import Journal
from trainer.practice.material import open_material
from trainer.practice.result import result_of
from trainer.review.results import pass_results
from trainer.score.kern import parse_exercise
from trainer.score.library import Library
from trainer.settings import load

DEMO = ("--input", "demo", "--view", "none", "--quick")


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(list(arguments))
    out, err = capsys.readouterr()
    return int(end.value.code or 0), out, err


def plan(capsys: pytest.CaptureFixture[str], *more: str) -> dict[str, Any]:
    status, out, err = run(capsys, "drill", "--plan-only", "--json", *more)
    assert status == 0, err
    shown = json.loads(out)
    assert isinstance(shown, dict)
    return shown


def shape(shown: dict[str, Any]) -> list[tuple[Any, ...]]:
    """The plan alone, without how far it is."""
    return [
        (part["kind"], part["title"], part["reason"], *(task["exercise"] for task in part["tasks"]))
        for part in shown["parts"]
    ]


def test_the_plan_is_shown_with_its_reasons_and_nothing_is_begun(
    capsys: pytest.CaptureFixture[str],
) -> None:
    shown = plan(capsys)
    assert (shown["format"], shown["version"]) == ("mittelstimme-drill", 1)
    assert shown["minutes"] == 20
    assert shown["step"]["number"] == 1
    assert all(part["reason"] and part["tasks"] for part in shown["parts"])
    assert not begun_path(load().player).exists()
    status, out, _ = run(capsys, "drill", "--plan-only")
    assert status == 0
    assert "why" in out
    assert "step 1 of the course" in out


def test_a_drill_is_played_to_its_end_within_its_minutes(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, out, err = run(capsys, "drill", "--minutes", "3", "--json", *DEMO)
    assert status == 0, err
    played = json.loads(out)
    assert played["done"]
    assert played["next"] is None
    assert len(played["takes"]) >= 5
    assert played["minutes_spent"] <= 3.5
    status, out, _ = run(capsys, "drill", *DEMO)
    assert status == 0


def test_a_second_plan_on_one_day_is_begun_only_when_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    run(capsys, "drill", "--minutes", "2", *DEMO)
    status, out, _ = run(capsys, "drill", "--minutes", "2", *DEMO)
    assert status == 0
    assert "done" in out
    status, out, _ = run(capsys, "drill", "--minutes", "2", "--again", "--json", *DEMO)
    assert json.loads(out)["takes"]


def test_parts_can_be_passed_over_and_the_rest_shortened(
    capsys: pytest.CaptureFixture[str],
) -> None:
    now = datetime.now().astimezone()
    player = load().player
    drill = open_drill(player, open_material(Library()), (), now, minutes=12)
    write_begun(begun_path(player), drill.begun)
    status, out, _ = run(
        capsys, "drill", "--minutes", "2", "--skip", "due", "--skip", "warm-up", "--json", *DEMO
    )
    assert status == 0
    played = json.loads(out)
    passes = {
        part["kind"]: sum(task["passes"] for task in part["tasks"]) for part in played["parts"]
    }
    assert passes.pop("due") == 0
    assert sum(passes.values()) > 0
    assert "due" in [part["kind"] for part in played["parts"] if part["skipped"]]


def test_the_rung_and_the_criteria_are_said_before_and_after_a_pass(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, out, _ = run(capsys, "drill", "--minutes", "3", *DEMO)
    assert status == 0
    assert "two good passes to the next rung" in out
    assert "asked: 90% of the chords complete, 75% in time" in out
    assert "good: harmony 100%" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--minutes", "0"), "--minutes"),
        (("--minutes", "nine"), "--minutes"),
        (("--skip", "everything"), "--skip"),
        (("--quick",), "--input demo"),
    ],
)
def test_what_cannot_be_meant_is_one_line_and_status_2(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], words: str
) -> None:
    status, out, err = run(capsys, "drill", *arguments)
    assert (status, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1


def test_what_is_read_from_the_log_is_what_the_verdicts_say(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The quick reading of many passes against a reading of every take and verdict whole."""
    run(capsys, "settings", "set", "begin_at", "13")
    run(capsys, "drill", "--minutes", "4", *DEMO)
    with closing(Journal.open(None, write=False)) as journal:
        whole = [
            result_of(
                take,
                verdict,
                parse_exercise(take.exercise, file="log"),
                finished=summary.state == "finished",
                seconds=summary.seconds,
            )
            for summary, take, verdict in journal.passes(load().player.id)
            if verdict is not None
        ]
        quick = pass_results(journal, load().player.id)
    assert len(quick) > 4
    assert list(reversed(quick)) == whole
    assert any(answer.think_s for result in quick for answer in result.answers)


# ── broken off ───────────────────────────────────────────────────────────────────────────────


def test_killed_at_any_instant_the_drill_goes_on_where_it_was(
    _own_home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Twelve times killed with SIGKILL in the midst of a pass; what was kept is there."""
    chance = Random(4)
    first = plan(capsys, "--minutes", "60")
    environment = {**os.environ, HOME: str(_own_home)}
    command = [sys.executable, "-m", "trainer", "drill", "--minutes", "60", *DEMO]
    before, thought = 0, []
    for _ in range(12):
        process = subprocess.Popen(
            command,
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        assert process.stderr is not None
        process.stderr.readline()  # the first pass has begun
        kept = _finished_passes()
        while _finished_passes() < kept + 2:  # however long this machine takes over them
            assert process.poll() is None, "the drill ended by itself"
            process.stderr.readline()
        for _ in range(chance.randrange(12)):  # and then somewhere within the next ones
            process.stderr.readline()
        process.send_signal(signal.SIGKILL)
        process.wait()
        now = plan(capsys)
        assert shape(now) == shape(first)
        passes = sum(task["passes"] for part in now["parts"] for task in part["tasks"])
        assert passes >= before
        before = passes
        status, _, err = run(capsys, "log", "verify")
        assert status == 0, err
        thought.append(now["minutes_spent"])
    assert before > 12
    assert thought == sorted(thought)


def _finished_passes() -> int:
    """How many the log holds, read beside the program that writes it."""
    with closing(Journal.open(None, write=False)) as journal:
        return sum(one.state == "finished" for one in journal.takes(load().player.id))


def test_without_the_small_file_the_day_counts_from_its_beginning(
    capsys: pytest.CaptureFixture[str],
) -> None:
    run(capsys, "drill", "--minutes", "2", *DEMO)
    begun_path(load().player).unlink()
    assert plan(capsys, "--minutes", "2")["parts"]


def test_a_damaged_small_file_is_named_and_left_alone(
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = begun_path(load().player)
    for text in ("{", '{"day": "2026-03-02"}', "[]", '{"day": 3, "at": "x"}', "\0\0"):
        path.write_text(text)
        status, _, err = run(capsys, "drill", "--plan-only")
        assert status == 2
        assert err.startswith(f"mittelstimme: {path}:")
        assert err.count("\n") == 1
        assert path.read_text() == text


def test_what_was_begun_is_kept_whole() -> None:
    settings, library = load(), Library()
    material = open_material(library)
    now = datetime.now().astimezone()
    drill = open_drill(settings.player, material, (), now, minutes=14, skip=("sight",))
    path = begun_path(settings.player)
    assert read_begun(path, now) is None
    write_begun(path, drill.begun)
    assert read_begun(path, now) == drill.begun
    assert drill.begun.skipped == ("sight",)
    assert read_begun(path, now + timedelta(days=1)) is None  # another day, another plan
    back = read_begun(path, now - timedelta(seconds=1))
    assert back is not None
    assert back.at == now - timedelta(seconds=1)  # a clock set back does not hide what is played


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    settings = load()
    now = datetime.now().astimezone()
    begun = open_drill(settings.player, open_material(Library()), (), now).begun
    with pytest.raises(LogError, match="cannot be written"):
        write_begun(blocked / "drill.json", begun)


def test_where_nothing_can_be_kept_the_plan_is_played_all_the_same(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    monkeypatch.setenv(HOME, str(blocked / "home"))
    status, out, err = run(capsys, "drill", "--minutes", "1", *DEMO)
    assert status == 0, err
    assert "going on without a log" in err
    assert "the plan may begin anew" in out


def test_passes_dated_in_the_future_are_said_and_left_out(
    capsys: pytest.CaptureFixture[str],
) -> None:
    from dataclasses import replace

    from trainer.practice.past import past_of

    run(capsys, "drill", "--minutes", "2", *DEMO)
    with Journal.open() as journal:
        results = pass_results(journal, load().player.id)
    assert len(results) > 3
    now = datetime.now().astimezone()
    ahead = [replace(one, at=one.at + timedelta(days=400)) for one in results[:2]]
    past = past_of((*ahead, *results[2:]), open_material(Library()), now)
    assert past.left_out == 2


def test_a_slip_in_a_command_is_answered_with_a_near_name(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for arguments, words in (
        (("dril",), "did you mean drill?"),
        (("settings", "sett"), "did you mean set?"),
        (("log", "nothing-like-it"), "`mittelstimme log --help` lists them"),
    ):
        status, out, err = run(capsys, *arguments)
        assert (status, out) == (2, "")
        assert words in err
        assert err.count("\n") == 1


def test_the_help_of_a_group_tells_each_command_in_a_whole_sentence(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for group in ("settings", "log", "keyboard", "exercises"):
        status, out, _ = run(capsys, group, "--help")
        assert status == 0
        assert "..." not in out.partition("Commands:")[2]
