"""Ports that come and go, with a MIDI library made of paper in place of rtmidi."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from types import ModuleType

import pytest

from trainer.errors import InputError
from trainer.listening.events import KeyDown, KeyUp, PortFound, PortLost
from trainer.listening.ports import TRY_EVERY, WATCH_EVERY, Keyboard, Port, choose, ports


class PaperMidi(ModuleType):
    """As much of rtmidi as is used. ALSA cannot be had, as on a machine without /dev/snd/seq."""

    API_LINUX_ALSA, API_UNIX_JACK, API_MACOSX_CORE, API_WINDOWS_MM = 2, 3, 1, 4

    def __init__(self) -> None:
        super().__init__("rtmidi")
        self.names: list[str] = []
        self.opened: list[str] = []
        self.fails = False
        self.callback: Callable[[tuple[list[int], float], object], None] | None = None
        paper = self

        class MidiIn:
            def __init__(self, api: int, name: str = "") -> None:
                if api != PaperMidi.API_UNIX_JACK or paper.fails:
                    raise SystemError("error creating client object")

            def get_ports(self) -> list[str]:
                if paper.fails:
                    raise SystemError("the server is gone")
                return list(paper.names)

            def ignore_types(self, **_: bool) -> None: ...

            def set_callback(self, callback: Callable[..., None]) -> None:
                paper.callback = callback

            def open_port(self, number: int, name: str = "") -> None:
                paper.opened.append(paper.names[number])

            def close_port(self) -> None: ...

            def delete(self) -> None: ...

        self.MidiIn = MidiIn

    def get_compiled_api(self) -> list[int]:
        return [self.API_LINUX_ALSA, self.API_UNIX_JACK]


@pytest.fixture()
def paper(monkeypatch: pytest.MonkeyPatch) -> Iterator[PaperMidi]:
    library = PaperMidi()
    monkeypatch.setitem(sys.modules, "rtmidi", library)
    yield library


class Time:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def listening(**how: object) -> tuple[Keyboard, list[object], Time]:
    heard: list[object] = []
    clock = Time()
    keyboard = Keyboard(heard.append, clock=clock, **how)  # type: ignore[arg-type]
    return keyboard, heard, clock


def look(keyboard: Keyboard, clock: Time) -> None:
    clock.now += WATCH_EVERY
    keyboard.watch()


def test_an_interface_that_cannot_be_had_is_passed_over(paper: PaperMidi) -> None:
    paper.names = ["Stage piano 20:0", "Midi Through Port-0 14:0", "mittelstimme:keys"]
    assert ports() == (Port("Stage piano", "JACK"),)
    paper.fails = True
    assert ports() == ()


def test_a_keyboard_plugged_in_later_is_found(paper: PaperMidi) -> None:
    keyboard, heard, clock = listening()
    look(keyboard, clock)
    assert keyboard.name is None and heard == []
    paper.names = ["organ:keys"]
    look(keyboard, clock)
    assert heard == [PortFound(clock.now, "organ:keys")] and paper.opened == ["organ:keys"]


def test_the_list_of_names_is_not_asked_for_at_every_frame(paper: PaperMidi) -> None:
    keyboard, heard, clock = listening()
    keyboard.watch()
    paper.names = ["organ:keys"]
    clock.now += WATCH_EVERY / 2
    keyboard.watch()
    assert heard == []


def test_keys_are_stamped_in_the_callback_and_sound_at_once(paper: PaperMidi) -> None:
    sounded: list[object] = []
    keyboard, heard, clock = listening(at_once=sounded.append)
    paper.names = ["organ:keys"]
    look(keyboard, clock)
    assert paper.callback is not None
    clock.now = 200.0
    paper.callback(([0x90, 60, 70], 0.0), None)
    assert heard[1:] == sounded == [KeyDown(200.0, 60, 70)]


def test_a_port_that_goes_away_lets_its_keys_go_and_is_taken_again(paper: PaperMidi) -> None:
    keyboard, heard, clock = listening()
    paper.names = ["organ:keys 20:0", "other"]
    look(keyboard, clock)
    assert paper.callback is not None
    paper.callback(([0x90, 60, 70], 0.0), None)
    paper.names = []
    look(keyboard, clock)
    gone = clock.now
    assert heard[2:] == [KeyUp(gone, 60), PortLost(gone, "organ:keys")] and keyboard.name is None
    paper.names = ["other", "organ:keys 24:0"]
    look(keyboard, clock)
    assert heard[4:] == [PortFound(clock.now, "organ:keys")]


def test_a_server_that_dies_is_a_port_lost(paper: PaperMidi) -> None:
    keyboard, heard, clock = listening()
    paper.names = ["organ:keys"]
    look(keyboard, clock)
    paper.fails = True
    look(keyboard, clock)
    assert isinstance(heard[-1], PortLost)
    paper.fails = False
    clock.now += TRY_EVERY
    look(keyboard, clock)
    assert isinstance(heard[-1], PortFound)


def test_a_port_is_chosen_by_name_or_a_part_of_it() -> None:
    names = ("Stage piano", "Organ upper", "Organ lower")
    assert choose(None, names) == "Stage piano" and choose(None, ()) is None
    assert choose("stage", names) == "Stage piano"
    assert choose("Organ lower", names) == "Organ lower"
    assert choose("harpsichord", names) is None
    with pytest.raises(InputError, match="fits 2 ports"):
        choose("organ", names)


def test_a_keyboard_asked_for_by_name_takes_no_other(paper: PaperMidi) -> None:
    keyboard, heard, clock = listening(wanted="organ")
    paper.names = ["Stage piano"]
    look(keyboard, clock)
    assert heard == []
    paper.names = ["Stage piano", "organ:keys"]
    look(keyboard, clock)
    assert keyboard.name == "organ:keys"
    keyboard.close()
    assert keyboard.name is None
