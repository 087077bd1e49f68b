"""Every command where the surroundings are poor: no Unicode, a full disk, no display, odd names."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

PIECE = "!!!OTL: Grüne Gasse\n**kern\t**fb\n*k[]\t*\n*C:\t*\n*M4/4\t*\n*MM60\t*\n"
PIECE += "=1\t=1\n1C;\t.\n==\t==\n*-\t*-\n"


def run(
    home: Path, *arguments: str | bytes, out: str = "", **surroundings: str
) -> tuple[int, str, str]:
    poor = {"MITTELSTIMME_HOME": str(home), **surroundings}
    environment = {**os.environ, **poor}
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER"):
        environment.pop(name, None)
    command = [sys.executable, "-m", "trainer", *arguments]
    with Path(out or os.devnull).open("wb") as sink:
        done = subprocess.run(
            command,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=sink if out else subprocess.PIPE,
            stderr=subprocess.PIPE,
            timeout=60,
        )
    said = done.stderr.decode(errors="replace")
    assert "Traceback" not in said
    return done.returncode, (done.stdout or b"").decode(errors="replace"), said


def test_what_a_terminal_without_unicode_cannot_show_stops_nothing(tmp_path: Path) -> None:
    piece = tmp_path / "gasse.krn"
    piece.write_text(PIECE, encoding="utf-8")
    status, out, _ = run(tmp_path, "exercises", "show", str(piece), PYTHONIOENCODING="ascii")
    assert status == 0 and "Gr?ne Gasse" in out
    wish = ("exercises", "show", str(piece), "--json")
    status, out, _ = run(tmp_path, *wish, PYTHONIOENCODING="ascii")
    assert status == 0 and json.loads(out)["exercise"]["title"] == "Grüne Gasse"


@pytest.mark.skipif(sys.platform == "win32", reason="Windows hands over Unicode only")
def test_a_word_that_is_not_utf8_gives_one_line(tmp_path: Path) -> None:
    status, _, said = run(tmp_path, "exercises", "list", b"gr\xfcne", PYTHONUTF8="1")
    assert status == 2 and said.count("\n") == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device here")
@pytest.mark.parametrize("wish", [("rules",), ("rules", "--json"), ("exercises", "list")])
def test_a_full_disk_under_stdout_gives_one_line(tmp_path: Path, wish: tuple[str, ...]) -> None:
    status, _, said = run(tmp_path, *wish, out="/dev/full")
    assert status == 2 and "full" in said and said.count("\n") == 1


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="there is always a display")
@pytest.mark.parametrize("command", ["practice", "drill"])
def test_a_window_without_a_display_is_refused(tmp_path: Path, command: str) -> None:
    status, _, said = run(tmp_path, command, "--input", "demo", "--view", "window")
    assert status == 2 and "there is no display" in said


@pytest.mark.parametrize(
    ("wish", "says"),
    [
        (("exercises", "list", "--metre", "5"), "not a metre"),
        (("exercises", "list", "--level", "8-3"), "no levels"),
        (("exercises", "check", "."), "no exercise in"),
        (("exercises", "show", "notes.pdf"), "import"),
        (("exercises", "generate", "--step", "9", "--out", "notes.pdf"), "not a folder"),
        (("practice", "--loop", "--passes", "2"), "exclude each other"),
        (("log", "merge", "."), "folder"),
        (("log", "merge", "empty.bundle"), "empty"),
        (("settings", "set", "tolerance", "-1"), "from 0.02 to 0.5"),
    ],
)
def test_a_slip_of_the_pen_gives_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wish: tuple[str, ...], says: str
) -> None:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[2]))
    monkeypatch.chdir(tmp_path)
    Path("notes.pdf").write_bytes(b"%PDF-1.4")
    Path("empty.bundle").touch()
    status, _, said = run(tmp_path / "home", *wish)
    assert status == 2 and says in said and said.count("\n") == 1
