"""The arithmetic of movement against the line of fifths, and a case on each side of each bound."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from trainer.theory import motion
from trainer.theory.pitch import Pitch

# On the line of fifths an octave is 0 away, a fifth 1, a diminished fifth -6, an augmented fourth 6
# and an augmented second 9: common practice, no source.
NAMES = "c3 db3 d3 eb3 e3 f3 f#3 g3 g#3 ab3 b3 c4 d4 f4 g4 c5"
NOTES = [Pitch.parse(name) for name in NAMES.split()]
COUNT = len(NOTES)
# every succession of two voices from these: (before, before, after, after) as places in NOTES
LOW, HIGH, LOW_AFTER, HIGH_AFTER = np.indices((COUNT,) * 4).reshape(4, -1)
MIDI = np.array([one.midi for one in NOTES])
HEIGHT = np.array([one.height for one in NOTES])
FIFTHS = np.array([one.name.fifths for one in NOTES])


def note(places: Any) -> motion.Note:
    return MIDI[places], HEIGHT[places]


ALL = (note(LOW), note(HIGH), note(LOW_AFTER), note(HIGH_AFTER))


def apart(lower: Any, upper: Any) -> Any:
    """Steps on the line of fifths."""
    return FIFTHS[upper] - FIFTHS[lower]


def way(before: Any, after: Any) -> Any:
    """1 up, -1 down, 0 for a key that stays."""
    return np.sign(MIDI[after] - MIDI[before])


BEFORE, AFTER = apart(LOW, HIGH), apart(LOW_AFTER, HIGH_AFTER)
WAYS = way(LOW, LOW_AFTER), way(HIGH, HIGH_AFTER)
SIMILAR = (WAYS[0] == WAYS[1]) & (WAYS[0] != 0)
CONTRARY = (WAYS[0] == -WAYS[1]) & (WAYS[0] != 0)
LEAP = np.abs(HEIGHT[HIGH_AFTER] - HEIGHT[HIGH]) >= 2


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (motion.similar(*ALL), SIMILAR),
        (motion.contrary(*ALL), CONTRARY),
        (motion.consecutive_octaves(*ALL), SIMILAR & (BEFORE == 0) & (AFTER == 0)),
        (motion.consecutive_fifths(*ALL), SIMILAR & (BEFORE == 1) & (AFTER == 1)),
        (
            motion.by_contrary_motion(*ALL),
            CONTRARY & (BEFORE == AFTER) & ((BEFORE == 0) | (BEFORE == 1)),
        ),
        (motion.unequal_fifths(*ALL), SIMILAR & (BEFORE == -6) & (AFTER == 1)),
        (motion.hidden_octave(*ALL), SIMILAR & LEAP & (BEFORE != 0) & (AFTER == 0)),
        (motion.hidden_fifth(*ALL), SIMILAR & LEAP & (BEFORE != 1) & (AFTER == 1)),
    ],
    ids=[
        "similar",
        "contrary",
        "octaves",
        "fifths",
        "by contrary motion",
        "unequal fifths",
        "hidden octave",
        "hidden fifth",
    ],
)
def test_every_succession_of_two_voices_is_what_the_line_of_fifths_says(
    found: Any, expected: Any
) -> None:
    assert expected.any()
    assert (found == expected).all()


def test_intervals_are_told_by_their_spelling() -> None:
    lower, upper = note(LOW), note(HIGH)
    assert (motion.is_octave(lower, upper) == (BEFORE == 0)).all()
    assert (motion.is_fifth(lower, upper) == (BEFORE == 1)).all()
    assert (motion.is_diminished_fifth(lower, upper) == (BEFORE == -6)).all()


def test_a_neighbour_overlaps_where_it_goes_beyond_the_other_without_crossing_it() -> None:
    beyond = (MIDI[LOW_AFTER] > MIDI[HIGH]) | (MIDI[HIGH_AFTER] < MIDI[LOW])
    crossed = MIDI[LOW_AFTER] > MIDI[HIGH_AFTER]
    assert (motion.overlap(*ALL) == (beyond & ~crossed)).all()


def test_augmented_steps_are_nine_or_six_fifths_away_and_near_by() -> None:
    """A third of as many keys, or a diminished fifth, lies elsewhere on that line."""
    letters, fifths = HEIGHT[HIGH] - HEIGHT[LOW], BEFORE
    second = ((letters == 1) & (fifths == 9)) | ((letters == -1) & (fifths == -9))
    fourth = ((letters == 3) & (fifths == 6)) | ((letters == -3) & (fifths == -6))
    assert second.any() and fourth.any()
    assert (motion.augmented_step(note(LOW), note(HIGH)) == (second | fourth)).all()


def one(name: str) -> motion.Note:
    return motion.note(Pitch.parse(name))


def test_a_note_is_its_key_and_its_place_on_the_staff() -> None:
    assert one("c4") == (60, 28)
    assert one("b#3") == (60, 27)


@pytest.mark.parametrize(
    ("first", "second", "leaps"),
    [("c4", "g4", False), ("c4", "a4", True), ("g4", "c4", False), ("a4", "c4", True)],
)
def test_a_middle_voice_may_leap_a_fifth_and_no_further(
    first: str, second: str, leaps: bool
) -> None:
    assert motion.middle_leap(one(first), one(second)) == leaps


@pytest.mark.parametrize(("low", "high", "wide"), [("c4", "c5", False), ("c4", "c#5", True)])
def test_an_octave_is_not_too_wide_and_a_semitone_more_is(low: str, high: str, wide: bool) -> None:
    assert motion.wide(one(low), one(high)) == wide


@pytest.mark.parametrize(
    ("lower", "upper", "crossed"),
    [("e4", "d4", True), ("e4", "e4", False), ("e4", "f4", False), ("e4", "d#4", True)],
)
def test_voices_on_one_key_have_not_crossed(lower: str, upper: str, crossed: bool) -> None:
    assert motion.crossing(one(lower), one(upper)) == crossed


def test_upper_voices_reach_down_to_small_c_and_a_free_top_voice_up_to_the_fifth_line() -> None:
    assert not motion.too_low(one("c3")) and motion.too_low(one("b2"))
    assert not motion.too_high(one("f5")) and motion.too_high(one("f#5"))


@pytest.mark.parametrize(
    ("bass", "tenor", "dense"),
    [
        ("g2", "b2", True),  # a major third, both below small c
        ("g2", "bb2", True),
        ("f#2", "b2", False),  # a fourth
        ("a2", "c3", False),  # the upper one is small c
        ("g#2", "b2", True),
        ("b2", "b2", False),  # one key is not dense
        ("a#2", "b2", True),
    ],
)
def test_a_third_sounds_thick_below_small_c(bass: str, tenor: str, dense: bool) -> None:
    assert motion.dense_low(one(bass), one(tenor)) == dense
