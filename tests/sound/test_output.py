"""Outputs: the device through SDL's own file driver, a MIDI instrument, and none."""

import os
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import mido
import numpy as np
import pytest

from trainer.errors import InputError
from trainer.sound.midi_out import MidiInstrument
from trainer.sound.mixer import Mixer
from trainer.sound.output import Clock, Device, Silence, open_output
from trainer.sound.tone import RATE
from trainer.sound.track import Click, ToneNote, Track


def run(code: str, driver: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run code in a process of its own, since SDL chooses its audio driver once."""
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)],
        env={**os.environ, "SDL_AUDIODRIVER": driver, **environment},
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_a_track_reaches_the_device_at_its_time_and_intact(tmp_path: Path) -> None:
    raw = tmp_path / "out.raw"
    done = run(
        """
        import time
        from trainer.sound.output import open_output
        from trainer.sound.track import Click, Track
        output = open_output(volume=0.5)
        time.sleep(1.2)
        output.play(Track((), tuple(Click(0.25 * i, False) for i in range(8))), time.monotonic())
        time.sleep(2.4)
        output.close()
        assert output.failure is None, output.failure
        print(output.about)
        """,
        "disk",
        SDL_DISKAUDIOFILE=str(raw),
    )
    assert done.returncode == 0, done.stderr
    assert "organ" in done.stdout
    samples = np.abs(np.fromfile(raw, np.float32))
    loud = np.flatnonzero(samples > 0.03 * samples.max())
    onsets = loud[np.concatenate([[True], np.diff(loud) > RATE // 8])] / RATE
    assert len(onsets) == 8
    assert np.diff(onsets) == pytest.approx(np.full(7, 0.25), abs=1e-3)
    assert 1.1 < onsets[0] < 2.2


def test_keys_from_another_thread_sound_within_three_blocks(tmp_path: Path) -> None:
    done = run(
        """
        import threading, time
        from trainer.sound.output import open_output
        output = open_output(volume=0.5)
        time.sleep(0.3)
        asked = []
        def press():
            began = time.perf_counter()
            output.key_on(60, 90)
            asked.append(time.perf_counter() - began)
        thread = threading.Thread(target=press)
        thread.start(); thread.join()
        time.sleep(0.1)
        frame = output._mixer.frame
        start = output._mixer._start[[i for i, v in enumerate(output._mixer._voices) if v][0]]
        assert 0 <= frame - start < 0.2 * 48000, (frame, start)
        assert output._mixer.sounding
        output.key_off(60)
        output.close()
        print(max(asked))
        """,
        "disk",
        SDL_DISKAUDIOFILE=str(tmp_path / "out.raw"),
    )
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) < 0.1


def test_without_an_audio_device_the_output_is_silent_and_says_so() -> None:
    done = run(
        """
        from trainer.sound.output import Silence, open_output
        output = open_output()
        assert isinstance(output, Silence)
        output.key_on(60); output.key_off(60); output.stop(); output.close()
        print(output.about)
        """,
        "none-such",
    )
    assert done.returncode == 0, done.stderr
    assert "no audio device" in done.stdout


def test_sound_can_be_switched_off() -> None:
    assert isinstance(open_output(sound="none"), Silence)


def test_a_device_whose_block_fails_says_that_the_sound_has_stopped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("trainer.sound.output._opened", lambda callback: None)
    mixer = Mixer()
    device = Device(mixer, "organ")
    monkeypatch.setattr(mixer, "render", lambda frames: 1 / 0)
    memory = bytearray(b"\xff" * 1024)
    device._block(None, memory)
    assert memory == bytearray(1024)
    assert "the sound has stopped (division by zero)" in device.about


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


class RecordingPort:
    """Stands for a mido output port: keeps what is sent, with its time."""

    def __init__(self) -> None:
        self.sent: list[tuple[float, mido.Message]] = []
        self.closed = False

    def send(self, message: mido.Message) -> None:
        self.sent.append((time.monotonic(), message))

    def close(self) -> None:
        self.closed = True


def test_a_midi_instrument_plays_the_track_in_time() -> None:
    port = RecordingPort()
    output = MidiInstrument(port, "bench")
    at = time.monotonic() + 0.05
    output.play(Track((ToneNote(0.0, 0.1, 60), ToneNote(0.1, 0.1, 60)), (Click(0.05, True),)), at)
    time.sleep(0.4)
    output.close()
    kinds = [(m.type, m.note, m.channel) for _, m in port.sent]
    assert kinds == [
        ("note_on", 60, 0),
        ("note_on", 76, 9),
        ("note_off", 60, 0),
        ("note_on", 60, 0),
        ("note_off", 76, 9),
        ("note_off", 60, 0),
    ]
    assert port.closed


def test_stopping_a_midi_instrument_leaves_no_note_hanging() -> None:
    port = RecordingPort()
    output = MidiInstrument(port, "bench")
    output.key_on(64, 80)
    output.play(Track((ToneNote(0.0, 9.0, 60),)), time.monotonic())
    time.sleep(0.1)
    output.stop()
    on = {m.note for _, m in port.sent if m.type == "note_on"}
    off = {m.note for _, m in port.sent if m.type == "note_off"}
    assert on == off == {60, 64}


def test_an_unknown_midi_output_is_named() -> None:
    with pytest.raises(InputError, match="no MIDI output"):
        MidiInstrument.open("no such instrument")
