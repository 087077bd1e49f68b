"""Ports that come and go, with a MIDI library made of paper in place of rtmidi."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.listening.paper import PaperMidi, paper_in_place, until
from trainer.listening import ear
from trainer.listening.events import KeyDown, KeyUp, PortFound, PortLost
from trainer.listening.keyboard import Keyboard
from trainer.listening.ports import Port, found, ports


@pytest.fixture()
def paper(monkeypatch: pytest.MonkeyPatch) -> Iterator[PaperMidi]:
    monkeypatch.setattr(ear, "TRY_EVERY", 0.05)
    with paper_in_place(monkeypatch) as library:
        yield library


@pytest.fixture()
def heard() -> list[object]:
    return []


@pytest.fixture()
def keyboard(paper: PaperMidi, heard: list[object]) -> Iterator[Keyboard]:
    found = Keyboard(heard.append)
    found.settle()
    yield found
    found.close()


def test_an_interface_that_cannot_be_had_is_passed_over(paper: PaperMidi) -> None:
    paper.names = ["Stage piano", "Midi Through Port-0 14:0", "mittelstimme:keys"]
    assert ports() == (Port("Stage piano", "JACK", "Stage piano"),)
    paper.fails = True
    assert ports() == ()


def test_what_there_is_names_library_and_interfaces(paper: PaperMidi) -> None:
    paper.names = ["organ:keys"]
    there = found()
    assert there.library == "RtMidi 0 (python-rtmidi 0)"
    assert [(title, bool(why)) for title, why in there.interfaces] == [
        ("ALSA", True),
        ("JACK", False),
    ]


def test_the_address_that_changes_is_no_part_of_the_name(paper: PaperMidi) -> None:
    paper.working = {PaperMidi.API_LINUX_ALSA}
    paper.names = ["Stage piano:Stage piano MIDI 1 20:0"]
    (port,) = ports()
    assert (port.name, port.address) == ("Stage piano:Stage piano MIDI 1", paper.names[0])


def test_a_keyboard_plugged_in_later_is_found(
    paper: PaperMidi, keyboard: Keyboard, heard: list[object]
) -> None:
    assert keyboard.name is None and heard == []
    paper.names = ["organ:keys"]
    until(lambda: len(heard) == 1)
    assert isinstance(heard[0], PortFound) and heard[0].name == "organ:keys"
    assert keyboard.name == "organ:keys"


def test_keys_are_stamped_when_they_arrive_and_let_go_with_the_cable(
    paper: PaperMidi, keyboard: Keyboard, heard: list[object]
) -> None:
    paper.names = ["organ:keys"]
    until(lambda: keyboard.name is not None)
    paper.play("organ:keys", [0x90, 60, 70])
    until(lambda: len(heard) == 2)
    assert isinstance(heard[1], KeyDown) and heard[1].key == 60
    paper.names = []
    until(lambda: len(heard) == 4)
    assert isinstance(heard[2], KeyUp) and isinstance(heard[3], PortLost)
    assert heard[3].since is not None and heard[1].time <= heard[3].since <= heard[3].time


def test_a_server_that_dies_is_a_port_lost_and_found_when_it_is_back(
    paper: PaperMidi, keyboard: Keyboard, heard: list[object]
) -> None:
    paper.names = ["organ:keys"]
    until(lambda: keyboard.name is not None)
    paper.fails = True
    until(lambda: isinstance(heard[-1], PortLost))
    paper.fails = False
    until(lambda: isinstance(heard[-1], PortFound))


def test_a_server_that_lists_its_ports_and_passes_nothing_on_is_noticed(
    paper: PaperMidi, keyboard: Keyboard, heard: list[object]
) -> None:
    paper.names = ["organ:keys"]
    until(lambda: keyboard.name is not None)
    paper.stands_still = True
    until(lambda: isinstance(heard[-1], PortLost))
    paper.stands_still = False
    until(lambda: isinstance(heard[-1], PortFound))
