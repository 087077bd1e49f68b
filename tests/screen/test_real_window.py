"""The real window on a real X server, played by the demo player, and what the server then shows."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.screen.pieces import EVENING
from tests.screen.x_server import Server

PAPER, INK, MARK, PLAYER = (244, 239, 228), (34, 31, 28), (158, 33, 30), (31, 78, 134)
HANGING = 180.0  # seconds

pytestmark = pytest.mark.skipif(
    shutil.which("Xvfb") is None, reason="needs Xvfb, an X server without a screen"
)


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    found = Server(tmp_path)
    yield found
    found.close()


def like(picture: np.ndarray, colour: tuple[int, int, int], within: int = 30) -> np.ndarray:
    near: np.ndarray = (np.abs(picture.astype(int) - colour) < within).all(axis=2)
    return near


def until(condition: Callable[[], bool], what: str) -> None:
    """Look at the server until it shows what it should; the limit only guards against hanging."""
    ends = time.monotonic() + HANGING
    while not condition():
        assert time.monotonic() < ends, what
        time.sleep(0.05)


def test_a_pass_in_the_real_window_is_seen_on_the_x_server(server: Server, tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (home / "settings.toml").write_text(
        'player = "Ada"\n[players.Ada]\nid = "ada"\nfirst_run_seen = true\n'
    )
    environment = {
        **os.environ,
        "DISPLAY": server.display,
        "MITTELSTIMME_HOME": str(home),
        "SDL_VIDEODRIVER": "x11",
        "SDL_AUDIODRIVER": "dummy",
    }
    program = subprocess.Popen(
        [sys.executable, "-m", "trainer", "practice", str(EVENING), "--view", "window",
         "--input", "demo", "--tempo", "90", "--silent", "--slip", "wrong@3"],
        env=environment,
    )  # fmt: skip
    try:
        until(lambda: like(server.picture(), PAPER).mean() > 0.5, "no paper on the server")
        page = (slice(90, 660), slice(60, 1060))
        until(lambda: like(server.picture()[page], INK).sum() > 2500, "no page was drawn")
        until(lambda: mark_column(server) is not None, "no moment mark")
        places: list[int] = []

        def moved_on() -> bool:
            place = mark_column(server)
            if place is not None:
                places.append(place)
            return bool(places) and places[-1] > places[0] + 100

        until(moved_on, "the moment mark stood still")
        assert all(there > here - 20 for here, there in pairwise(places))  # within its own width
        assert like(server.picture()[page], PLAYER).sum() > 100
        until(lambda: like(server.picture()[659:687], MARK).sum() > 60, "no fault was told")
    finally:
        program.terminate()
        program.wait(60)


def mark_column(server: Server) -> int | None:
    """Where the two pennants point: the column with most of the mark's colour."""
    columns = like(server.picture()[90:660, 60:1060], MARK, 60).sum(axis=0)
    return int(columns.argmax()) if columns.max() > 18 else None
