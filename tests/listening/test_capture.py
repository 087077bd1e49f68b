"""From keys to struck chords."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from trainer.listening.capture import (
    ROLLED,
    TOGETHER,
    Capture,
    close,
    hear,
    settle,
    struck_chords,
)
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal, StruckChord


def down(time: float, *keys: int) -> list[KeyEvent]:
    return [KeyDown(time, key) for key in keys]


def up(time: float, *keys: int) -> list[KeyEvent]:
    return [KeyUp(time, key) for key in keys]


def heard(events: Sequence[KeyEvent]) -> Capture:
    capture = Capture()
    for event in events:
        capture, _ = hear(capture, event)
    return capture


def test_keys_within_50_ms_are_one_chord() -> None:
    events = [*down(0.0, 48), *down(0.030, 60), *down(0.049, 64), *up(0.8, 48, 60, 64)]
    assert struck_chords(events) == (StruckChord((48, 60, 64), (), (), 0.0, 0.049),)


def test_a_rolled_chord_is_one_chord_while_its_keys_stay_down() -> None:
    events = [KeyDown(0.1 * n, key) for n, key in enumerate((48, 55, 60, 64))]
    (chord,) = struck_chords(events)
    assert chord.struck == (48, 55, 60, 64) and chord.spread == 0.1 * 3


def test_a_key_after_a_pause_is_a_new_chord() -> None:
    first, second = struck_chords([*down(0.0, 48, 60), *down(ROLLED + 0.01, 64)])
    assert first.struck == (48, 60) and second.struck == (64,) and second.held == (48, 60)


def test_a_common_tone_that_stays_down_is_held() -> None:
    events = [*down(0.0, 48, 60, 64), *up(0.5, 48, 64), *down(0.55, 53, 65)]
    assert struck_chords(events)[1] == StruckChord((53, 65), (60,), (), 0.55, 0.55)


def test_fingers_that_leave_late_are_not_held_tones() -> None:
    events = [*down(0.0, 48, 60), *down(0.5, 50, 62), *up(0.54, 48), *up(0.58, 60)]
    assert struck_chords(events)[1].held == ()


def test_a_slip_put_right_at_once_is_in_no_chord() -> None:
    events = [*down(0.0, 48, 61), *up(0.02, 61), *down(0.04, 60), *up(0.9, 48, 60)]
    assert struck_chords(events) == (StruckChord((48, 60), (), (), 0.0, 0.04),)


def test_a_staccato_chord_is_whole() -> None:
    events = [*down(0.0, 48, 60), *up(0.03, 48, 60)]
    assert struck_chords(events)[0].struck == (48, 60)


def test_a_doubled_press_counts_once() -> None:
    events = [*down(0.0, 48, 60), *up(0.02, 60), *down(0.04, 60)]
    assert struck_chords(events)[0].struck == (48, 60)
    without_a_key_up_between = [*down(0.0, 48, 60), *down(0.04, 60)]
    assert struck_chords(without_a_key_up_between)[0].struck == (48, 60)


def test_a_key_only_the_pedal_keeps_is_pedalled_and_not_held() -> None:
    events = [*down(0.0, 48), Pedal(0.1, True), *up(0.3, 48), *down(0.5, 60), Pedal(0.9, False)]
    assert struck_chords(events)[1] == StruckChord((60,), (), (48,), 0.5, 0.5)


def test_the_pedal_changed_after_the_chord_lets_the_old_one_go() -> None:
    events = [*down(0.0, 48), Pedal(0.1, True), *up(0.4, 48), *down(0.5, 60), Pedal(0.55, False)]
    assert struck_chords(events)[1].pedalled == ()


def test_a_chord_is_closed_by_time_alone() -> None:
    capture, closed = hear(Capture(), KeyDown(1.0, 60))
    assert closed == () and capture.gathering == (60,) and capture.closes_at == 1.0 + ROLLED
    assert settle(capture, 1.0 + TOGETHER)[1] == ()
    capture, closed = settle(capture, 1.0 + ROLLED)
    assert [chord.struck for chord in closed] == [(60,)] and capture.gathering == ()
    assert capture.down == (60,)


def test_strokes_know_how_long_fingers_and_pedal_kept_them() -> None:
    events = [*down(0.0, 60), Pedal(0.1, True), *up(0.5, 60), Pedal(0.9, False)]
    stroke = heard(events).strokes.latest(60, 1.0)
    assert stroke is not None and (stroke.down, stroke.up, stroke.silent) == (0.0, 0.5, 0.9)
    assert stroke.held_at(0.4) and not stroke.held_at(0.6) and stroke.sounding_at(0.6)


steps = st.lists(
    st.tuples(st.sampled_from("dup"), st.integers(48, 72), st.floats(0.0, 0.4)), max_size=60
)


def performance(moves: Sequence[tuple[str, int, float]]) -> list[KeyEvent]:
    time, events = 0.0, list[KeyEvent]()
    for kind, key, wait in moves:
        time += wait
        if kind == "d":
            events.append(KeyDown(time, key))
        elif kind == "u":
            events.append(KeyUp(time, key))
        else:
            events.append(Pedal(time, key % 2 == 0))
    return events


@given(steps)
def test_every_key_is_struck_in_exactly_one_chord_unless_it_was_a_slip(
    moves: list[tuple[str, int, float]],
) -> None:
    events = performance(moves)
    chords = struck_chords(events)
    pressed = [event for event in events if isinstance(event, KeyDown)]
    assert sum(len(chord.struck) for chord in chords) <= len(pressed)
    for chord in chords:
        assert chord.struck and chord.first <= chord.last
        assert list(chord.struck) == sorted(set(chord.struck))
        assert not {*chord.struck} & {*chord.held} and not {*chord.keys} & {*chord.pedalled}
    assert [c.first for c in chords] == sorted(c.first for c in chords)
    strokes = heard(events).strokes
    assert len(strokes.sounding) + sum(map(len, strokes.ended.values())) == len(pressed)


@given(steps, st.floats(0.001, 0.05))
def test_looking_at_the_clock_between_events_changes_nothing(
    moves: list[tuple[str, int, float]], every: float
) -> None:
    events = performance(moves)
    capture, chords, now = Capture(), list[StruckChord](), 0.0
    for event in events:
        while now + every < event.time:
            now += every
            capture, closed = settle(capture, now)
            chords += closed
        capture, closed = hear(capture, event)
        chords += closed
    assert (*chords, *close(capture)[1]) == struck_chords(events)
