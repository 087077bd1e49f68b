"""The tempo ladder: up by two good passes, down by two failures, ever closer to the limit."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.errors import InputError
from trainer.practice.ladder import Ladder, begin, climbed, compared, criteria_at, fold, in_words
from trainer.practice.result import PassResult

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def a_pass(tempo: float | None, *, good: bool = True, number: int = 0) -> PassResult:
    share = 1.0 if good else 0.5
    return PassResult(
        exercise_id="old-tune",
        key="G major",
        hands="1+3",
        tempo=tempo,
        at=START + timedelta(minutes=number),
        seconds=40.0,
        finished=True,
        whole=True,
        harmony=share,
        time=None if tempo is None else share,
        movement=share,
        judged=20,
        wrong=0 if good else 10,
        gross=0 if good else 3,
    )


def foot(goal: float = 72.0) -> Ladder:
    return begin("old-tune", "G major", "1+3", goal)


def climb(ladder: Ladder, limit: float, passes: int) -> list[float]:
    """The tempi played by somebody who is good up to `limit` and fails above it."""
    tempi = []
    for number in range(passes):
        tempi.append(ladder.tempo)
        ladder = climbed(ladder, a_pass(ladder.tempo, good=ladder.tempo <= limit, number=number))
    return tempi


def test_a_ladder_begins_at_six_tenths_of_the_tempo_of_the_piece() -> None:
    assert foot(72).tempo == 43


def test_two_good_passes_lead_one_rung_up() -> None:
    once = climbed(foot(), a_pass(43))
    assert (once.tempo, once.good) == (43, 1)
    assert climbed(once, a_pass(43)).tempo > 43


def test_two_failures_lead_one_rung_down() -> None:
    up = fold(foot(), [a_pass(43), a_pass(43)])
    once = climbed(up, a_pass(up.tempo, good=False))
    assert once.tempo == up.tempo
    assert climbed(once, a_pass(up.tempo, good=False)).tempo < up.tempo


def test_a_failure_between_two_good_passes_makes_them_begin_again() -> None:
    ladder = fold(foot(), [a_pass(43), a_pass(43, good=False), a_pass(43)])
    assert (ladder.tempo, ladder.good) == (43, 1)


@pytest.mark.parametrize("limit", [45, 48, 55.5, 63, 70])
def test_the_rungs_close_in_on_the_limit_and_stay_there(limit: float) -> None:
    tempi = climb(foot(), limit, 80)
    assert max(tempi) <= limit * 1.21  # the widest step beyond it, once
    late = tempi[40:]
    assert all(limit * 0.93 - 1 <= tempo <= limit * 1.05 + 1 for tempo in late)


def test_the_steps_shrink_with_every_change_of_direction() -> None:
    ladder, steps = foot(), []
    for number in range(60):
        before = ladder
        ladder = climbed(ladder, a_pass(ladder.tempo, good=ladder.tempo <= 50, number=number))
        if ladder.last != before.last and before.last:
            steps.append(ladder.step)
    assert steps == sorted(steps, reverse=True)
    assert steps[-1] == 0.025


def test_the_steps_widen_again_when_the_limit_has_moved() -> None:
    ladder = foot(120)
    for number in range(40):
        ladder = climbed(ladder, a_pass(ladder.tempo, good=ladder.tempo <= 70, number=number))
    narrow = ladder.step
    for number in range(16):
        ladder = climbed(ladder, a_pass(ladder.tempo, number=number))
    assert ladder.step > narrow


def test_the_tempo_of_the_piece_is_the_top() -> None:
    ladder = fold(foot(72), [a_pass(t) for t in climb(foot(72), 300, 60)])
    assert ladder.done
    assert ladder.tempo == ladder.highest == 72


def test_more_than_was_asked_leads_straight_to_that_rung() -> None:
    ladder = fold(foot(72), [a_pass(60), a_pass(60)])
    assert ladder.highest == 60
    assert ladder.tempo > 60


def test_a_failed_attempt_above_the_rung_says_nothing_about_it() -> None:
    assert climbed(foot(), a_pass(70, good=False)) == foot()


def test_untimed_passes_parts_of_a_piece_and_other_keys_do_not_count() -> None:
    for other in (
        a_pass(None),
        replace(a_pass(43), whole=False),
        replace(a_pass(43), key="A major"),
        replace(a_pass(43), hands="2+2"),
        replace(a_pass(43), exercise_id="another"),
    ):
        assert climbed(foot(), other) == foot()


def test_a_pass_broken_off_fails_only_if_too_much_was_wrong_by_then() -> None:
    stopped = replace(a_pass(43), finished=False, judged=10, wrong=0, gross=0)
    assert climbed(foot(), stopped) == foot()
    assert climbed(foot(), replace(stopped, wrong=5)).failed == 1
    assert climbed(foot(), replace(stopped, judged=2, wrong=2)) == foot()


def test_what_is_asked_grows_towards_the_tempo_of_the_piece() -> None:
    low, high = criteria_at(43, 72), criteria_at(72, 72)
    assert low.harmony < high.harmony
    assert low.time < high.time
    assert low.movement < high.movement
    assert in_words(high) == (
        "95% of the chords complete, 85% in time, 90% of the successions clean, no gross fault"
    )


def test_every_criterion_is_shown_beside_what_was_reached() -> None:
    lines = compared(criteria_at(72, 72), replace(a_pass(72), time=0.5))
    assert [(line.name, line.met) for line in lines] == [
        ("harmony", True),
        ("time", False),
        ("movement", True),
        ("gross faults", True),
    ]


@pytest.mark.parametrize("tempo", [0, -3, 4, 1000, float("nan"), float("inf")])
def test_an_impossible_tempo_is_named(tempo: float) -> None:
    with pytest.raises(InputError, match="beats a minute"):
        foot(tempo)


@given(st.lists(st.tuples(st.floats(15, 200), st.booleans(), st.booleans()), max_size=60))
def test_whatever_is_played_the_rung_stays_on_the_ladder(
    played: list[tuple[float, bool, bool]],
) -> None:
    ladder = foot(72)
    for tempo, good, finished in played:
        ladder = climbed(ladder, replace(a_pass(tempo, good=good), finished=finished))
        assert 10 <= ladder.tempo <= 72
        assert 0.025 <= ladder.step <= 0.20
        assert ladder.good < 2
        assert ladder.failed < 2


@given(st.lists(st.booleans(), max_size=40), st.integers(0, 40))
def test_a_ladder_left_and_taken_up_again_is_the_same_ladder(good: list[bool], cut: int) -> None:
    results, ladder = [], foot()
    for number, one in enumerate(good):
        results.append(a_pass(ladder.tempo, good=one, number=number))
        ladder = climbed(ladder, results[-1])
    assert fold(fold(foot(), results[:cut]), results[cut:]) == ladder
