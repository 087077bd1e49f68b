"""All manuals side by side as one long keyboard."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from trainer.listening.capture import struck_chords
from trainer.listening.events import KeyDown, KeyEvent, KeyUp
from trainer.listening.manuals import (
    Manual,
    as_bass,
    as_soprano,
    key_at,
    keys_at,
    manual_at,
    manual_plain,
    placed,
)

keys = st.integers(0, 127)
manuals = st.sampled_from(Manual)


@given(keys, manuals)
def test_a_place_tells_key_manual_and_pitch_class(key: int, manual: Manual) -> None:
    place = placed(key, manual)
    assert (key_at(place), manual_at(place), place % 12) == (key, manual, key % 12)


@given(keys)
def test_where_nothing_is_told_a_place_is_the_key(key: int) -> None:
    assert placed(key, Manual.EVERYTHING) == key


def test_the_bass_lies_leftmost_and_the_right_hand_rightmost_whatever_the_keys() -> None:
    order = (Manual.BASS, Manual.LEFT_HAND, Manual.EVERYTHING, Manual.RIGHT_HAND)
    for lower, upper in pairwise(order):
        assert placed(127, lower) < placed(0, upper)


def test_the_boards_stand_side_by_side_and_keep_their_numbers_in_the_log() -> None:
    lefts = [placed(0, manual) for manual in sorted(Manual, key=lambda m: placed(0, m))]
    assert lefts == [-264, -132, 0, 132]
    assert [(manual.value, manual.words) for manual in Manual] == [
        (0, "everything"),
        (1, "bass"),
        (2, "left hand"),
        (3, "right hand"),
    ]


def test_beside_a_key_stands_what_its_manual_was_told_unless_that_is_everything() -> None:
    assert manual_plain(Manual.EVERYTHING) == {}
    assert manual_plain(Manual.LEFT_HAND) == {"manual": "left hand"}


def test_one_pitch_on_two_manuals_is_two_keys() -> None:
    places = (placed(48, Manual.BASS), placed(60, Manual.EVERYTHING), 48)
    assert keys_at(places) == (48, 48, 60)


@given(keys, keys)
def test_a_voice_that_no_finger_plays_lies_beside_the_played_ones(key: int, played: int) -> None:
    for manual in (Manual.BASS, Manual.LEFT_HAND, Manual.EVERYTHING):
        assert as_bass(key, placed(played, manual)) == placed(key, manual)
    assert as_bass(key, placed(played, Manual.RIGHT_HAND)) == key
    for manual in (Manual.EVERYTHING, Manual.RIGHT_HAND):
        assert as_soprano(key, placed(played, manual)) == placed(key, manual)
    for manual in (Manual.BASS, Manual.LEFT_HAND):
        assert as_soprano(key, placed(played, manual)) == key


def test_a_chord_gathers_from_the_bass_up_though_the_pedal_lies_above() -> None:
    down = [
        KeyDown(0.0, 48, 70, Manual.LEFT_HAND),
        KeyDown(0.0, 64, 70, Manual.RIGHT_HAND),
        KeyDown(0.01, 60, 70, Manual.BASS),
    ]
    (chord,) = struck_chords(down)
    assert [key_at(place) for place in chord.struck] == [60, 48, 64]
    assert keys_at(chord.keys) == (48, 60, 64)


def test_a_key_let_go_on_one_manual_is_held_on_the_other() -> None:
    events: list[KeyEvent] = [
        KeyDown(0.0, 60, 70, Manual.LEFT_HAND),
        KeyDown(0.5, 60, 70, Manual.RIGHT_HAND),
        KeyUp(1.0, 60, Manual.LEFT_HAND),
        KeyDown(1.5, 67, 70, Manual.RIGHT_HAND),
    ]
    first, second, third = struck_chords(events)
    assert (second.struck, second.held) == (
        (placed(60, Manual.RIGHT_HAND),),
        (placed(60, Manual.LEFT_HAND),),
    )
    assert third.held == (placed(60, Manual.RIGHT_HAND),)
    assert first.held == ()
