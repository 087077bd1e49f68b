"""The walk of one key press, which the guide to the code tells of."""

from __future__ import annotations

import pytest

from tests.conducting.walk import main, walk
from trainer.judging.take import Conditions


@pytest.mark.parametrize("conditions", [Conditions(tempo=60.0), Conditions()])
def test_a_key_press_enters_each_room_on_its_way_and_is_judged(conditions: Conditions) -> None:
    entered = list(walk(conditions))
    for room in (
        "listening.midi",
        "conducting.shell",
        "practice.session",
        "judging.performance",
        "judging.judge",
    ):
        assert f"trainer.{room}" in entered


def test_it_prints_both_ways(capsys: pytest.CaptureFixture[str]) -> None:
    main()
    out = capsys.readouterr().out
    assert "in tempo: " in out and "untimed: " in out
