"""A pass that is broken off and goes on, as a value: ports, clocks, the player's own wish."""

from __future__ import annotations

import pytest

from tests.judging.lessons import lesson
from tests.practice.cadence import CADENCE, RIGHT, TEMPO, UNTIMED, right
from tests.practice.playing import Pass, in_order, keys, verdict
from trainer.judging.passes import judge
from trainer.listening.events import KeyDown, KeyUp, PortFound, PortLost
from trainer.practice.accompany import LEAD
from trainer.practice.effects import (
    Begin,
    Hold,
    Hush,
    Jumped,
    PassEnded,
    Paused,
    Resumed,
    Say,
    Stop,
    Tick,
)


def test_a_lost_port_pauses_and_a_found_one_resumes_with_a_count_in_at_the_phrase() -> None:
    made = Pass(CADENCE, TEMPO)
    origin = made.begin()
    made.until(origin + 2.2, right(origin))
    made.hands_up()
    made.feed(PortLost(made.now, "organ"))
    assert made.session.stage == "paused" and "organ is gone" in made.session.text
    assert [type(effect) for effect in made.effects[-2:]] == [Hush, Paused]
    made.until(origin + 8.0)
    made.feed(PortFound(made.now, "organ"))
    (resumed,) = made.of(Resumed)
    assert isinstance(resumed, Resumed) and resumed.moment == 0
    assert resumed.at == pytest.approx(made.now + LEAD + 4.0)
    made.until(resumed.at + 5.0, right(resumed.at))
    said = verdict(made)
    assert [m.outcome for m in said.moments] == ["complete"] * 4
    assert [m.late_ms for m in said.moments] == [0.0] * 4
    assert judge(made.session.take) == said


def test_what_was_played_in_an_earlier_phrase_stays() -> None:
    piece = lesson("C", "c3 g3 c3 f3 g3 c3", "", "e4 d4 e4 f4 d4 e4", fermatas=(2, 5))
    chords = ("c3 g3 c4 e4", "g3 g3 b3 d4", "c3 g3 c4 e4", "f3 a3 c4 f4", "g3 g3 b3 d4", RIGHT[3])
    made = Pass(piece, TEMPO)
    origin = made.begin()
    all_of_it = in_order(*(keys(origin + n, text, 0.9) for n, text in enumerate(chords)))
    made.until(origin + 4.3, all_of_it)
    made.feed(Hold())
    made.hands_up()
    assert made.session.stage == "paused"
    made.until(origin + 6.0)
    made.feed(Begin())
    (resumed,) = made.of(Resumed)
    assert isinstance(resumed, Resumed) and resumed.moment == 3
    rest = in_order(*(keys(resumed.at + n, text, 0.9) for n, text in enumerate(chords[3:])))
    made.until(resumed.at + 5.0, rest)
    assert [m.outcome for m in verdict(made).moments] == ["complete"] * 6
    assert judge(made.session.take) == verdict(made)


def test_a_long_phrase_is_taken_up_from_the_bar_before() -> None:
    piece = lesson("C", " ".join(["c3 f3 g3 c3"] * 8), "")
    made = Pass(piece, TEMPO)
    origin = made.begin()
    made.until(origin + 18.5)
    made.feed(Hold())
    made.feed(Begin())
    assert made.session.moment.bar == 4 and made.session.moment.beat == 1


def test_a_key_struck_goes_on_after_the_players_own_pause() -> None:
    made = Pass(CADENCE, TEMPO)
    origin = made.begin()
    made.until(origin + 1.0)
    made.feed(Hold())
    made.feed(KeyDown(made.now, 60))
    assert made.session.stage == "playing"


def test_while_the_port_is_gone_nothing_goes_on() -> None:
    made = Pass(CADENCE, TEMPO)
    made.until(made.begin() + 1.0)
    made.feed(PortLost(made.now, "organ"))
    made.feed(Begin())
    assert made.session.stage == "paused"


TWO_PHRASES = lesson("C", "c3 g3 c3 f3 g3 c3", "", "e4 d4 e4 f4 d4 e4", fermatas=(2, 5))
CHORDS = ("c3 g3 c4 e4", "g3 g3 b3 d4", "c3 g3 c4 e4", "f3 a3 c4 f4", "g3 g3 b3 d4", RIGHT[3])


def test_what_fell_while_nothing_could_be_heard_is_played_anew_not_judged() -> None:
    """The server died at 1.9 s, which is noticed at 4.2 s, in the phrase after."""
    made = Pass(TWO_PHRASES, TEMPO)
    origin = made.begin()
    heard = in_order(*(keys(origin + n, CHORDS[n], 0.9) for n in range(2)))
    made.until(origin + 4.2, heard)
    assert [m.outcome for m in made.session.moments][2] == "not-played"
    made.feed(PortLost(made.now, "organ", since=origin + 1.9))
    assert made.session.stage == "paused"
    made.feed(PortFound(made.now, "organ"))
    (resumed,) = made.of(Resumed)
    assert isinstance(resumed, Resumed) and resumed.moment == 0
    again = in_order(*(keys(resumed.at + n, text, 0.9) for n, text in enumerate(CHORDS)))
    made.until(resumed.at + 7.0, again)
    assert [m.outcome for m in verdict(made).moments] == ["complete"] * 6
    assert judge(made.session.take) == verdict(made)


def test_a_pass_does_not_end_before_it_is_sure_that_its_end_was_heard() -> None:
    made = Pass(CADENCE, TEMPO)
    origin = made.begin()
    made.until(origin + 1.9, right(origin))
    for late in (3.0, 4.5, 5.0):
        made.now = origin + late
        made.feed(Tick(sure=origin + 1.9))
    assert made.session.stage == "playing"
    made.feed(KeyUp(made.now, 60))  # the lost port lets its keys go
    made.feed(PortLost(made.now, "organ", since=origin + 1.9))
    assert made.session.stage == "paused" and not made.of(PassEnded)


def test_a_pass_ends_as_soon_as_its_end_is_sure() -> None:
    made = Pass(CADENCE, TEMPO)
    origin = made.begin()
    made.until(origin + 3.95, right(origin))
    made.now = origin + 4.2
    made.feed(Tick(sure=origin + 3.9))
    assert made.session.stage == "playing"
    made.feed(Tick(sure=origin + 4.1))
    assert made.session.stage == "ended"
    assert [m.outcome for m in verdict(made).moments] == ["complete"] * 4


def test_with_one_of_two_keyboards_lost_a_key_of_the_other_goes_on() -> None:
    made = Pass(CADENCE, TEMPO)
    made.until(made.begin() + 1.0)
    made.feed(PortLost(made.now, "swell", others=True))
    assert made.session.stage == "paused" and "play on without it" in made.session.text
    made.feed(KeyDown(made.now, 60))
    assert made.session.stage == "playing"


def test_one_of_two_keyboards_found_again_goes_on_by_itself() -> None:
    made = Pass(CADENCE, TEMPO)
    made.until(made.begin() + 1.0)
    made.feed(PortLost(made.now, "swell", others=True))
    made.feed(PortFound(made.now, "swell"))
    assert made.session.stage == "playing"


def test_untimed_nothing_falls_while_nothing_can_be_heard() -> None:
    """The program waits: what another keyboard played meanwhile counts, live and judged again."""
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    made.until(origin + 3.0, keys(origin + 1.0, RIGHT[0]))
    made.feed(PortLost(made.now, "swell", since=origin + 0.5, others=True))
    made.feed(PortFound(made.now, "swell"))
    rest = in_order(*(keys(made.now + 1 + n, text, 0.9) for n, text in enumerate(RIGHT[1:])))
    made.until(made.now + 8.0, rest)
    assert [m.outcome for m in verdict(made).moments] == ["complete"] * 4
    assert judge(made.session.take) == verdict(made)


def test_untimed_a_lost_port_keeps_the_moment_and_the_time_to_think() -> None:
    made = Pass(CADENCE, UNTIMED)
    origin = made.begin()
    made.until(origin + 2.0, keys(origin + 1.0, RIGHT[0]))
    made.feed(PortLost(made.now, "organ"))
    made.until(origin + 60.0)
    made.feed(PortFound(made.now, "organ"))
    assert made.session.stage == "playing" and made.session.current == 1
    made.until(made.now + 3.0, keys(made.now + 1.0, RIGHT[1]))
    # from the last key to the loss, and from when it was found again: the break is left out
    assert made.session.moments[1].think_s == pytest.approx(2.0)
    made.feed(Stop())
    assert judge(made.session.take) == verdict(made)


def test_a_program_that_stood_still_pauses_a_pass_in_tempo() -> None:
    made = Pass(CADENCE, TEMPO)
    origin = made.begin()
    made.until(origin + 1.0)
    made.now += 3600.0
    made.feed(Tick())
    assert made.session.stage == "paused" and "stood still for 3600" in made.session.text
    made.feed(Begin())
    assert made.session.stage == "playing" and made.session.current == 0


def test_untimed_an_hour_away_is_only_time_to_think() -> None:
    made = Pass(CADENCE, UNTIMED)
    made.begin()
    made.now += 3600.0
    made.feed(Tick())
    assert made.session.stage == "playing"


def test_a_clock_that_goes_back_pauses_and_is_survived() -> None:
    made = Pass(CADENCE, TEMPO)
    origin = made.begin()
    made.until(origin + 1.0)
    made.now -= 500.0
    made.feed(Tick())
    assert made.session.stage == "paused" and "went back" in made.session.text
    made.feed(Begin())
    made.until(made.now + 30.0)
    assert made.session.stage == "ended"


def test_a_laptop_that_slept_is_named() -> None:
    made = Pass(CADENCE, TEMPO)
    made.until(made.begin() + 1.0)
    made.feed(Jumped(7200.0))
    assert made.session.stage == "paused" and "asleep" in made.session.text


def test_a_small_step_of_the_wall_clock_changes_nothing() -> None:
    made = Pass(CADENCE, TEMPO)
    made.until(made.begin() + 1.0)
    made.feed(Jumped(1.0))
    assert made.session.stage == "playing"


def test_a_pass_may_be_stopped_and_what_was_played_is_judged() -> None:
    made = Pass(CADENCE, TEMPO)
    origin = made.begin()
    made.until(origin + 1.5, right(origin))
    made.feed(Stop())
    ended = made.effects[-1]
    assert isinstance(ended, PassEnded) and not ended.finished
    assert [m.outcome for m in ended.verdict.moments] == [*["complete"] * 2, *["not-played"] * 2]
    assert judge(ended.take) == ended.verdict


def test_stopping_before_the_beginning_leaves_nothing_behind() -> None:
    made = Pass(CADENCE, TEMPO)
    assert not [e for e in made.feed(Stop()) if isinstance(e, PassEnded)]
    assert made.session.stage == "ended"


def test_a_port_found_before_the_beginning_is_told() -> None:
    made = Pass(CADENCE, TEMPO)
    assert made.feed(PortFound(made.now, "organ")) == (Say("listening to organ"),)
    assert made.session.take.port == "organ"
