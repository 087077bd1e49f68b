"""A key that is told of by two ways is done once, and as it was played last."""

from __future__ import annotations

from trainer.apart.passage import PEDAL
from trainer.sound.requests import KeyOff, KeyOn, Stop
from trainer.sound.touches import Once, as_request

DOWN, UP = KeyOn(60, 70, 1.0), KeyOff(60, 2.0)


def test_a_row_is_a_key_struck_or_let_go() -> None:
    assert as_request((1.0, 1, 60, 70)) == KeyOn(60, 70, 1.0, 0)
    assert as_request((2.0, 0, 60, 0)) == KeyOff(60, 2.0, 0)


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


def test_a_pitch_held_on_two_interfaces_sounds_until_both_let_it_go() -> None:
    once = Once()
    on_one, on_other = KeyOn(60, 70, 1.0, 0), KeyOn(60, 80, 2.0, 1)
    assert once.of([on_one, on_other]) == [on_one, on_other]
    assert once.of([KeyOff(60, 3.0, 0)]) == []
    last = KeyOff(60, 4.0, 1)
    assert once.of([last, KeyOff(60, 4.0)]) == [last]


def test_an_interface_that_lets_go_of_one_key_lets_go_of_no_other() -> None:
    once = Once()
    once.of([KeyOn(60, 70, 1.0, 0), KeyOn(62, 70, 1.0, 1)])
    assert once.of([KeyOff(60, 3.0, 0)]) == [KeyOff(60, 3.0, 0)]


def test_what_fell_with_the_process_that_had_it_down_is_ended_by_the_program() -> None:
    once = Once()
    once.of([KeyOn(60, 70, 1.0, 0)])
    assert once.of([KeyOff(60, 2.0)]) == [KeyOff(60, 2.0)]
    once.of([KeyOn(60, 70, 3.0, 1)])  # the other keyboard is not waited for any more
    assert once.of([KeyOff(60, 4.0, 1)]) == [KeyOff(60, 4.0, 1)]


def test_a_word_of_the_programs_that_comes_late_forgets_no_key_struck_since() -> None:
    once = Once()
    once.of([KeyOn(60, 70, 1.0, 0), KeyOff(60, 2.0, 0), KeyOn(60, 70, 3.0, 0)])
    once.of([KeyOn(60, 70, 3.5, 1), KeyOff(60, 2.0)])
    assert once.of([KeyOff(60, 4.0, 0)]) == []


def test_the_pedal_of_one_interface_keeps_what_is_let_go_on_another() -> None:
    """As the log has it; when the pedal goes up the program, which knows of both, says so."""
    once = Once()
    down, up = as_request((0.5, 1, PEDAL, 0)), as_request((3.0, 0, PEDAL, 0))
    on_other = KeyOn(60, 80, 1.0, 1)
    assert once.of([down, on_other, KeyOff(60, 2.0, 1)]) == [on_other]
    assert once.of([up, KeyOff(60, 3.0)]) == [KeyOff(60, 3.0)]
    assert once.of([KeyOn(62, 80, 4.0, 1), KeyOff(62, 5.0, 1)])[1:] == [KeyOff(62, 5.0, 1)]


def test_a_pedal_holds_back_nothing_of_its_own_keyboards() -> None:
    """Which tones it keeps their own process knows."""
    once = Once()
    once.of([as_request((0.5, 1, PEDAL, 0)), KeyOn(60, 80, 1.0, 0)])
    assert once.of([KeyOff(60, 2.0, 0)]) == [KeyOff(60, 2.0, 0)]
