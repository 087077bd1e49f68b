"""Passes in a row in one real window, each page read from the X server and compared with that of a
program started for its pass alone; `python -m tests.faults.pictures` at full length."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.end_to_end.jack import Organ
from tests.faults.pictures import compare

pytestmark = pytest.mark.skipif(
    shutil.which("Xvfb") is None or shutil.which("xdotool") is None,
    reason="needs Xvfb, an X server without a screen, and xdotool",
)


def test_every_page_is_the_page_of_its_own_pass(organ: Organ, tmp_path: Path) -> None:
    (tmp_path / "in-a-row").mkdir()
    found = compare(5, 2, organ, tmp_path)
    assert found.pictures == 5 and found.notes > 150
    assert found.differing == [0] * 5
    assert found.amiss == []
