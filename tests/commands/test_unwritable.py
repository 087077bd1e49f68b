"""Homes that cannot be written: what only reads works all the same, and practice says what is so.

The real thing is tried: folder and files without the right to write, in a process that has not the
superuser's power to write all the same; and a home that cannot even be made.
"""

from __future__ import annotations

import ctypes
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from trainer.folders import HOME
from trainer.journal.store import Journal

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="capabilities of Linux")
PIECE = "evening-lamp"
QUICK = ("practice", PIECE, "--input", "demo", "--view", "none", "--quick")
_PR_CAPBSET_DROP, _CAP_DAC_OVERRIDE, _CAP_DAC_READ_SEARCH = 24, 1, 2  # linux/prctl.h, capability.h


def _as_anybody() -> None:
    """Give up the superuser's power over files, which the program begun next then has not."""
    if os.geteuid() == 0:
        libc = ctypes.CDLL(None)
        for power in (_CAP_DAC_OVERRIDE, _CAP_DAC_READ_SEARCH):
            assert libc.prctl(_PR_CAPBSET_DROP, power, 0, 0, 0) == 0


def run(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "trainer", *words],
        env={**os.environ, HOME: str(home), "SDL_AUDIODRIVER": "dummy"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=120,
        preexec_fn=_as_anybody,
    )
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A home with a log and settings that can only be read."""
    home = tmp_path_factory.mktemp("kept") / "home"
    assert run(home, *QUICK).returncode == 0
    for path in (*home.rglob("*"), home):
        path.chmod(path.stat().st_mode & ~0o222)
    yield home
    for path in (home, *home.rglob("*")):
        path.chmod(path.stat().st_mode | 0o200)


def test_the_home_is_really_not_to_be_written(kept: Path) -> None:
    code = "import pathlib, sys; pathlib.Path(sys.argv[1], 'x').touch()"
    words = [sys.executable, "-c", code, str(kept)]
    tried = subprocess.run(words, capture_output=True, text=True, preexec_fn=_as_anybody)
    assert "Permission denied" in tried.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("rules",),
        ("realize", PIECE),
        ("exercises", "list", "lamp"),
        ("exercises", "show", PIECE),
        ("settings",),
        ("review",),
        ("log", "verify"),
        ("log", "assignment"),
        ("drill", "--plan-only"),
    ],
)
def test_what_only_reads_reads_from_a_home_that_cannot_be_written(
    kept: Path, words: tuple[str, ...]
) -> None:
    done = run(kept, *words)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_review_page_is_written_elsewhere(kept: Path, tmp_path: Path) -> None:
    done = run(kept, "review", "--html", str(tmp_path / "page.html"))
    assert done.returncode == 0 and PIECE in (tmp_path / "page.html").read_text("utf-8")


@pytest.mark.parametrize("words", [("rules",), ("realize", PIECE), ("exercises", "list", "lamp")])
def test_what_only_reads_reads_without_any_home(words: tuple[str, ...]) -> None:
    done = run(Path("/dev/null/home"), *words)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("nowhere", [True, False])
def test_practice_is_played_and_one_line_says_that_nothing_is_kept(
    kept: Path, nowhere: bool
) -> None:
    done = run(Path("/dev/null/home") if nowhere else kept, *QUICK, "--json")
    assert done.returncode == 0
    assert json.loads(done.stdout)["takes"][0]["id"] is None
    (said,) = [line for line in done.stderr.splitlines() if not line.startswith("{")]
    assert said.endswith("going on without a log: nothing will be kept")


def test_what_is_played_without_a_home_is_kept_in_a_log_elsewhere(tmp_path: Path) -> None:
    for _ in range(2):
        log = str(tmp_path / "log.sqlite")
        assert run(Path("/dev/null/home"), *QUICK, "--log", log).returncode == 0
    with Journal.open(tmp_path / "log.sqlite") as journal:
        (player,) = [one for one in journal.players() if one.takes]
        assert player.takes == 2  # the same player both times


def test_a_setting_that_cannot_be_kept_is_one_line(kept: Path) -> None:
    done = run(kept, "settings", "set", "volume", "0.5")
    assert done.returncode == 2 and done.stderr.count("\n") == 1
    assert "cannot be written" in done.stderr
