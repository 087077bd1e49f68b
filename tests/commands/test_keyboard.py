"""`keyboard`, where there is no MIDI port, and with ports made of paper.

With real ports it is tested in tests/end_to_end.
"""

from __future__ import annotations

import io
import json
import sys
import threading
import time
from collections.abc import Iterator

import pytest

from tests.listening.paper import PaperMidi, paper_in_place
from trainer.commands import main
from trainer.settings import load


@pytest.fixture()
def paper(monkeypatch: pytest.MonkeyPatch) -> Iterator[PaperMidi]:
    with paper_in_place(monkeypatch) as library:
        yield library


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(["keyboard", *arguments])
    out, err = capsys.readouterr()
    return int(end.value.code or 0), out, err


def tap_when_heard(paper: PaperMidi) -> threading.Thread:
    """One tap as soon as somebody listens, in a thread of its own."""

    def taps() -> None:
        paper.listened_to("organ:keys")
        paper.play("organ:keys", [0x90, 60, 80])
        paper.play("organ:keys", [0x90, 60, 0])

    thread = threading.Thread(target=taps, daemon=True)
    thread.start()
    return thread


def tap(paper: PaperMidi, first: float, beat: float, late: float, beats: int) -> threading.Thread:
    """Tap on every beat, late by so many seconds, in a thread of its own as RtMidi would."""

    def taps() -> None:
        for number in range(beats):
            wait = first + number * beat + late - time.monotonic()
            if wait > 0:
                time.sleep(wait)
            paper.play("organ:keys", [0x90, 60, 80])
            paper.play("organ:keys", [0x90, 60, 0])

    thread = threading.Thread(target=taps, daemon=True)
    thread.start()
    return thread


def test_without_ports_the_list_says_what_can_be_played_instead(
    capsys: pytest.CaptureFixture[str], paper: PaperMidi
) -> None:
    status, out, _ = run(capsys, "list")
    assert status == 0 and "--input typing" in out
    status, out, _ = run(capsys, "list", "--json")
    assert json.loads(out) == {"format": "mittelstimme-ports", "version": 1, "ports": []}


def test_ports_are_listed_with_their_interface(
    capsys: pytest.CaptureFixture[str], paper: PaperMidi
) -> None:
    paper.names = ["organ:keys"]
    _, out, _ = run(capsys, "list", "--json")
    assert json.loads(out)["ports"] == [
        {
            "name": "organ:keys",
            "interface": "JACK",
            "address": "organ:keys",
            "offset_ms": None,
        }
    ]


@pytest.mark.parametrize("verb", ["watch", "calibrate"])
def test_a_port_that_is_not_there_is_one_line(
    capsys: pytest.CaptureFixture[str], paper: PaperMidi, verb: str
) -> None:
    paper.names = ["organ:keys"]
    status, _, err = run(capsys, verb, "harmonium")
    assert status == 2 and "no MIDI port 'harmonium'" in err and "organ:keys" in err
    assert len(err.strip().splitlines()) == 1


def test_what_arrives_is_shown(capsys: pytest.CaptureFixture[str], paper: PaperMidi) -> None:
    paper.names = ["organ:keys"]
    thread = tap_when_heard(paper)
    status, out, _ = run(capsys, "watch", "--seconds", "2")
    thread.join()
    lines = out.splitlines()
    assert status == 0 and "listening to organ:keys" in lines[0]
    assert "c4" in lines[1] and "down  key 60, velocity 80" in lines[1] and "up" in lines[2]


def test_what_arrives_is_one_object_with_json(
    capsys: pytest.CaptureFixture[str], paper: PaperMidi
) -> None:
    paper.names = ["organ:keys"]
    thread = tap_when_heard(paper)
    _, out, _ = run(capsys, "watch", "--seconds", "2", "--json")
    thread.join()
    shown = json.loads(out)
    assert shown["format"] == "mittelstimme-keys"
    assert [sorted(event) for event in shown["events"]] == [
        ["found", "time"],
        ["down", "time", "velocity"],
        ["time", "up"],
    ]


class Ear(io.StringIO):
    """Stands for stderr: begins to tap as soon as the first beat is announced."""

    def __init__(self, paper: PaperMidi, late: float, beats: int) -> None:
        super().__init__()
        self.paper, self.late, self.beats = paper, late, beats
        self.thread: threading.Thread | None = None

    def write(self, text: str) -> int:
        if self.thread is None and text.startswith("{"):
            said = json.loads(text)
            self.thread = tap(self.paper, said["first_beat"], said["beat"], self.late, self.beats)
        return super().write(text)


def test_a_known_delay_is_measured_and_kept_for_the_port(
    capsys: pytest.CaptureFixture[str], paper: PaperMidi, monkeypatch: pytest.MonkeyPatch
) -> None:
    paper.names = ["organ:keys"]
    ear = Ear(paper, late=0.06, beats=14)
    monkeypatch.setattr(sys, "stderr", ear)
    status, out, _ = run(capsys, "calibrate", "--tempo", "200", "--beats", "14", "--json")
    assert ear.thread is not None
    ear.thread.join()
    shown, said = json.loads(out), json.loads(ear.getvalue().splitlines()[0])
    assert status == 0 and said["beat"] == pytest.approx(60.0 / 200)
    assert shown["stored"] and shown["taps"] >= 8
    assert shown["offset_ms"] == pytest.approx(60, abs=10)
    assert load().latency_of("organ:keys") == pytest.approx(shown["offset_ms"] / 1000)


def test_nobody_tapping_is_said(capsys: pytest.CaptureFixture[str], paper: PaperMidi) -> None:
    paper.names = ["organ:keys"]
    status, _, err = run(capsys, "calibrate", "--tempo", "200", "--beats", "12")
    assert status == 2 and "0 taps" in err.splitlines()[-1]
    assert load().latency == ()


@pytest.mark.parametrize("wrong", [("--tempo", "5"), ("--beats", "3")])
def test_what_cannot_be_measured_is_refused(
    capsys: pytest.CaptureFixture[str], paper: PaperMidi, wrong: tuple[str, str]
) -> None:
    paper.names = ["organ:keys"]
    status, _, err = run(capsys, "calibrate", *wrong)
    assert status == 2 and wrong[0] in err
