"""The tempo ladder: up by two good passes, down by two failures, ever closer to the limit."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.errors import InputError
from trainer.practice.ladder import (
    TOP,
    Ladder,
    Rung,
    begin,
    climbed,
    compared,
    criteria_at,
    fold,
    in_words,
    ladders,
    taken_up,
    verdict_at,
)
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


def played_to(ladder: Ladder, good: str) -> list[float]:
    """The rungs under a row of pairs of passes, `+` two good ones and `-` two failures."""
    rungs = [ladder.tempo]
    for sign in good:
        for _ in range(2):
            ladder = climbed(ladder, a_pass(ladder.tempo, good=sign == "+"))
        rungs.append(ladder.tempo)
    return rungs


# ── where it begins, and from rung to rung ───────────────────────────────────────────────────


@pytest.mark.parametrize(("goal", "foot_at"), [(100, 60), (72, 43), (20, 12), (16, 10), (10, 10)])
def test_a_ladder_begins_at_six_tenths_of_the_tempo_of_the_piece(
    goal: float, foot_at: float
) -> None:
    """But nowhere slower than a tactus can be followed, ten beats a minute."""
    ladder = foot(goal)
    assert ladder.tempo == foot_at
    assert (ladder.good, ladder.failed, ladder.gained, ladder.highest) == (0, 0, 0, None)
    assert not ladder.done


def test_each_rung_is_a_fifth_faster_until_the_limit_is_met() -> None:
    assert played_to(foot(100), "++++") == [60, 72, 86, 100, 100]


def test_a_fall_halves_the_step_and_the_next_fall_does_not() -> None:
    assert played_to(foot(100), "+--") == [60, 72, 65, 58]


def test_falls_from_the_foot_keep_the_widest_step() -> None:
    assert played_to(foot(100), "--") == [60, 48, 38]


def test_three_rungs_gained_since_a_fall_double_the_step() -> None:
    """65 and 58 by tenths; a twentieth up from there, and after the third rung a tenth again."""
    assert played_to(foot(100), "+--+++++") == [60, 72, 65, 58, 61, 64, 70, 77, 85]


def test_a_fall_makes_the_gained_rungs_count_from_nothing() -> None:
    twice = fold(foot(100), [a_pass(60), a_pass(60), a_pass(72), a_pass(72)])
    assert twice.gained == 2
    fallen = fold(twice, [a_pass(86, good=False)] * 2)
    assert fallen.gained == 0
    assert fold(fallen, [a_pass(fallen.tempo)] * 2).gained == 1


def test_after_three_gained_rungs_three_more_are_counted() -> None:
    ladder = foot(400)
    gained = []
    for _ in range(4):
        ladder = fold(ladder, [a_pass(ladder.tempo)] * 2)
        gained.append(ladder.gained)
    assert gained == [1, 2, 0, 1]


def test_the_narrowest_step_is_a_fortieth() -> None:
    assert played_to(replace(foot(400), tempo=200, step=0.025, last="up"), "-") == [200, 195]
    assert played_to(replace(foot(400), tempo=200, step=0.04, last="up"), "-") == [200, 195]


def test_a_step_is_never_less_than_a_beat_a_minute() -> None:
    slow = replace(foot(40), tempo=12, step=0.025)
    assert played_to(slow, "+-") == [12, 13, 12]


def test_nobody_falls_below_the_slowest_tempo() -> None:
    assert played_to(foot(16), "--") == [10, 10, 10]


def test_a_rung_once_secured_stays_the_highest_after_a_fall() -> None:
    ladder = fold(foot(100), [a_pass(60), a_pass(60), a_pass(72), a_pass(72)])
    assert ladder.highest == 72
    ladder = fold(ladder, [a_pass(86, good=False)] * 2 + [a_pass(77, good=False)] * 2)
    ladder = fold(ladder, [a_pass(ladder.tempo)] * 2)
    assert (ladder.highest, ladder.last) == (72, "up")


def test_a_new_rung_begins_with_nothing_counted() -> None:
    up = fold(foot(100), [a_pass(60), a_pass(60)])
    assert (up.good, up.failed, up.last) == (0, 0, "up")
    down = fold(up, [a_pass(72, good=False)] * 2)
    assert (down.good, down.failed, down.last) == (0, 0, "down")


def test_one_failure_of_three_passes_leads_nowhere() -> None:
    ladder = fold(foot(100), [a_pass(60, good=False), a_pass(60), a_pass(60, good=False)])
    assert (ladder.tempo, ladder.good, ladder.failed) == (60, 0, 1)


def test_a_ladder_is_done_when_its_own_tempo_is_secure_and_not_a_beat_before() -> None:
    assert not replace(foot(100), highest=99.0).done
    assert replace(foot(100), highest=100.0).done


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


def test_one_pass_faster_than_was_asked_is_the_first_of_two_there() -> None:
    ladder = fold(foot(100), [a_pass(60), a_pass(80)])
    assert (ladder.tempo, ladder.good) == (80, 1)


def test_a_pass_faster_than_the_piece_itself_counts_at_its_own_tempo() -> None:
    assert climbed(foot(100), a_pass(130)).tempo == 100


def test_a_failed_attempt_above_the_rung_says_nothing_about_it() -> None:
    assert climbed(foot(), a_pass(70, good=False)) == foot()
    assert climbed(foot(), a_pass(43.5, good=False)) == foot()


def test_a_good_pass_below_the_rung_says_nothing_and_a_failed_one_does() -> None:
    assert verdict_at(foot(), a_pass(42)) == "no matter"
    assert verdict_at(foot(), a_pass(42, good=False)) == "failed"


def test_untimed_passes_parts_of_a_piece_and_other_keys_do_not_count() -> None:
    for other in (
        a_pass(None),
        replace(a_pass(43), time=None),
        replace(a_pass(43), whole=False),
        replace(a_pass(43), key="A major"),
        replace(a_pass(43), hands="2+2"),
        replace(a_pass(43), exercise_id="another"),
    ):
        assert climbed(foot(), other) == foot()


def test_a_pass_in_another_position_counts_for_the_same_piece() -> None:
    assert climbed(foot(), replace(a_pass(43), exercise_id="old-tune@G:third")).good == 1


def stopped(judged: int, wrong: int, gross: int = 0, tempo: float = 60) -> PassResult:
    return replace(a_pass(tempo), finished=False, judged=judged, wrong=wrong, gross=gross)


@pytest.mark.parametrize(
    ("broken_off", "verdict"),
    [
        (stopped(10, 0), "no matter"),
        (stopped(10, 1), "no matter"),  # nine of ten: what the lower rungs let pass
        (stopped(20, 2), "no matter"),
        (stopped(10, 2), "failed"),
        (stopped(19, 2), "failed"),
        (stopped(4, 1), "failed"),
        (stopped(3, 3), "no matter"),  # a false start
        (stopped(0, 0), "no matter"),
        (stopped(10, 0, gross=2), "no matter"),
        (stopped(10, 0, gross=3), "failed"),
        (stopped(3, 0, gross=3), "no matter"),
        (stopped(10, 9, tempo=61), "no matter"),  # faster than was asked
        (stopped(10, 9, tempo=59), "failed"),
    ],
)
def test_a_pass_broken_off_fails_only_if_more_was_wrong_by_then_than_the_rung_lets_pass(
    broken_off: PassResult, verdict: str
) -> None:
    assert verdict_at(foot(100), broken_off) == verdict


def test_a_pass_broken_off_is_measured_as_a_whole_one_at_its_tempo_would_be() -> None:
    """At the top no gross fault is let pass; slowly two are, played to the end or not."""
    top = replace(foot(100), tempo=100)
    slowly = replace(a_pass(60), gross=2, harmony=0.9, judged=10, wrong=1)
    assert verdict_at(top, slowly) == "no matter"
    assert verdict_at(top, replace(slowly, finished=False)) == "no matter"
    assert verdict_at(top, replace(slowly, tempo=100)) == "failed"
    assert verdict_at(top, replace(slowly, tempo=100, finished=False)) == "failed"


# ── what a pass has to reach ─────────────────────────────────────────────────────────────────

SLOWLY, NEARLY, THERE = (60, 65), (66, 85), (86, 100)  # of a hundred beats a minute


@pytest.mark.parametrize(
    ("tempi", "harmony", "time", "movement", "gross"),
    [
        (SLOWLY, 0.90, 0.75, 0.80, 2),
        (NEARLY, 0.92, 0.80, 0.85, 1),
        (THERE, 0.95, 0.85, 0.90, 0),
    ],
)
def test_a_pass_is_good_that_just_reaches_what_is_asked_and_no_other(
    tempi: tuple[int, int], harmony: float, time: float, movement: float, gross: int
) -> None:
    for tempo in tempi:
        at = replace(foot(100), tempo=tempo)
        just = replace(a_pass(tempo), harmony=harmony, time=time, movement=movement, gross=gross)
        assert verdict_at(at, just) == "good"
        for field, less in (("harmony", harmony), ("time", time), ("movement", movement)):
            assert verdict_at(at, replace(just, **{field: less - 0.001})) == "failed"
        assert verdict_at(at, replace(just, gross=gross + 1)) == "failed"


@pytest.mark.parametrize(
    ("tempo", "gross"),
    [
        (60, "at most 2 gross faults"),
        (80, "at most one gross fault"),
        (100, "no gross fault"),
    ],
)
def test_what_is_let_pass_is_said_in_words(tempo: float, gross: str) -> None:
    assert in_words(criteria_at(tempo, 100)).endswith(f" of the successions clean, {gross}")


def test_what_is_asked_grows_towards_the_tempo_of_the_piece() -> None:
    low, high = criteria_at(43, 72), criteria_at(72, 72)
    assert low.harmony < high.harmony
    assert low.time < high.time
    assert low.movement < high.movement
    assert high == TOP
    assert foot(72).rung == Rung(43, low)
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


def test_a_criterion_is_shown_with_what_was_needed_and_reached() -> None:
    result = replace(a_pass(100), harmony=0.9, time=0.8, movement=0.7, gross=1)
    lines = compared(criteria_at(100, 100), result)
    assert [(line.needed, line.reached) for line in lines] == [
        (0.95, 0.9),
        (0.85, 0.8),
        (0.9, 0.7),
        (0, 1),
    ]
    untimed = compared(criteria_at(100, 100), a_pass(None))
    assert (untimed[1].reached, untimed[1].met) == (0.0, False)


@pytest.mark.parametrize("tempo", [0, -3, 4, 9.9, 400.1, 1000, float("nan"), float("inf")])
def test_an_impossible_tempo_is_named(tempo: float) -> None:
    with pytest.raises(InputError, match="beats a minute") as raised:
        foot(tempo)
    assert raised.value.remedy == "choose a tempo from 10 to 400"


def test_the_slowest_and_the_fastest_tempo_can_be_practised() -> None:
    assert foot(10).goal == 10
    assert foot(400).tempo == 240


# ── many ladders ─────────────────────────────────────────────────────────────────────────────

HERE = ("old-tune", "G major", "1+3")


def test_every_whole_timed_pass_at_a_piece_with_a_tempo_is_on_a_ladder() -> None:
    passes = [
        a_pass(43),
        a_pass(43),
        a_pass(None),
        replace(a_pass(43), whole=False),
        replace(a_pass(43), exercise_id="without-a-tempo"),
        replace(a_pass(43), exercise_id="old-tune@D", key="D major"),
        replace(a_pass(43), hands="2+2"),
    ]
    found = ladders(passes, {"old-tune": 72.0})
    assert set(found) == {HERE, ("old-tune", "D major", "1+3"), ("old-tune", "G major", "2+2")}
    assert found[HERE] == fold(foot(72), passes[:2])


def test_ladders_go_on_from_those_known_before_and_leave_them_as_they_were() -> None:
    passes = [a_pass(43)] * 5
    before = ladders(passes[:3], {"old-tune": 72.0})
    kept = dict(before)
    assert ladders(passes[3:], {"old-tune": 72.0}, before) == ladders(passes, {"old-tune": 72.0})
    assert before == kept


def test_a_ladder_known_is_taken_up_where_it_was_left() -> None:
    known = {HERE: replace(foot(72), tempo=50.0, good=1)}
    assert taken_up(known, HERE, 72.0) is known[HERE]


@pytest.mark.parametrize(
    ("secure", "begins_at"),
    [(None, 60), (60.0, 60), (70.0, 60), (72.0, 61), (100.0, 85)],
)
def test_what_is_secure_in_another_key_begins_higher_in_this_one(
    secure: float | None, begins_at: float
) -> None:
    """At 85 hundredths of it, and no lower than its foot."""
    other = ("old-tune", "D major", "1+3")
    known = {other: replace(foot(100), key="D major", highest=secure)}
    assert taken_up(known, HERE, 100.0).tempo == begins_at


def test_the_fastest_of_several_other_ladders_tells_where_to_begin() -> None:
    known = {
        ("old-tune", key, "1+3"): replace(foot(100), key=key, highest=highest)
        for key, highest in (("D major", 80.0), ("A major", 90.0), ("C major", 85.0))
    }
    known["another", "G major", "1+3"] = replace(foot(100), piece="another", highest=100.0)
    assert taken_up(known, HERE, 100.0).tempo == 76


def test_no_ladder_begins_above_the_tempo_of_its_piece() -> None:
    """The tempo written in a file may have been lowered since it was secure in another key."""
    known = {("old-tune", "D major", "1+3"): replace(foot(100), key="D major", highest=100.0)}
    assert taken_up(known, HERE, 72.0).tempo == 72


# ── whatever is played ───────────────────────────────────────────────────────────────────────


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
