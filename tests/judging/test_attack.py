"""When each hand struck, in what manner, and what of it is in time."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.journal.samples import STARTED
from tests.judging.touches import Touch, conditions, played, with_best
from trainer.judging.attack import Struck, begun, struck
from trainer.judging.passes import judge
from trainer.judging.take import Take
from trainer.judging.task import Awaited
from trainer.judging.timing import timing, untimely
from trainer.judging.verdict import Attack, Manner, Onset, PassVerdict
from trainer.listening.manuals import Manual, placed
from trainer.score.kern import write_exercise
from trainer.theory.hands import HANDS, Hands

C, E, G = 0, 4, 7
CHORD = Awaited(0, True, C, C, frozenset((C, E, G)), frozenset((C, E, G)), 4)


def hands(division: Hands, *keys: tuple[int, float], asked: Awaited = CHORD) -> Struck:
    found = struck(asked, division, dict(keys))
    assert found is not None
    return found


def test_nothing_struck_is_no_attack() -> None:
    assert struck(CHORD, "1+3", {}) is None and begun(()) is None


@pytest.mark.parametrize(
    ("keys", "manner", "left", "right"),
    [
        (((48, 0.0), (64, 0.01), (67, 0.02), (72, 0.0)), "together", 0.0, 0.01),
        (((48, 0.0), (64, 0.30), (67, 0.31), (72, 0.30)), "hands apart", 0.0, 0.305),
        (((48, 0.2), (64, 0.0), (67, 0.0), (72, 0.0)), "hands apart", 0.2, 0.0),
        (((48, 0.0), (64, 0.07), (67, 0.14), (72, 0.21)), "rolled up", 0.0, 0.07),
        (((48, 0.21), (64, 0.14), (67, 0.07), (72, 0.0)), "rolled down", 0.21, 0.0),
        (((48, 0.0), (64, 0.0), (67, 0.4), (72, 0.0)), "spread", 0.0, 0.0),
        (((60, 0.0), (64, 0.0), (67, 0.0)), "together", 0.0, 0.0),
    ],
)
def test_the_hands_of_a_chord_of_one_and_three(
    keys: tuple[tuple[int, float], ...], manner: Manner, left: float, right: float
) -> None:
    found = hands("1+3", *keys)
    assert found.manner == manner
    assert (found.left, found.right) == pytest.approx((left, right))
    assert (found.bass, found.melody) == (keys[0][1], keys[-1][1])


@pytest.mark.parametrize(
    ("keys", "left", "right"),
    [
        (((48, 0.0), (55, 0.0), (64, 0.2), (72, 0.2)), 0.0, 0.2),
        (((48, 0.0), (55, 0.0), (72, 0.2)), 0.0, 0.2),  # three keys: two of them at once
        (((48, 0.0), (64, 0.2), (72, 0.2)), 0.0, 0.2),
        (((48, 0.0), (60, 0.0), (72, 0.0)), 0.0, 0.0),
        (((48, 0.0),), 0.0, None),
        (((72, 0.0),), 0.0, None),  # an octave of the bass, and nothing tells it from the bass
        (((64, 0.0),), None, 0.0),
    ],
)
def test_the_hands_of_a_chord_of_two_and_two(
    keys: tuple[tuple[int, float], ...], left: float | None, right: float | None
) -> None:
    found = hands("2+2", *keys)
    assert (found.left, found.right) == (left, right)


def test_a_right_hand_without_its_bass_is_no_left_hand() -> None:
    found = hands("1+3", (64, 0.0), (67, 0.0), (72, 0.0))
    assert (found.left, found.bass, found.right, found.melody) == (None, None, 0.0, 0.0)


def test_a_wrong_bass_far_below_is_the_left_hands() -> None:
    found = hands("1+3", (50, 0.1), (64, 0.0), (67, 0.0), (72, 0.0))
    assert (found.left, found.bass, found.right) == (0.1, 0.1, 0.0)


def test_manuals_that_are_told_what_they_play_tell_the_hands_apart() -> None:
    low, high = placed(72, Manual.LEFT_HAND), placed(60, Manual.RIGHT_HAND)
    found = hands("1+3", (low, 0.0), (high, 0.4))
    assert (found.left, found.right) == (0.0, 0.4)


# ---- in time --------------------------------------------------------------------------------


def at(beats: float, tempo: float = 60.0) -> Onset:
    return Onset(60_000 / tempo * beats, beats)


@pytest.mark.parametrize(
    ("late", "attack", "out"),
    [
        (at(0.1), None, None),
        (at(0.2), None, ("late", 0.2)),
        (at(-0.2), None, ("early", -0.2)),
        (at(0.0), Attack("hands apart", left=at(0.0), right=at(0.5)), ("apart", 0.5)),
        (at(0.0), Attack("hands apart", left=at(-0.5), right=at(0.0)), ("apart", -0.5)),
        (at(0.0), Attack("hands apart", left=at(-0.13), right=at(0.0)), None),
        (at(0.0), Attack("rolled up", left=at(0.0), right=at(0.3)), None),  # one gesture
        # 90 ms at 120: the bass leans, the hand does not
        (at(0.0, 120), Attack("hands apart", left=at(-0.18, 120), right=at(0.0, 120)), None),
        # 40 ms at 300: no hand is more exact than that
        (at(0.2, 300), Attack("together", left=at(0.2, 300), right=at(0.2, 300)), None),
        (None, Attack("together"), None),
    ],
)
def test_what_of_a_chord_is_out_of_time(
    late: Onset | None, attack: Attack | None, out: tuple[str, float] | None
) -> None:
    assert untimely(late, attack, 0.15) == out


# ---- whole passes ---------------------------------------------------------------------------


def passed(
    division: Hands, tempo: float, left: float, right: float, name: str = "bellows"
) -> PassVerdict:
    """A right pass whose left hand lies `left` seconds behind the beat, the right `right`."""
    exercise, voicings = with_best(name)
    beat = 60 / tempo
    touch = Touch(tempo, right=(right - left) / beat, left=left / beat, hands=division)
    events = tuple(played(exercise, voicings, touch, 10.0))
    text = write_exercise(exercise)
    return judge(Take(exercise.id, text, conditions(touch), events, 10.0, STARTED))


@pytest.mark.parametrize("division", HANDS)
@pytest.mark.parametrize(
    ("tempo", "left", "right"),
    [(60, 0.0, 0.5), (120, -0.09, 0.0), (60, 0.02, 0.02), (40, 0.1, -0.1), (100, -0.06, 0.03)],
)
def test_the_figures_say_how_each_hand_lay(
    division: Hands, tempo: float, left: float, right: float
) -> None:
    figure = passed(division, tempo, left, right).timing
    assert figure is not None and figure.touch is not None
    touch = figure.touch
    assert touch.left is not None and touch.right is not None
    assert touch.left.bias_ms == pytest.approx(1000 * left, abs=5)
    assert touch.right.bias_ms == pytest.approx(1000 * (right - left), abs=5)
    assert touch.left.deviation_ms < 5 and touch.right.deviation_ms < 5
    assert touch.spread_ms == pytest.approx(1000 * abs(right - left), abs=5)


def test_a_hand_half_a_beat_behind_in_every_chord_is_not_in_time() -> None:
    figure = passed("1+3", 60, 0.0, 0.5).timing
    assert figure is not None and figure.touch is not None
    assert figure.touch.left is not None and figure.touch.right is not None
    assert figure.in_time == 0 and figure.touch.left.in_time == figure.judged
    assert figure.touch.right.in_time == 0
    assert dict(figure.touch.manners).keys() == {"hands apart"}


def test_a_bass_that_leans_before_a_hand_in_time_is_in_time() -> None:
    figure = passed("1+3", 120, -0.09, 0.0).timing
    assert figure is not None and figure.in_time == figure.judged


def test_without_marks_of_the_hands_nothing_is_said_of_them() -> None:
    moments = [replace(m, attack=None) for m in passed("1+3", 60, 0.0, 0.0).moments]
    assert timing(moments, 0.15).touch is None
