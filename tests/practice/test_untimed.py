"""A pass without a clock, as a value: it waits for each chord and goes on when it is complete."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.judging.lessons import lesson
from tests.practice.cadence import CADENCE, RIGHT, UNTIMED, right
from tests.practice.playing import Pass, in_order, keys, play, verdict
from trainer.judging.passes import judge
from trainer.judging.take import Conditions
from trainer.listening.events import KeyDown, Onward
from trainer.practice.effects import (
    Begin,
    Hold,
    KeyOff,
    KeyOn,
    PassEnded,
    Stop,
)


def test_untimed_the_program_waits_and_goes_on_when_a_chord_is_complete() -> None:
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    made.until(origin + 30.0)
    assert made.session.current == 0
    made.until(made.now + 1.0, keys(made.now + 0.5, RIGHT[0]))
    assert made.session.current == 1 and made.session.moments[0].outcome == "complete"
    assert made.session.moments[0].think_s == pytest.approx(30.5)


def test_the_time_to_think_ends_with_the_right_chord() -> None:
    """Searching aloud is no quick answer."""
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    made.until(origin + 3.0, keys(origin + 1.0, "c3 a3 d4 e4"))
    made.until(origin + 6.0, keys(origin + 4.0, RIGHT[0]))
    assert made.session.current == 1
    assert made.session.moments[0].think_s == pytest.approx(4.0)


def test_a_break_in_the_middle_of_an_attempt_is_no_time_to_think() -> None:
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    made.until(origin + 2.0, keys(origin + 1.0, "c3"))
    made.feed(Hold("a knock at the door"))
    made.until(origin + 602.0)
    made.feed(Begin())
    made.until(origin + 606.0, keys(origin + 604.0, RIGHT[0]))
    assert made.session.current == 1
    assert made.session.moments[0].think_s == pytest.approx(4.0)


@pytest.mark.parametrize(("looked", "thought"), [(7.0, 9.0), (600.0, 62.0)])
def test_a_question_is_thought_about_from_when_it_is_seen(looked: float, thought: float) -> None:
    """Before it is begun; longer than a minute nobody was there."""
    question = replace(CADENCE, id="question@C")
    made = Pass(question, UNTIMED)
    made.until(made.now + looked)
    began = made.begin()
    made.until(began + 4.0, keys(began + 2.0, RIGHT[0]))
    assert made.session.moments[0].think_s == pytest.approx(thought)
    made.feed(Stop())
    assert judge(made.session.take) == verdict(made)


def test_a_piece_may_be_read_through_before_it_is_begun() -> None:
    made = Pass(CADENCE, UNTIMED)
    made.until(made.now + 30.0)
    began = made.begin()
    made.until(began + 4.0, keys(began + 2.0, RIGHT[0]))
    assert made.session.moments[0].think_s == pytest.approx(2.0)


def test_untimed_an_incomplete_chord_is_waited_for() -> None:
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    made.until(origin + 5.0, keys(origin + 1.0, "c3 c4"))
    assert made.session.current == 0
    made.until(origin + 10.0, keys(origin + 6.0, RIGHT[0]))
    assert made.session.current == 1


def test_untimed_a_wrong_chord_stands_when_the_player_moves_on() -> None:
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    wrong = keys(origin + 1.0, "c3 g#3 c4 e4")
    made.until(origin + 4.0, in_order(wrong, keys(origin + 2.0, RIGHT[1])))
    assert [m.outcome for m in made.session.moments] == ["foreign", "complete"]


def test_untimed_keys_found_one_by_one_are_one_chord() -> None:
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    searching = [KeyDown(origin + 1.0 + 0.4 * n, key) for n, key in enumerate((48, 64, 60, 55))]
    made.until(origin + 5.0, searching)
    assert made.session.current == 1
    assert made.session.moments[0].keys == (48, 55, 60, 64)


def test_untimed_three_keys_that_say_it_all_are_accepted_after_a_while() -> None:
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    made.until(origin + 1.3, keys(origin + 1.0, "c3 c4 e4", 2.0))
    assert made.session.current == 0
    made.until(origin + 2.0)
    assert made.session.current == 1


def test_untimed_the_player_may_give_a_moment_up() -> None:
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    made.until(origin + 1.0)
    made.feed(Onward(made.now))
    assert made.session.current == 1 and made.session.moments[0].outcome == "not-played"


def test_untimed_a_repeated_chord_may_be_held_and_passed_on() -> None:
    piece = lesson("C", "c3 c3 g3", "", "e4 e4 d4")
    made = Pass(piece, Conditions(supply=("bass", "melody")))
    origin = made.begin()
    made.until(origin + 2.0, [KeyDown(origin + 1.0, 55), KeyDown(origin + 1.0, 60)])
    assert made.session.current == 1
    made.feed(Onward(made.now))
    assert [m.outcome for m in made.session.moments] == ["complete", "complete"]


def test_untimed_supplied_voices_sound_with_the_first_key_of_a_moment() -> None:
    made = Pass(CADENCE, Conditions(supply=("bass", "melody")))
    origin = made.begin()
    made.until(origin + 0.9)
    assert not made.of(KeyOn)
    made.until(origin + 1.05, [KeyDown(origin + 1.0, 55)])
    assert made.of(KeyOn) == [KeyOn(48), KeyOn(64)]
    made.until(origin + 2.0, [KeyDown(made.now + 0.01, 60)])
    made.until(origin + 2.2, [KeyDown(origin + 2.1, 57)])
    assert made.of(KeyOff) == [KeyOff(48), KeyOff(64)] and made.of(KeyOn)[2:] == [
        KeyOn(53),
        KeyOn(65),
    ]


def test_untimed_a_pass_ends_by_itself_and_is_judged_again_alike() -> None:
    made = play(CADENCE, UNTIMED, right)
    assert isinstance(made.effects[-1], PassEnded) and made.effects[-1].finished
    assert judge(made.session.take) == verdict(made)
    assert [m.outcome for m in verdict(made).moments] == ["complete"] * 4
    assert verdict(made).timing is None


def test_a_skipped_moment_untimed_is_not_played_and_the_rest_is_right() -> None:
    made = play(
        CADENCE,
        UNTIMED,
        lambda origin: [e for e in right(origin) if not 0.95 < e.time - origin < 1.95],
    )
    assert [m.outcome for m in verdict(made).moments] == [
        "complete",
        "not-played",
        "complete",
        "complete",
    ]
