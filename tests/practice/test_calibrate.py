"""The constant offset, from taps."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.errors import InputError
from trainer.practice.calibrate import offset, tactus

errors = st.lists(st.floats(-0.03, 0.03), min_size=16, max_size=16)


@given(st.floats(-0.25, 0.25), st.sampled_from([60.0, 80.0, 110.0]), errors)
def test_a_known_offset_is_recovered_from_uneven_taps(
    known: float, tempo: float, uneven: list[float]
) -> None:
    known *= 60.0 / tempo  # up to a quarter of a beat
    taps = [100.0 + (4 + n) * 60.0 / tempo + known + off for n, off in enumerate(uneven)]
    found = offset(taps, 100.0, tempo, 20)
    assert abs(found.seconds - known) <= 0.03 and found.taps == 16 and found.deviation <= 0.0667


def test_an_even_player_is_measured_exactly() -> None:
    taps = [10.0 + n * 0.5 + 0.0123 for n in range(20)]
    found = offset(taps, 10.0, 120.0, 20)
    assert found.seconds == pytest.approx(0.0123) and found.deviation == pytest.approx(0.0)
    assert found.steady and found.taps == 16


def test_outliers_and_doubled_taps_do_not_move_it() -> None:
    taps = [n * 0.75 + 0.02 for n in range(4, 20)] + [6.15, 9.3]
    assert offset(taps, 0.0, 80.0, 20).seconds == pytest.approx(0.02)


def test_taps_while_listening_do_not_count() -> None:
    taps = [n * 0.75 + 0.3 for n in range(4)] + [n * 0.75 for n in range(4, 20)]
    assert offset(taps, 0.0, 80.0, 20).seconds == pytest.approx(0.0)


def test_too_few_taps_are_named() -> None:
    with pytest.raises(InputError, match="3 taps"):
        offset([3.0, 3.75, 4.5], 0.0, 80.0, 20)


def test_an_unsteady_player_is_told_so() -> None:
    taps = [n * 0.75 + (0.2 if n % 2 else -0.2) for n in range(4, 20)]
    assert not offset(taps, 0.0, 80.0, 20).steady


def test_the_tactus_goes_in_fours() -> None:
    beats = tactus(120.0, 8)
    assert [beat.start for beat in beats] == [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5]
    assert [beat.accent for beat in beats] == [True, False, False, False] * 2
