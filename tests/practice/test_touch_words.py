"""How the hands lie, in a few words."""

from __future__ import annotations

import pytest

from trainer.judging.verdict import HandTiming, Touch
from trainer.practice.touch_words import hands_in_short


@pytest.mark.parametrize(
    ("after_ms", "words"),
    [
        (0.6, "right hand 1 ms after the left"),
        (0.4, "the hands together"),
        (-0.4, "the hands together"),
        (-0.6, "right hand 1 ms before the left"),
    ],
)
def test_hands_that_differ_by_nothing_one_could_print_are_together(
    after_ms: float, words: str
) -> None:
    left, right = HandTiming(8, 8, 3.0, 2.0), HandTiming(8, 8, after_ms, 2.0)
    assert hands_in_short(Touch(left, right, 5.0, 1.0, ())) == words
