"""Where the beats fall."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tests.judging.lessons import lesson
from trainer.errors import InputError
from trainer.judging.take import Conditions
from trainer.judging.timing import Beat, count_in, onset, timeline, timing
from trainer.judging.verdict import MomentVerdict
from trainer.listening.events import StruckChord
from trainer.score.kern import parse_exercise
from trainer.theory.moment import Metre

FOUR = lesson("C", "c3 d3 e3 f3 g3 a3 b3 c4", "")


def test_a_tempo_counts_beats_of_the_tactus_a_minute() -> None:
    line = timeline(FOUR, Conditions(tempo=120.0))
    assert line.times == (0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5) and line.end == 4.0
    assert [beat.first for beat in line.beats] == [True, False, False, False] * 2


def test_in_compound_metre_the_beat_is_three_units_long() -> None:
    six_eight = replace(FOUR, metres=((Fraction(0), Metre(6, 8)),))
    line = timeline(six_eight, Conditions(tempo=60.0))
    assert line.times[3] == pytest.approx(2.0)  # three quarters are two dotted quarters


def test_a_pass_from_the_middle_begins_at_zero() -> None:
    line = timeline(FOUR, Conditions(tempo=60.0, first=3, last=5))
    assert (line.first, line.times, line.end) == (3, (0.0, 1.0, 2.0), 3.0)
    assert line.time(4) == 1.0


def test_slower_here_only() -> None:
    line = timeline(FOUR, Conditions(tempo=60.0, slower=((2, 3, 0.5),)))
    assert line.times == (0.0, 1.0, 2.0, 4.0, 6.0, 7.0, 8.0, 9.0)
    assert line.beat_length(2) == 2.0 and line.beat_length(4) == 1.0


@pytest.mark.parametrize("tempo", [0.0, 5.0, 1000.0, float("nan"), float("inf"), -60.0])
def test_a_tempo_nobody_can_play_is_named(tempo: float) -> None:
    with pytest.raises(InputError, match="cannot be played"):
        timeline(FOUR, Conditions(tempo=tempo))


def test_moments_that_are_not_there_are_named() -> None:
    with pytest.raises(InputError, match="moments 3 to 30"):
        timeline(FOUR, Conditions(tempo=60.0, first=3, last=30))


def test_the_count_in_is_a_bar_and_what_the_pick_up_lacks() -> None:
    downbeat = FOUR.moments[0]
    assert count_in(downbeat, 0.5) == tuple(
        Beat(time, number == 0) for number, time in enumerate((-2.0, -1.5, -1.0, -0.5))
    )
    third_beat = FOUR.moments[2]
    assert [beat.time for beat in count_in(third_beat, 1.0)] == [-6, -5, -4, -3, -2, -1]
    assert [beat.first for beat in count_in(third_beat, 1.0)] == [1, 0, 0, 0, 1, 0]


def test_the_count_in_leads_into_a_pick_up() -> None:
    text = (
        "!!!OTL: Pick-up\n!!!id: pick-up\n**kern\t**fb\n*Ibass\t*\n*clefF4\t*\n*k[]\t*\n*C:\t*\n"
        "*M3/4\t*\n*MM60\t*\n4G\t.\n=1\t=1\n2C\t.\n4D\t6\n=2\t=2\n2C;\t.\n==\t==\n*-\t*-\n"
    )
    exercise = parse_exercise(text)
    counted = count_in(exercise.moments[0], 1.0)
    assert [beat.time for beat in counted] == [-5, -4, -3, -2, -1]
    assert [beat.first for beat in counted] == [True, False, False, True, False]
    line = timeline(exercise, Conditions(tempo=60.0))
    assert [(beat.time, beat.first) for beat in line.beats][:3] == [
        (0, False),
        (1, True),
        (2, False),
    ]


def test_keys_struck_together_count_from_their_middle_and_a_rolled_chord_from_its_first() -> None:
    assert onset(StruckChord((48, 60), (), (), 1.0, 1.02)) == pytest.approx(1.01)
    assert onset(StruckChord((48, 60), (), (), 1.0, 1.3)) == 1.0


def test_the_figure_for_time_is_median_and_median_deviation() -> None:
    late = [-10.0, 0.0, 10.0, 20.0, 500.0]
    moments = [
        MomentVerdict(i, "complete", late_ms=ms, late_beats=ms / 1000) for i, ms in enumerate(late)
    ]
    figure = timing([*moments, MomentVerdict(5, "not-played")], 0.15)
    assert (figure.in_time, figure.judged) == (4, 5)
    assert figure.bias_ms == 10.0 and figure.deviation_ms == pytest.approx(14.826)
