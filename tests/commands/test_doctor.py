"""`doctor` as it is called: in a process of its own, on whatever machine this is."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

from trainer import __version__
from trainer.checkup.examinations import EXAMINATIONS
from trainer.folders import HOME
from trainer.settings import load, settings_path


def doctor(*arguments: str, **changed: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "trainer", *arguments],
        capture_output=True,
        text=True,
        env={**os.environ, **changed},
        timeout=120,
    )


def test_every_thing_has_a_line_and_what_is_amiss_a_remedy(_own_home: Path) -> None:
    done = doctor("doctor")
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stderr == ""
    *lines, last = done.stdout.splitlines()
    assert last == "ready for practice"
    for line in lines:
        marked = re.fullmatch(r"(ok|- |! |!!) ([\w ]+): (.+)", line)
        assert marked, line
        assert marked[1] == "ok" or "; " in marked[3], line
    told = " ".join(lines)
    for name in ("Python", "MIDI", "keyboards", "sound", "display", "fonts", "log", "stops"):
        assert f" {name}: " in told
    assert list(_own_home.iterdir()) == []


def test_as_json_the_same_is_one_object() -> None:
    done = doctor("doctor", "--json")
    report = json.loads(done.stdout)
    assert done.returncode == 0 and report["able"] is True
    assert set(EXAMINATIONS) - {"MIDI"} <= {one["about"] for one in report["findings"]} | {
        "program"
    }
    for one in report["findings"]:
        assert one["state"] in ("good", "without", "wrong", "fatal")
        assert bool(one["remedy"]) == (one["state"] != "good"), one


def test_status_1_only_where_practice_cannot_begin(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    unwritable = doctor("doctor", **{HOME: str(tmp_path / "file" / "home")})
    assert unwritable.returncode == 0 and "! " in unwritable.stdout
    load()
    settings_path().write_text("player = \n")
    broken = doctor("doctor")
    assert broken.returncode == 1
    assert "!! settings: " in broken.stdout and "Traceback" not in broken.stderr
    assert broken.stdout.splitlines()[-1].startswith("practice cannot begin")
    practice = doctor("practice", "--input", "demo", "--view", "none", "--quick")
    assert practice.returncode == 2  # it is as doctor says


def test_the_version_is_told() -> None:
    done = doctor("--version")
    assert done.returncode == 0 and done.stdout.strip() == f"mittelstimme, version {__version__}"
