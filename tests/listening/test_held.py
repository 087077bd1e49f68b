"""Keys held on several manuals at once."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal
from trainer.listening.held import Held
from trainer.listening.manuals import Manual
from trainer.listening.midi import ByteReader

GREAT, SWELL = ("console", 0), ("console", 1)
LEFT, RIGHT = Manual.LEFT_HAND, Manual.RIGHT_HAND


def test_a_pitch_held_on_two_manuals_is_up_when_both_have_let_it_go() -> None:
    held = Held()
    held.press(GREAT, 60, 0, 70, 1.0)
    held.press(SWELL, 60, 0, 70, 1.1)
    assert held.release(GREAT, 60, 0, 2.0) == []
    assert held.release(SWELL, 60, 0, 3.0) == [KeyUp(3.0, 60)]


def test_silencing_one_channel_leaves_what_another_holds() -> None:
    held = Held()
    for manual in (GREAT, SWELL):
        held.press(manual, 60, 0, 70, 1.0)
    held.press(GREAT, 64, 0, 70, 1.0)
    assert held.keys_up(GREAT, 2.0) == [KeyUp(2.0, 64)]
    assert held.release(SWELL, 60, 0, 3.0) == [KeyUp(3.0, 60)]


def test_a_key_struck_again_without_being_let_go_is_held_once() -> None:
    held = Held()
    held.press(GREAT, 60, 0, 70, 1.0)
    assert held.press(GREAT, 60, 0, 70, 1.5) == [KeyDown(1.5, 60, 70)]
    assert held.release(GREAT, 60, 0, 2.0) == [KeyUp(2.0, 60)]


def test_two_keys_moved_onto_one_pitch_are_held_as_one() -> None:
    held = Held()
    held.press(GREAT, 48, 1, 70, 1.0)
    held.press(SWELL, 60, 0, 70, 1.0)
    assert held.release(GREAT, 48, 1, 2.0) == []
    assert held.release(SWELL, 60, 0, 2.0) == [KeyUp(2.0, 60)]


def test_a_key_that_would_be_moved_off_the_keyboard_stays() -> None:
    assert Held().press(GREAT, 120, 1, 70, 1.0) == [KeyDown(1.0, 120, 70)]


def test_the_pedal_is_up_when_every_manual_has_let_it_go() -> None:
    held = Held()
    assert held.pedal(GREAT, True, 1.0) == [Pedal(1.0, True)]
    assert held.pedal(SWELL, True, 1.0) == [] == held.pedal(GREAT, False, 2.0)
    assert held.pedal(SWELL, False, 3.0) == [Pedal(3.0, False)]


def test_a_pitch_on_two_manuals_that_play_different_things_is_two_keys() -> None:
    held = Held()
    assert held.press(GREAT, 60, 0, 70, 1.0, RIGHT) == [KeyDown(1.0, 60, 70, RIGHT)]
    assert held.press(SWELL, 60, 0, 71, 1.1, LEFT) == [KeyDown(1.1, 60, 71, LEFT)]
    assert held.release(GREAT, 60, 0, 2.0, RIGHT) == [KeyUp(2.0, 60, RIGHT)]
    assert held.release(SWELL, 60, 0, 3.0, LEFT) == [KeyUp(3.0, 60, LEFT)]


def test_two_manuals_for_one_hand_hold_a_pitch_as_one_key() -> None:
    held = Held()
    held.press(GREAT, 60, 0, 70, 1.0, RIGHT)
    held.press(SWELL, 60, 0, 71, 1.1, RIGHT)
    assert held.release(GREAT, 60, 0, 2.0, RIGHT) == []
    assert held.release(SWELL, 60, 0, 3.0, RIGHT) == [KeyUp(3.0, 60, RIGHT)]


def test_a_key_stays_what_it_was_pressed_as_until_it_is_let_go() -> None:
    held = Held()
    held.press(GREAT, 60, 0, 70, 1.0, RIGHT)
    assert held.release(GREAT, 60, 0, 2.0, LEFT) == [KeyUp(2.0, 60, RIGHT)]
    held.press(GREAT, 60, 0, 70, 3.0, RIGHT)
    assert held.silence("console", 4.0) == [KeyUp(4.0, 60, RIGHT)]


def test_a_pulled_cable_takes_only_its_own_keys() -> None:
    held = Held()
    great, pedals = ByteReader(held, "great"), ByteReader(held, "pedals")
    great.feed([0x90, 60, 70, 0x91, 62, 70, 0xB0, 64, 127], 1.0)
    pedals.feed([0x90, 36, 70, 60, 70], 1.0)
    assert great.release_all(2.0) == [KeyUp(2.0, 62), Pedal(2.0, False)]
    assert pedals.release_all(3.0) == [KeyUp(3.0, 36), KeyUp(3.0, 60)]


touches = st.lists(
    st.tuples(
        st.sampled_from(("press", "release", "keys_up", "silence")),
        st.sampled_from(("a", "b")),
        st.integers(0, 2),
        st.integers(0, 3),
    ),
    max_size=80,
)


@given(touches)
def test_what_sounds_is_what_somebody_holds(plan: list[tuple[str, str, int, int]]) -> None:
    """Against the plainest model there is: a set of (port, channel, key)."""
    held, model, sounding = Held(), set(), set()
    for what, port, channel, key in plan:
        manual = port, channel
        events: list[KeyEvent]
        if what == "press":
            model.add((port, channel, key))
            events = held.press(manual, key, 0, 70, 0.0)
        elif what == "release":
            model.discard((port, channel, key))
            events = held.release(manual, key, 0, 0.0)
        elif what == "keys_up":
            model = {m for m in model if m[:2] != manual}
            events = held.keys_up(manual, 0.0)
        else:
            model = {m for m in model if m[0] != port}
            events = held.silence(port, 0.0)
        for event in events:
            if isinstance(event, KeyDown):
                sounding.add(event.key)
            elif isinstance(event, KeyUp):
                sounding.discard(event.key)
        assert sounding == {key for _, _, key in model}
