"""Letters as keys."""

from __future__ import annotations

from trainer.listening.events import KeyDown, KeyUp
from trainer.listening.typing import ALONE, HOME, Latched, layout


def test_two_rows_are_two_octaves_and_go_up_by_semitones() -> None:
    keys = layout()
    assert keys["z"] == HOME and keys["m"] == HOME + 11 and keys[","] == keys["q"] == HOME + 12
    assert [keys[c] - keys["z"] for c in "zxcvbnm"] == [0, 2, 4, 5, 7, 9, 11]  # c d e f g a b
    assert [keys[c] - keys["q"] for c in "qwertyui"] == [0, 2, 4, 5, 7, 9, 11, 12]
    assert [keys[c] - keys["q"] for c in "23567"] == [1, 3, 6, 8, 10]
    assert set(range(HOME, HOME + 25)) <= set(keys.values())


def test_letters_in_quick_succession_build_one_chord() -> None:
    latched, first = Latched().typed("x", 0.0)
    latched, second = latched.typed("v", 0.1)
    assert [*first, *second] == [KeyDown(0.0, HOME + 2), KeyDown(0.1, HOME + 5)]
    assert latched.held == (HOME + 2, HOME + 5)


def test_a_chord_holds_until_the_next_one_begins() -> None:
    latched, _ = Latched().typed("x", 0.0)
    latched, events = latched.typed("c", ALONE + 0.1)
    assert events == (KeyUp(ALONE + 0.1, HOME + 2), KeyDown(ALONE + 0.1, HOME + 4))


def test_a_letter_again_strikes_its_key_again() -> None:
    latched, _ = Latched().typed("x", 0.0)
    _, events = latched.typed("x", 0.1)
    assert events == (KeyUp(0.1, HOME + 2), KeyDown(0.1, HOME + 2))


def test_other_letters_do_nothing() -> None:
    latched = Latched()
    assert latched.typed("#", 0.0) == (latched, ())


def test_everything_can_be_let_go() -> None:
    latched, _ = Latched().typed("x", 0.0)
    latched, events = latched.released(0.2)
    assert events == (KeyUp(0.2, HOME + 2),) and latched.held == ()
