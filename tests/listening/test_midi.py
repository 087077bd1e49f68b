"""MIDI bytes, against the MIDI 1.0 specification and against mido's own encoder."""

from __future__ import annotations

import mido
from hypothesis import given
from hypothesis import strategies as st

from trainer.listening.events import KeyDown, KeyUp, Pedal
from trainer.listening.midi import ByteReader


def read(*data: int) -> list[object]:
    return list(ByteReader().feed(data, 1.0))


def test_note_on_and_note_off_are_a_key_down_and_up() -> None:
    assert read(0x90, 60, 70, 0x80, 60, 64) == [KeyDown(1.0, 60, 70), KeyUp(1.0, 60)]


def test_note_on_with_velocity_0_is_note_off() -> None:
    assert read(0x90, 60, 70, 0x90, 60, 0) == [KeyDown(1.0, 60, 70), KeyUp(1.0, 60)]


def test_the_status_byte_may_be_left_out_while_it_stays_the_same() -> None:
    assert read(0x90, 60, 70, 64, 71, 60, 0) == [
        KeyDown(1.0, 60, 70),
        KeyDown(1.0, 64, 71),
        KeyUp(1.0, 60),
    ]


def test_clock_and_active_sensing_may_stand_between_any_two_bytes() -> None:
    assert read(0xFE, 0x90, 0xF8, 60, 0xF8, 70, 0xFE) == [KeyDown(1.0, 60, 70)]


def test_a_system_common_message_ends_the_running_status() -> None:
    assert read(0x90, 60, 70, 0xF3, 1, 64, 70) == [KeyDown(1.0, 60, 70)]


def test_system_exclusive_bytes_are_no_keys() -> None:
    assert read(0xF0, 0x90, 0xF7) == []
    assert read(0xF0, 60, 70, 0xF7, 0x90, 60, 70) == [KeyDown(1.0, 60, 70)]


def test_the_pedal_is_down_from_value_64_and_says_so_once() -> None:
    assert read(0xB0, 64, 63, 0xB0, 64, 64, 64, 127, 64, 0) == [Pedal(1.0, True), Pedal(1.0, False)]


def test_all_notes_off_lets_the_keys_of_its_channel_go() -> None:
    reader = ByteReader()
    reader.feed([0x90, 60, 70, 0x91, 64, 70], 1.0)
    assert reader.feed([0xB0, 123, 0], 2.0) == [KeyUp(2.0, 60)]


def test_all_notes_off_on_one_channel_lets_nothing_go_that_another_holds() -> None:
    reader = ByteReader()
    reader.feed([0x90, 60, 70, 0x91, 60, 70, 0x91, 64, 70], 1.0)
    assert reader.feed([0xB1, 123, 0], 2.0) == [KeyUp(2.0, 64)]
    assert reader.feed([0x80, 60, 0], 3.0) == [KeyUp(3.0, 60)]


def test_a_channel_that_is_not_listened_to_gives_nothing() -> None:
    reader = ByteReader(octaves={0: 1}.get)
    assert reader.feed([0x90, 60, 70, 0x91, 60, 70], 1.0) == [KeyDown(1.0, 72, 70)]


def test_a_key_held_on_two_manuals_is_up_when_both_let_it_go() -> None:
    assert read(0x90, 60, 70, 0x91, 60, 70, 0x80, 60, 0) == [
        KeyDown(1.0, 60, 70),
        KeyDown(1.0, 60, 70),
    ]


def test_a_lost_cable_lets_everything_go() -> None:
    reader = ByteReader()
    reader.feed([0x90, 60, 70, 64, 70, 0xB0, 64, 127], 1.0)
    assert set(reader.release_all(2.0)) == {KeyUp(2.0, 60), KeyUp(2.0, 64), Pedal(2.0, False)}
    assert reader.release_all(3.0) == []


messages = st.one_of(
    st.builds(
        mido.Message,
        st.just("note_on"),
        channel=st.just(0),
        note=st.integers(0, 127),
        velocity=st.integers(0, 127),
    ),
    st.builds(mido.Message, st.just("note_off"), channel=st.just(0), note=st.integers(0, 127)),
    st.builds(mido.Message, st.just("aftertouch"), value=st.integers(0, 127)),
    st.builds(mido.Message, st.just("pitchwheel"), pitch=st.integers(-8192, 8191)),
    st.builds(mido.Message, st.just("program_change"), program=st.integers(0, 127)),
    st.builds(mido.Message, st.just("clock")),
)


@given(st.lists(messages, max_size=30), st.integers(1, 7))
def test_what_mido_encodes_is_read_back_in_pieces_of_any_size(
    sent: list[mido.Message], size: int
) -> None:
    stream: list[int] = []
    running = -1
    for message in sent:
        data = message.bytes()
        stream += data[1:] if data[0] == running else data
        running = running if data[0] >= 0xF8 else data[0]
    expected = [
        KeyDown(0.0, m.note, m.velocity)
        if m.type == "note_on" and m.velocity
        else KeyUp(0.0, m.note)
        for m in sent
        if m.type in ("note_on", "note_off")
    ]
    reader = ByteReader()
    got: list[object] = []
    for start in range(0, len(stream), size):
        got += reader.feed(stream[start : start + size], 0.0)
    assert got == expected


@given(st.lists(st.integers(0, 255), max_size=200))
def test_no_stream_of_bytes_breaks_the_reader(data: list[int]) -> None:
    for event in ByteReader().feed(data, 0.0):
        if isinstance(event, KeyDown):
            assert 0 <= event.key <= 127 and 1 <= event.velocity <= 127
