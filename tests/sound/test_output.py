"""The engine's clock and starts, and the MIDI instrument: no device, no time of their own."""

from __future__ import annotations

from types import SimpleNamespace

import mido
import numpy as np
import pytest

from tests.sound.asked import Asked
from trainer import midi_library
from trainer.errors import InputError
from trainer.sound.engine import LEAD, Clock
from trainer.sound.midi_out import MidiInstrument
from trainer.sound.rendering import BLOCK
from trainer.sound.requests import Choice, KeyOff, KeyOn, Play, Stop
from trainer.sound.tone import RATE
from trainer.sound.track import LATE, OFF, ON, Click, ToneNote, Track, remaining


def test_a_block_asked_for_late_does_not_move_the_clock() -> None:
    clock = Clock()
    for block in range(100):
        late = 0.004 if block % 7 == 3 else 0.0
        clock.asked(256 * block, 10.0 + 256 * block / RATE + late)
    assert clock.frame(10.5) == pytest.approx(0.5 * RATE, abs=2)


def test_after_a_suspended_machine_the_clock_starts_afresh() -> None:
    clock = Clock()
    clock.asked(0, 10.0)
    clock.asked(256, 900.0)
    assert clock.frame(900.0) == pytest.approx(256, abs=1)


@pytest.mark.parametrize("part", [0.0, 0.3, 0.7, 0.999])
def test_a_key_sounds_one_block_after_it_was_struck_wherever_in_a_block_that_was(
    part: float,
) -> None:
    asked = Asked(Choice("plucked", volume=0.5))
    asked.sound(1.0)
    first = asked.mixer.frame
    struck = first + round((part - 1) * BLOCK)  # within the block that just went
    asked.take(KeyOn(72, 64, struck / RATE))
    heard = first + int(np.argmax(np.abs(asked.sound(0.1)) > 0))
    assert 0 <= heard - (struck + LEAD) <= 3  # a waveform begins at zero


def test_a_track_begun_in_the_past_goes_on_where_it_is_by_now() -> None:
    asked = Asked(Choice(volume=0.5))
    asked.sound(1.0)
    notes = (ToneNote(0.0, 0.5, 48), ToneNote(0.5, 1.0, 55), ToneNote(1.5, 0.5, 60))
    clicks = tuple(Click(0.25 * beat) for beat in range(8))
    asked.take(Play(Track(notes, clicks).steps, 0.0))
    asked.sound(0.1)
    sounding = [v for v in asked.mixer._voices if v is not None]
    assert {v.key for v in sounding if v.source == "track"} == {55}
    assert sum(v.source == "tactus" for v in sounding) == 1


def test_of_a_track_nothing_remains_once_it_is_over() -> None:
    notes = (ToneNote(0.0, 0.5, 48), ToneNote(0.0, 0.0, 48), ToneNote(0.5, 1.0, 55))
    track = Track(notes, (Click(0.0, True), Click(1.0)))
    assert list(track.steps) == remaining(track.steps, 0.0)
    assert remaining(track.steps, track.length + LATE + 0.01) == []


def test_a_note_struck_again_ends_before_it_begins() -> None:
    steps = Track((ToneNote(0.0, 0.5, 60), ToneNote(0.5, 0.5, 60))).steps
    assert [what for _, what, _, _ in steps] == [ON, OFF, ON, OFF]


class RecordingPort:
    """Stands for a mido output port: keeps what is sent."""

    def __init__(self) -> None:
        self.sent: list[mido.Message] = []
        self.closed = False

    def send(self, message: mido.Message) -> None:
        self.sent.append(message)

    def close(self) -> None:
        self.closed = True

    def kinds(self) -> list[tuple[str, int, int]]:
        return [(m.type, m.note, m.channel) for m in self.sent]


@pytest.fixture
def port() -> RecordingPort:
    return RecordingPort()


@pytest.fixture
def instrument(port: RecordingPort) -> MidiInstrument:
    return MidiInstrument(port)


def test_a_midi_instrument_plays_the_track_in_time(
    instrument: MidiInstrument, port: RecordingPort
) -> None:
    track = Track((ToneNote(0.0, 0.1, 60), ToneNote(0.1, 0.1, 60)), (Click(0.05, True),))
    instrument.do(Play(track.steps, 100.0), 99.9)
    sent = []
    due = instrument.perform(99.9)
    while due is not None:
        before = len(port.sent)
        now, due = due, instrument.perform(due)
        sent += [(round(now - 100.0, 3), *kind) for kind in port.kinds()[before:]]
    assert sent == [
        (0.0, "note_on", 60, 0),
        (0.05, "note_on", 76, 9),
        (0.1, "note_off", 60, 0),
        (0.1, "note_on", 60, 0),
        (0.1, "note_off", 76, 9),
        (0.2, "note_off", 60, 0),
    ]
    instrument.close()
    assert port.closed


def test_an_instrument_that_takes_over_a_track_leaves_out_what_is_past(
    instrument: MidiInstrument, port: RecordingPort
) -> None:
    notes = (ToneNote(0.0, 0.5, 48), ToneNote(0.5, 1.0, 55))
    instrument.do(Play(Track(notes, (Click(0.0, True), Click(0.75))).steps, 100.0), 100.75)
    instrument.perform(100.75)
    assert port.kinds() == [("note_on", 55, 0), ("note_on", 77, 9)]


def test_stopping_a_midi_instrument_leaves_no_note_hanging(
    instrument: MidiInstrument, port: RecordingPort
) -> None:
    for _ in range(2):
        instrument.do(KeyOn(64, 80, 0.0), 0.0)
    track = Track((ToneNote(0.0, 9.0, 60), ToneNote(5.0, 9.0, 67)))
    instrument.do(Play(track.steps, 0.0), 0.0)
    instrument.perform(0.1)
    instrument.do(Stop(), 0.2)
    on = {m.note for m in port.sent if m.type == "note_on"}
    off = {m.note for m in port.sent if m.type == "note_off"}
    assert on == off == {60, 64}
    assert instrument.perform(20.0) is None


def test_the_players_note_outlasts_the_tracks_on_an_instrument(
    instrument: MidiInstrument, port: RecordingPort
) -> None:
    instrument.do(KeyOn(60, 80, 0.0), 0.0)
    instrument.do(Play(Track((ToneNote(0.0, 0.1, 60),)).steps, 0.0), 0.0)
    instrument.perform(1.0)
    assert "note_off" not in {m.type for m in port.sent}
    instrument.do(KeyOff(60, 1.0), 1.0)
    assert port.sent[-1].type == "note_off"


def test_an_instrument_heeds_the_volume(instrument: MidiInstrument, port: RecordingPort) -> None:
    for volume in (1.0, 0.25, 0.0):
        instrument.do(Choice(midi_port="bench", volume=volume), 0.0)
        instrument.do(KeyOn(60, 80, 0.0), 0.0)
    assert [m.velocity for m in port.sent] == [80, 40, 1]


def test_an_instrument_is_sought_through_the_library_this_machine_has(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """mido by itself takes python-rtmidi, which the newest Pythons lack."""
    sought: list[str] = []

    def backend(name: str) -> SimpleNamespace:
        sought.append(name)
        return SimpleNamespace(
            get_output_names=lambda: ["bench organ"], open_output=lambda found: RecordingPort()
        )

    monkeypatch.setattr(mido, "Backend", backend)
    monkeypatch.setattr(midi_library, "library", lambda: "portmidi")
    _, name = MidiInstrument.open("organ")
    assert name == "bench organ" and set(sought) == {"mido.backends.pygame"}


def test_an_unknown_midi_output_is_named() -> None:
    with pytest.raises(InputError, match="no MIDI output"):
        MidiInstrument.open("no such instrument")
