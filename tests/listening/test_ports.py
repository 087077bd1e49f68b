"""Ports that come and go, with a MIDI library made of paper in place of rtmidi."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace

import pytest

from tests.listening.paper import PaperMidi, paper_in_place, until
from trainer.listening import ear
from trainer.listening.events import KeyDown, KeyUp, PortFound, PortLost
from trainer.listening.jack_ports import Jack, _Heard
from trainer.listening.keyboard import Keyboard
from trainer.listening.ports import Port, found, ports


@pytest.fixture()
def paper(monkeypatch: pytest.MonkeyPatch) -> Iterator[PaperMidi]:
    monkeypatch.setattr(ear, "TRY_EVERY", 0.05)
    with paper_in_place(monkeypatch) as library:
        yield library


class _StandsStill:
    """Goes round nowhere."""

    number = 0

    def connects(self, address: str, own: str) -> bool:
        return True

    def connect(self, own: str, address: str) -> None: ...

    def send(self, now: float) -> None:
        self.number += 1


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


def test_a_port_that_goes_away_while_the_ports_are_listed_is_missed_by_nobody(
    paper: PaperMidi,
) -> None:
    """RtMidi counts the ports, then asks for the name of each."""
    paper.names = ["organ:keys", "piano:keys", "flute:keys"]
    paper.leaving = ["flute:keys"]
    assert [port.name for port in ports()] == ["organ:keys", "piano:keys"]
    paper.leaving = ["piano:keys"]
    midi = Jack()
    try:
        assert midi.open("organ:keys") is not None
    finally:
        midi.close()


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


def test_a_keyboard_put_in_again_between_two_looks_is_lost_and_found(
    paper: PaperMidi, keyboard: Keyboard, heard: list[object]
) -> None:
    paper.names = ["organ:keys"]
    for times in (1, 2, 3):
        until(lambda times=times: len(heard) == 2 * times - 1)  # type: ignore[misc]
        paper.put_in_again("organ:keys")
        until(lambda times=times: len(heard) >= 2 * times)  # type: ignore[misc]
    assert [type(event) for event in heard[:6]] == 3 * [PortFound, PortLost]


def test_a_port_counts_as_found_when_something_is_heard_at_it(
    paper: PaperMidi, keyboard: Keyboard, heard: list[object]
) -> None:
    """JACK may connect a client and never wake it; the next one hears."""
    paper.born_deaf = 1
    paper.names = ["organ:keys"]
    until(lambda: keyboard.name is not None)
    paper.play("organ:keys", [0x90, 60, 70])
    until(lambda: len(heard) == 2)
    assert isinstance(heard[1], KeyDown) and not paper.born_deaf


def test_a_port_that_never_hears_is_told(
    paper: PaperMidi, keyboard: Keyboard, heard: list[object]
) -> None:
    paper.born_deaf = 1000
    paper.names = ["organ:keys"]
    until(lambda: bool(keyboard.refused))
    assert keyboard.refused == ("JACK lets nothing through from organ:keys",) and heard == []
    paper.born_deaf = 0
    until(lambda: keyboard.name is not None)


def test_a_port_that_hears_no_more_is_lost_and_found(
    paper: PaperMidi, keyboard: Keyboard, heard: list[object]
) -> None:
    paper.names = ["organ:keys"]
    until(lambda: keyboard.name is not None)
    paper.deaf += [client for client in paper.clients if client.waits]
    until(lambda: len(heard) == 3)
    assert [type(event) for event in heard] == [PortFound, PortLost, PortFound]


def test_what_is_played_while_a_port_is_tried_is_heard_in_its_place() -> None:
    told = [(0.0, b"\x90\x3c\x46"), (0.25, b"\xc0\x01"), (0.5, b"\x80\x3c\x40")]
    client = SimpleNamespace(arrived=lambda: [told.pop(0) for _ in range(len(told))])
    port = _Heard(client, "ours", "organ:keys", _StandsStill(), [])  # type: ignore[arg-type]
    assert port.hears()
    assert port.arrived() == [(0.0, b"\x90\x3c\x46"), (0.75, b"\x80\x3c\x40")]
    assert port.arrived() == []
