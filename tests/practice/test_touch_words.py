"""How the hands lie, in a few words."""

from __future__ import annotations

import pytest

from trainer.judging.verdict import HandTiming, Touch
from trainer.practice.touch_words import hands_in_short, late_in_words, touch_words


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


@pytest.mark.parametrize(
    ("ms", "words"),
    [(12.4, "12 ms late"), (-0.6, "1 ms early"), (0.4, "on the beat"), (-0.4, "on the beat")],
)
def test_what_is_late_by_nothing_one_could_print_is_on_the_beat(ms: float, words: str) -> None:
    assert late_in_words(ms) == words


def test_a_hand_with_the_other_is_not_said_to_be_after_it() -> None:
    left, right = HandTiming(8, 8, 0.3, 2.0), HandTiming(8, 8, 0.4, 2.0)
    said = touch_words(Touch(left, right, 5.0, 1.0, (("together", 8),)))
    assert said == "left hand on the beat, ± 2; right hand with it, ± 2; 8 chords together"
