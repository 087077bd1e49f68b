"""A key that is told of by two ways is done once, and as it was played last."""

from __future__ import annotations

from trainer.sound.requests import KeyOff, KeyOn, Stop
from trainer.sound.touches import Once, as_request

DOWN, UP = KeyOn(60, 70, 1.0), KeyOff(60, 2.0)


def test_a_row_is_a_key_struck_or_let_go() -> None:
    assert as_request((1.0, 1, 60, 70)) == DOWN and as_request((2.0, 0, 60, 0)) == UP


def test_what_both_ways_tell_is_done_once() -> None:
    once = Once()
    assert once.of([DOWN, UP]) == [DOWN, UP]
    assert once.of([DOWN, UP]) == []


def test_what_one_way_has_lost_the_other_makes_good() -> None:
    once = Once()
    assert once.of([DOWN]) == [DOWN]
    assert once.of([DOWN, UP]) == [UP]


def test_a_key_told_of_after_it_was_let_go_does_not_sound_on() -> None:
    once = Once()
    assert once.of([UP]) == [UP]
    assert once.of([DOWN]) == []


def test_down_and_up_in_the_same_instant_are_both_done() -> None:
    short = KeyOff(60, DOWN.at)
    once = Once()
    assert once.of([DOWN, short, DOWN, short]) == [DOWN, short]


def test_another_key_and_all_else_is_not_held_back() -> None:
    once = Once()
    others = [UP, KeyOn(62, 70, 0.5), Stop(), Stop()]
    assert once.of(others) == others
