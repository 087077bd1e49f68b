"""Passes in a row in one real window, each page read from the X server and compared with that of a
program started for its pass alone; `python -m tests.faults.pictures` at full length."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.end_to_end.jack import Organ
from tests.faults.pictures import Pass, compare
from tests.faults.played_window import Appearance

pytestmark = pytest.mark.skipif(
    shutil.which("Xvfb") is None or shutil.which("xdotool") is None,
    reason="needs Xvfb, an X server without a screen, and xdotool",
)


def test_every_page_is_the_page_of_its_own_pass(organ: Organ, tmp_path: Path) -> None:
    """A pass, another of the same; then the drill in another key, dark, with larger text, in a
    smaller window; and back."""
    first = Appearance("quarry-path@D")
    other = Appearance("quarry-path@Bb", (1024, 640), "dark", 1.2)
    plays = [Pass(first, 0), Pass(first, 1, 0.2), Pass(other, 0, 0.1), Pass(first, 0, 0.3)]
    found = compare(plays, organ, tmp_path)
    assert found.passes == 4 and found.alone == 3 and found.notes > 80
    assert found.changes["key"] == found.changes["ground"] == 2
    assert found.unready == [0] * 4
    assert found.differing == [0] * 4
    assert found.amiss == []
