"""The real program ended in the midst of a pass, in every way a player or a system ends programs.

`python -m tests.faults.ends` tries the same a thousand times beside two busy loops.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from random import Random

import pytest

from tests.end_to_end.jack import Organ
from tests.faults.ends import WAYS, sent, tried
from tests.faults.played_programs import LONG, Playing, organ_name, started

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and terminals of POSIX")
HERE = [name for name in WAYS if "JACK" not in name]


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as opened:
        yield opened


@pytest.mark.parametrize("name", HERE)
def test_ended_in_any_way_it_has_its_status_and_its_log(name: str) -> None:
    if "window" in name and not (shutil.which("Xvfb") and shutil.which("xdotool")):
        pytest.skip("needs Xvfb and xdotool")
    player, end, status = WAYS[name]
    ended = tried(player, end, status, Random(name))
    assert ended.seconds is not None, "it hangs"
    assert ended.wrong == () and ended.lost == ()


@pytest.mark.parametrize("name", [name for name in WAYS if "JACK" in name])
def test_all_that_came_from_a_real_port_is_in_the_log(jack: None, name: str) -> None:
    if "window" in name and not (shutil.which("Xvfb") and shutil.which("xdotool")):
        pytest.skip("needs Xvfb and xdotool")
    player, end, status = WAYS[name]
    ended = tried(player, end, status, Random(name))
    assert ended.seconds is not None, "it hangs"
    assert ended.wrong == () and ended.lost == ()


def test_ctrl_c_after_a_flood_ends_the_pass_and_keeps_every_key(
    jack: None, stack: ExitStack
) -> None:
    organ = Organ("flood")
    stack.callback(organ.kill)
    playing = started(stack, *LONG, "--input", organ_name(organ), "--view", "none")
    _until_said(playing, b'"count_in"')
    flood = [40 + number % 40 for number in range(6000)]
    for first in range(0, len(flood), 100):
        at = time.monotonic()
        keys = flood[first : first + 100]
        organ.send([(at + n * 1e-4, [0x90, key, 70]) for n, key in enumerate(keys)])
        organ.wait()
    playing.until_it_plays(len(flood))  # all have come, and are still to be heard
    sent(signal.SIGINT)(playing)
    assert playing.process.wait(60) == 130
    assert playing.key_downs() == flood


def test_a_display_that_is_dead_is_said_and_the_terminal_is_taken(stack: ExitStack) -> None:
    words = ("practice", "old-hundredth", "--to", "1", "--tempo", "300", "--input", "demo")
    playing = started(stack, *words, DISPLAY=":9876")
    assert playing.process.wait(60) == 0
    _until_said(playing, b"movement")
    lines = b"".join(playing.said).decode().splitlines()
    assert [line for line in lines if "display" in line] == [
        "mittelstimme: the display :9876 cannot be used (x11 not available); "
        "going on in the terminal"
    ]


@pytest.mark.parametrize("words", [("practice",), ("drill", "--input", "demo")])
def test_a_window_on_a_display_that_is_dead_is_refused(
    stack: ExitStack, words: tuple[str, ...]
) -> None:
    playing = started(stack, *words, "--view", "window", DISPLAY=":9876")
    assert playing.process.wait(60) == 2
    _until_said(playing, b"\n")
    said = b"".join(playing.said).decode()
    assert said.splitlines()[-1].startswith("mittelstimme: the display :9876 cannot be used")
    assert "use --view terminal" in said


@pytest.mark.parametrize("closed", ["reader", "stdout"])
@pytest.mark.parametrize("view", ["terminal", "none"])
def test_an_output_that_nobody_reads_any_more_gives_no_traceback(
    tmp_path: Path, closed: str, view: str
) -> None:
    words = f"{sys.executable} -m trainer practice --tempo 300 --input demo --view {view} --json"
    end = "| head -c 1 >/dev/null" if closed == "reader" else ">&-"
    done = subprocess.run(
        ["/bin/sh", "-c", f"{words} {end}"],
        env={**os.environ, "MITTELSTIMME_HOME": str(tmp_path), "SDL_AUDIODRIVER": "dummy"},
        stdin=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0
    assert "Traceback" not in done.stderr and "Error" not in done.stderr


def test_letters_where_nobody_can_type_are_refused(stack: ExitStack) -> None:
    playing = started(stack, "practice", "--input", "typing", "--view", "terminal")
    assert playing.process.wait(60) == 2
    _until_said(playing, b"\n")
    assert b"nobody can type here" in b"".join(playing.said)


def _until_said(playing: Playing, words: bytes) -> None:
    until = time.monotonic() + 120
    while words not in b"".join(playing.said):
        assert time.monotonic() < until, b"".join(playing.said)[-500:]
        time.sleep(0.02)
