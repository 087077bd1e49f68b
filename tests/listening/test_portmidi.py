"""Listening through PortMidi, for Pythons that have no python-rtmidi. PortMidi is made of paper
here, but for the last tests: what it does with devices of a machine cannot be seen without any."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import mido
import pygame
import pytest

from tests.listening.paper import until
from tests.listening.paper_portmidi import PaperList, PaperPortMidi
from trainer.listening import portmidi_ports
from trainer.listening.ear import TRY_EVERY, Arrived, Ear, Gone, Listed, Opened, Said, Sure
from trainer.listening.interfaces import InterfaceError, OpenPort
from trainer.listening.portmidi_ports import QUIET, PortMidi, message
from trainer.listening.touch import Touch


@pytest.fixture()
def paper(monkeypatch: pytest.MonkeyPatch) -> PaperPortMidi:
    library = PaperPortMidi("great", "swell")
    monkeypatch.setitem(sys.modules, "pygame.midi", library)
    monkeypatch.setattr(pygame, "midi", library, raising=False)
    monkeypatch.setattr(portmidi_ports, "Process", PaperList)
    return library


class Ways:
    """PortMidi as an interface, whose list is made by hand."""

    def __init__(self, paper: PaperPortMidi) -> None:
        self.paper = paper
        self.portmidi = PortMidi()
        self.list_anew()

    @property
    def list(self) -> PaperList:
        process = self.portmidi._list
        assert isinstance(process, PaperList)
        return process

    def list_anew(self) -> None:
        self.list.told(tuple(self.paper.plugged))

    def open(self, name: str) -> OpenPort:
        return self.portmidi.open(name)


def test_only_inputs_are_listed_and_twins_are_told_apart(paper: PaperPortMidi) -> None:
    paper.plugged = ["twin", "twin", "great"]
    paper.init()
    assert portmidi_ports._inputs() == ("twin", "twin#2", "great")


def test_the_list_is_what_its_process_told_last(paper: PaperPortMidi) -> None:
    ways = Ways(paper)
    assert ways.portmidi.look() == ("great", "swell")
    ways.list.told(("great",))
    assert ways.portmidi.look() == ("great",)
    ways.list.lost("its process fell (-11)")
    with pytest.raises(InterfaceError, match="PortMidi: its process fell"):
        ways.portmidi.look()


def test_messages_come_with_the_seconds_between_them(paper: PaperPortMidi) -> None:
    great = Ways(paper).open("great")
    paper.play("great", 1000, 0x90, 60, 70)
    paper.play("great", 1002, 0x90, 64, 71)
    assert great.arrived() == [(0.0, b"\x90\x3c\x46"), (0.002, b"\x90\x40\x47")]
    paper.play("great", 1502, 0x80, 60, 0)
    assert great.arrived() == [(0.5, b"\x80\x3c\x00")] and great.arrived() == []


def test_more_messages_than_are_read_at_once_all_come(paper: PaperPortMidi) -> None:
    great = Ways(paper).open("great")
    for n in range(3000):
        paper.play("great", n, 0x90, n % 128, 1 + n % 127)
    assert [data[1] for _, data in great.arrived()] == [n % 128 for n in range(3000)]


@pytest.mark.parametrize(
    ("event", "data"),
    [
        ((0x9F, 60, 70, 0), b"\x9f\x3c\x46"),
        ((0xC0, 12, 0, 0), b"\xc0\x0c"),  # of a program change one byte
        ((0xDF, 12, 0, 0), b"\xdf\x0c"),
        ((0xE0, 1, 2, 0), b"\xe0\x01\x02"),
        ((0xF8, 0, 0, 0), b"\xf8"),  # the clock
        ((0xF1, 5, 0, 0), b"\xf1\x05"),
        ((0xF0, 0x43, 0x12, 0x00), b"\xf0\x43\x12\x00"),  # the system's own, in pieces of four
        ((0x01, 0x02, 0xF7, 0x00), b"\x01\x02\xf7\x00"),
    ],
)
def test_of_four_bytes_as_many_count_as_the_message_has(
    event: tuple[int, ...], data: bytes
) -> None:
    """MIDI 1.0, complete specification, tables I to IV."""
    assert message(event) == data


def test_a_keyboard_plugged_in_later_is_opened_and_the_others_go_on(paper: PaperPortMidi) -> None:
    ways = Ways(paper)
    great = ways.open("great")
    paper.plugged.insert(0, "pedals")  # all numbers change
    ways.list_anew()
    pedals = ways.open("pedals")
    assert paper.begun == 2 and len(paper.inputs) == 2
    paper.play("great", 10, 0x90, 60, 70)
    paper.play("pedals", 11, 0x90, 36, 70)
    assert [data[1] for _, data in great.arrived()] == [60]
    assert [data[1] for _, data in pedals.arrived()] == [36]


def test_nobody_is_cut_off_while_playing(
    paper: PaperPortMidi, monkeypatch: pytest.MonkeyPatch
) -> None:
    """To open what is new the library begins anew; that waits for a pause."""
    now = 100.0
    monkeypatch.setattr(portmidi_ports.time, "monotonic", lambda: now)
    ways = Ways(paper)
    great = ways.open("great")
    paper.play("great", 10, 0x90, 60, 70)
    great.arrived()
    paper.plugged.append("pedals")
    ways.list_anew()
    with pytest.raises(InterfaceError, match="is being played"):
        ways.open("pedals")
    assert paper.begun == 1
    now += 2 * QUIET
    ways.open("pedals")
    assert paper.begun == 2


def test_a_keyboard_that_another_program_took_in_between_is_no_silence(
    paper: PaperPortMidi,
) -> None:
    ways = Ways(paper)
    great = ways.open("great")
    paper.plugged.append("pedals")
    paper.taken.add("great")
    ways.list_anew()
    ways.open("pedals")
    with pytest.raises(InterfaceError, match="great cannot be opened"):
        great.arrived()


def test_what_another_program_holds_and_what_is_not_there_is_said(paper: PaperPortMidi) -> None:
    ways = Ways(paper)
    paper.taken.add("swell")
    with pytest.raises(InterfaceError, match="swell cannot be opened: PortMidi: `Host error'"):
        ways.open("swell")
    with pytest.raises(InterfaceError, match="choir is not there"):
        ways.open("choir")


def test_a_queue_that_overflowed_is_no_silence(paper: PaperPortMidi) -> None:
    great = Ways(paper).open("great")
    paper.inputs[0].overflowed = True
    with pytest.raises(InterfaceError, match="great cannot be read"):
        great.arrived()


def test_an_ear_hears_through_it_and_misses_what_is_unplugged(paper: PaperPortMidi) -> None:
    ways = Ways(paper)
    said: list[Said] = []
    ear = Ear(ways.portmidi, said.append, Touch(lambda row: None))
    ear.look(0.0)
    ear.listen_to(("great", "swell"))
    for now in (TRY_EVERY, 2 * TRY_EVERY):
        ear.look(now)
    paper.play("great", 10, 0x90, 60, 70)
    ear.read(7.0)
    paper.plugged.remove("great")
    ways.list_anew()
    ear.look(8.0)
    first, *_ = said
    assert first == Listed(("great", "swell"))
    told = [one for one in said[1:] if not isinstance(one, Sure)]
    assert told[:2] == [Opened("great"), Opened("swell")]
    assert isinstance(told[2], Arrived) and told[2].messages[0][1:] == ("great", b"\x90\x3c\x46")
    assert isinstance(told[3], Gone) and told[3].address == "great"
    assert told[4] == Listed(("swell",)) and len(paper.inputs) == 1


# ---- the library itself -----------------------------------------------------------------------


def test_the_library_lists_what_mido_finds_through_it() -> None:
    """mido reads the list by itself; on a machine without devices both are empty."""
    portmidi = PortMidi()
    until(lambda: portmidi._listed is not None or bool(portmidi._trouble), within=60.0)
    found = portmidi.look()
    portmidi.close()
    names = mido.Backend("mido.backends.pygame").get_input_names()
    assert sorted(portmidi_ports.addresses(names)) == sorted(found)


def test_without_python_rtmidi_the_program_listens_through_portmidi(tmp_path: Path) -> None:
    """As on a Python that it has no wheel for."""
    (tmp_path / "rtmidi.py").write_text("raise ImportError('no wheel')\n")
    code = "from trainer.listening.ports import found; import json; f = found()\n"
    code += "print(json.dumps([f.library, f.interfaces, [p.name for p in f.ports]]))"
    environment = {**os.environ, "PYTHONPATH": str(tmp_path)}
    environment.pop("PYGAME_HIDE_SUPPORT_PROMPT", None)  # another test may have imported pygame
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )
    library, interfaces, names = json.loads(done.stdout)
    assert library.startswith("PortMidi (pygame")
    assert interfaces == [["PortMidi", ""]] and all(isinstance(name, str) for name in names)
