"""The sound in its own process: what it is told, that it never holds the program up, and that it
comes back."""

from __future__ import annotations

import json
import os
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.faults import sound as faults
from tests.faults.measured_sound import MEASURES
from trainer.apart import passage as open_passage
from trainer.apart.passage import send
from trainer.errors import InputError
from trainer.sound import apart
from trainer.sound.apart import SoundApart
from trainer.sound.requests import Choice, KeyOff, KeyOn, Opened, Play, Refused, Stop
from trainer.sound.tone import RATE
from trainer.sound.track import Click, ToneNote, Track

WITHIN = 60.0  # seconds that a test waits for what comes at once on a machine that is not busy
MEANTONE = Choice("plucked", "meantone-quarter", 415.0, 0.2)


class FakeProcess:
    """Stands for the process: keeps what it is told, says what a test has it say."""

    def __init__(
        self,
        entry: str,
        told: Callable[[Any], None],
        lost: Callable[[str], None],
        *,
        patience: float,
        handing: tuple[int, ...] = (),
    ) -> None:
        self.told, self.lost = told, lost
        self.sent: list[Any] = []
        self.ended = threading.Event()
        STARTED.append(self)
        CHANGE.set()

    def send(self, message: Any) -> bool:
        self.sent.append(message)
        CHANGE.set()
        return True

    def end(self, within: float) -> bool:
        self.ended.set()
        return True

    @property
    def said(self) -> list[Any]:
        """What it was told, without the times."""
        return [
            (type(m), m.key) if isinstance(m, KeyOn | KeyOff) else m
            for m in self.sent
            if not isinstance(m, Play)
        ]


STARTED: list[FakeProcess] = []
CHANGE = threading.Event()


def until(holds: Callable[[], bool]) -> None:
    limit = time.monotonic() + WITHIN
    while not holds():
        assert time.monotonic() < limit, "it did not come about"
        CHANGE.wait(0.01)
        CHANGE.clear()


@pytest.fixture
def processes(monkeypatch: pytest.MonkeyPatch) -> list[FakeProcess]:
    STARTED.clear()
    monkeypatch.setattr(apart, "Process", FakeProcess)
    monkeypatch.setattr(apart, "PAUSES", (0.0, 0.0))
    return STARTED


def opened(processes: list[FakeProcess], choice: Choice = Choice()) -> SoundApart:  # noqa: B008
    output = SoundApart(choice)
    until(lambda: bool(processes) and bool(processes[0].sent))
    processes[0].told(Opened())
    return output


# ---- what is said to the process ----------------------------------------------------------------


def test_it_says_that_it_is_opening_until_it_is_open(processes: list[FakeProcess]) -> None:
    output = SoundApart(Choice())
    assert output.about == "opening the sound"
    until(lambda: bool(processes) and bool(processes[0].sent))
    processes[0].told(Opened())
    assert output.about == "organ · a' = 440 · equal"


def test_another_tuning_is_a_message_to_the_same_process(processes: list[FakeProcess]) -> None:
    output = opened(processes)
    output.key_on(60, 80)
    output.retune(MEANTONE)
    output.key_off(60)
    assert processes[0].said == [Choice(), (KeyOn, 60), MEANTONE, (KeyOff, 60)]
    assert output.about == "plucked · a' = 415 · meantone-quarter"
    assert len(processes) == 1 and not processes[0].ended.is_set()


def test_another_instrument_is_another_process_and_goes_on_with_what_sounds(
    processes: list[FakeProcess],
) -> None:
    output = opened(processes)
    output.key_on(60)
    organ = Choice(midi_port="organ")
    output.retune(organ)
    until(lambda: len(processes) == 2 and len(processes[1].sent) == 2)
    assert processes[0].ended.wait(WITHIN)
    assert processes[1].said == [organ, (KeyOn, 60)]
    processes[1].told(Opened("pipe organ:1"))
    assert output.about == "MIDI instrument pipe organ:1"
    output.retune(Choice())
    until(lambda: len(processes) == 3)
    assert processes[1].ended.wait(WITHIN)


def test_a_process_that_fell_is_followed_by_one_that_sounds_the_same(
    processes: list[FakeProcess],
) -> None:
    output = opened(processes)
    track = Track((ToneNote(0.0, 60.0, 48),), (Click(1.0),))
    output.retune(MEANTONE)
    output.key_on(60, 90)
    output.key_on(64, 70, 4.5)
    output.play(track, 5.0)
    output.key_off(60)
    processes[0].lost("its process fell (-9)")
    assert (
        output.about == "the sound has stopped (its process fell (-9)): it is being started again"
    )
    until(lambda: len(processes) == 2 and len(processes[1].sent) == 3)
    choice, key, play = processes[1].sent
    assert choice == MEANTONE
    assert key == KeyOn(64, 70, 4.5)  # its own time: what is told of it later counts
    assert play == Play(track.steps, 5.0)
    processes[1].told(Opened())
    assert output.about == MEANTONE.about


def test_nothing_is_begun_again_of_what_was_stopped(processes: list[FakeProcess]) -> None:
    output = opened(processes)
    output.key_on(60)
    output.play(Track((ToneNote(0.0, 60.0, 48),)), 5.0)
    output.stop()
    assert processes[0].said[-1] == Stop()
    processes[0].lost("fell")
    until(lambda: len(processes) == 2 and bool(processes[1].sent))
    assert processes[1].sent == [Choice()]


def test_one_that_always_falls_is_given_up_until_a_setting_is_changed(
    processes: list[FakeProcess],
) -> None:
    output = opened(processes)
    for count in range(1, 4):
        until(lambda count=count: len(processes) == count and bool(processes[-1].sent))  # type: ignore[misc]
        processes[-1].lost("no bellows")
    assert output.about == "the sound has stopped (no bellows)"
    assert len(processes) == 3
    output.retune(MEANTONE)
    until(lambda: len(processes) == 4 and bool(processes[3].sent))
    processes[3].told(Opened())
    assert output.about == MEANTONE.about


def test_a_process_that_could_not_sound_is_not_started_again(
    processes: list[FakeProcess],
) -> None:
    output = opened(processes)
    processes[0].told(Refused("no audio device (none found)"))
    assert output.about == "no audio device (none found): playing silently"
    processes[0].lost("its process ended")
    output.key_on(60)
    assert output.about == "no audio device (none found): playing silently"
    output.retune(MEANTONE)  # who changes something asks again
    until(lambda: len(processes) == 2)
    assert output.about == "opening the sound"


def test_one_that_is_late_does_not_speak_for_its_successor(processes: list[FakeProcess]) -> None:
    output = opened(processes)
    processes[0].lost("fell")
    until(lambda: len(processes) == 2 and bool(processes[1].sent))
    processes[1].told(Opened())
    processes[0].told(Refused("too late"))
    processes[0].lost("again")
    assert output.about == Choice().about


def test_switched_off_there_is_no_process_until_it_is_switched_on(
    processes: list[FakeProcess],
) -> None:
    output = SoundApart(Choice("none"))
    assert output.about == "sound off"
    output.wait_until_open()
    output.key_on(60)
    assert not processes
    output.retune(Choice())
    until(lambda: len(processes) == 1 and len(processes[0].sent) == 2)
    assert processes[0].said == [Choice(), (KeyOn, 60)]


def test_an_instrument_that_is_not_there_is_said(processes: list[FakeProcess]) -> None:
    output = SoundApart(Choice(midi_port="organ"))
    until(lambda: bool(processes))
    processes[0].told(Refused("no MIDI output named 'organ'", "there are: none"))
    assert output.about == "no MIDI output named 'organ'; there are: none"
    with pytest.raises(InputError, match="no MIDI output named 'organ'; there are: none"):
        output.wait_until_open()


# ---- the real process ---------------------------------------------------------------------------


def entry(monkeypatch: pytest.MonkeyPatch, work: str) -> None:
    monkeypatch.setattr(apart, "ENTRY", f"hanging_sound:{work}")
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))


def test_a_track_reaches_the_device_at_its_time_and_intact(tmp_path: Path) -> None:
    raw = tmp_path / "out.raw"
    with faults.driver("disk", SDL_DISKAUDIOFILE=str(raw)):
        output = SoundApart(Choice(volume=0.5))
        output.wait_until_open(WITHIN)
        beats = Track((), tuple(Click(1.2 + 0.25 * i, False) for i in range(8)))
        output.play(beats, time.monotonic())
        # the driver that writes a file keeps no time of its own on a busy machine
        until(lambda: raw.stat().st_size / 4 > (beats.length + 2.0) * RATE)
        output.close()
    samples = np.abs(np.fromfile(raw, np.float32))
    loud = np.flatnonzero(samples > 0.03 * samples.max())
    onsets = loud[np.concatenate([[True], np.diff(loud) > RATE // 8])] / RATE
    assert len(onsets) == 8
    assert np.diff(onsets) == pytest.approx(np.full(7, 0.25), abs=1e-3)


def test_without_an_audio_device_it_is_silent_and_says_so() -> None:
    with faults.driver("none-such"):
        output = SoundApart(Choice())
        output.wait_until_open(WITHIN)
        assert output.about.startswith("no audio device (")
        assert output.about.endswith("): playing silently")
        output.key_on(60)
        output.key_off(60)
        output.stop()
        output.close()


def test_a_driver_that_never_opens_holds_nothing_up(monkeypatch: pytest.MonkeyPatch) -> None:
    entry(monkeypatch, "never_opens")
    began = time.monotonic()
    output = SoundApart(Choice())
    for key in range(128):
        output.key_on(key)
    output.play(Track((ToneNote(0.0, 1.0, 60),) * 20_000), began)  # more than any pipe takes
    output.retune(MEANTONE)
    assert output.about == "opening the sound"
    until(lambda: output._process is not None)
    process = output._process
    assert process is not None
    output.close()
    assert not process.alive
    assert time.monotonic() - began < WITHIN  # without a limit: for ever


def test_a_driver_that_falls_again_and_again_is_given_up_and_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    entry(monkeypatch, "falls")
    monkeypatch.setattr(apart, "PAUSES", (0.0, 0.01))
    output = SoundApart(Choice())
    output.key_on(60)
    faults.wait_for(output, lambda about: about == "the sound has stopped (its process fell (7))")
    output.close()


@pytest.mark.skipif(os.name != "posix", reason="Windows cannot stop a process")
def test_a_process_that_hangs_is_noticed_and_followed_by_another(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(apart, "PATIENCE", 2.0)
    with faults.driver("dummy"):
        output = SoundApart(Choice())
        output.wait_until_open(WITHIN)
        first = output._process
        assert first is not None
        os.kill(first.pid, signal.SIGSTOP)
        faults.wait_for(output, lambda about: "it has not answered for 2 s" in about)
        monkeypatch.setattr(apart, "PATIENCE", WITHIN)
        faults.wait_for(output, lambda about: about == Choice().about)
        assert output._process is not first
        output.close()


@pytest.mark.skipif(os.name != "posix", reason="Windows cannot stop a process")
def test_closing_a_sound_that_hangs_is_limited_in_time() -> None:
    assert max(faults.hung(1)) < apart.CLOSES_WITHIN + faults.HELD_UP


def test_a_killed_process_is_said_and_sounds_again() -> None:
    said, again = faults.fallen(1)
    assert said <= again


def test_opening_and_closing_under_load_never_hangs() -> None:
    with faults.load():
        took, left = faults.cycles(6)
    assert not left
    assert max(took) < apart.CLOSES_WITHIN + faults.HELD_UP


def test_changes_of_any_setting_under_load_neither_hang_nor_click() -> None:
    assert faults.told_changes(60)


def test_every_key_struck_while_the_program_is_busy_is_sounded() -> None:
    with faults.load(1), faults.drawing(0.6):
        found = faults.latency(40)
    assert len(found.block) == 40


def test_a_key_sounds_once_by_whichever_way_it_comes_first(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    passage = open_passage()
    if passage is None:
        pytest.skip("handles are handed on by POSIX systems only")
    monkeypatch.setattr(apart, "ENTRY", "tests.faults.measured_sound:serve")
    noted, raw = tmp_path / "keys", tmp_path / "raw"
    with faults.driver("disk", SDL_DISKAUDIOFILE=str(raw), **{MEASURES: str(noted)}):
        send(passage.entrance, (time.monotonic(), 1, 59, 64))  # to nobody: never sounds
        output = SoundApart(Choice(), passage)
        output.wait_until_open(WITHIN)
        now = time.monotonic()
        send(passage.entrance, (now, 1, 60, 64))  # both ways
        output.key_on(60, 64, now)
        send(passage.entrance, (now, 1, 61, 64))  # the program stands still
        output.key_on(62, 64, now)  # the passage was full
        before = raw.stat().st_size
        until(lambda: raw.stat().st_size > before + 4 * RATE // 10)
        process = output._process
        assert process is not None
        process.leave()
        assert process.wait(WITHIN)
        output.close()
    passage.close()
    keys = [json.loads(line) for line in noted.read_text().splitlines()]
    assert sorted(key["key"] for key in keys) == [60, 61, 62]
