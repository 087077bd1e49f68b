"""What the program makes of what its ears tell it; the ears are told by hand here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from tests.listening.paper import PaperMidi, paper_in_place, until
from trainer.listening import keyboard as module
from trainer.listening.assigning import assignments
from trainer.listening.chosen_ports import Channels
from trainer.listening.ear import (
    Arrived,
    Gone,
    Hurries,
    Listed,
    ListenTo,
    Opened,
    Said,
    SoundAs,
    Sure,
)
from trainer.listening.events import KeyDown, KeyUp, Pedal, PortFound, PortLost
from trainer.listening.keyboard import Keyboard
from trainer.listening.manuals import Manual


@dataclass
class Told:
    """An ear that says what a test has it say."""

    title: str
    told: Callable[[Said], None]
    lost: Callable[[str], None]
    asked: list[Any] = field(default_factory=list)
    ended: bool = False

    def send(self, message: Any) -> bool:
        self.asked.append(message)
        return True

    def end(self, within: float = 1.0) -> bool:
        self.ended = True
        return True

    def lists(self, *addresses: str) -> None:
        """These are its ports; what is asked for of them is opened."""
        self.told(Listed(addresses))
        self.opens()

    def opens(self) -> None:
        asked = [request for request in self.asked if isinstance(request, ListenTo)]
        for address in asked[-1].ports if asked else ():
            self.told(Opened(address))

    def plays(self, address: str, *data: int, at: float = 5.0) -> None:
        self.told(Arrived(((at, address, bytes(data)),)))


class Ears:
    """A keyboard with an ALSA and a JACK ear."""

    def __init__(self, wanted: str | None = None, manuals: str = "") -> None:
        self.heard: list[Any] = []
        self.sounded: list[Any] = []
        self.all: list[Told] = []
        self.keyboard = Keyboard(
            self.heard.append,
            wanted=wanted,
            manuals=assignments(manuals),
            at_once=self.sounded.append,
            start=self._start,
        )
        self.alsa, self.jack = self.all

    def _start(self, title: str, told: Callable[[Said], None], lost: Callable[[str], None]) -> Told:
        self.all.append(Told(title, told, lost))
        return self.all[-1]

    def taken(self) -> list[Any]:
        """What has been heard since the last call."""
        heard = list(self.heard)
        del self.heard[:]
        return heard


@pytest.fixture(autouse=True)
def paper(monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr(module, "ANEW", 0.01)
    with paper_in_place(monkeypatch) as library:
        yield library


def two_manuals(wanted: str | None = None, manuals: str = "") -> Ears:
    ears = Ears(wanted, manuals)
    ears.jack.told(Listed(None, "no server"))
    ears.alsa.lists("Great 20:0", "Swell 24:0")
    ears.taken()
    return ears


def test_nothing_is_opened_before_every_interface_has_told_its_list() -> None:
    ears = Ears()
    ears.jack.lists("organ:keys")
    assert ears.keyboard.names == () and ears.jack.asked == [ListenTo({})]
    ears.alsa.lists("Stage piano 20:0")
    assert ears.keyboard.names == ("Stage piano",)


def test_all_keyboards_of_the_interface_are_heard_at_once() -> None:
    ears = two_manuals()
    assert ears.keyboard.name == "Great, Swell"
    ears.alsa.plays("Great 20:0", 0x90, 60, 70)
    ears.alsa.plays("Swell 24:0", 0x90, 64, 71)
    assert ears.taken() == ears.sounded == [KeyDown(5.0, 60, 70), KeyDown(5.0, 64, 71)]


def test_what_is_played_where_nobody_listens_is_not_heard() -> None:
    ears = two_manuals("great")
    ears.alsa.plays("Swell 24:0", 0x90, 64, 71)
    assert ears.taken() == []


def test_a_manual_may_sound_an_octave_lower() -> None:
    ears = two_manuals("Great, Swell -1")
    ears.alsa.plays("Swell 24:0", 0x90, 60, 70, 0x80, 60, 0)
    assert ears.taken() == [KeyDown(5.0, 48, 70), KeyUp(5.0, 48)]


def test_the_channels_of_a_console_are_its_manuals() -> None:
    ears = two_manuals("great/1, great/2 +1")
    ears.alsa.plays("Great 20:0", 0x90, 60, 70, 0x91, 60, 70, 0x92, 60, 70)
    assert ears.taken() == [KeyDown(5.0, 60, 70), KeyDown(5.0, 72, 70)]


def test_a_pitch_held_on_two_keyboards_counts_until_both_are_up() -> None:
    ears = two_manuals()
    ears.alsa.plays("Great 20:0", 0x90, 60, 70)
    ears.alsa.plays("Swell 24:0", 0x90, 60, 70)
    ears.taken()
    ears.alsa.plays("Great 20:0", 0x80, 60, 0)
    assert ears.taken() == []
    ears.alsa.plays("Swell 24:0", 0x80, 60, 0, at=6.0)
    assert ears.taken() == [KeyUp(6.0, 60)]


def test_a_port_that_vanishes_while_keys_are_down_lets_them_go() -> None:
    ears = two_manuals()
    ears.alsa.plays("Great 20:0", 0x90, 60, 70, 0xB0, 64, 127)
    ears.alsa.plays("Swell 24:0", 0x90, 72, 70)
    ears.taken()
    ears.alsa.told(Gone("Great 20:0", 5.5))
    up, pedal, lost = ears.taken()
    assert isinstance(up, KeyUp) and up.key == 60
    assert isinstance(pedal, Pedal) and not pedal.down
    assert isinstance(lost, PortLost) and (lost.name, lost.since, lost.others) == (
        "Great", 5.5, True,
    )  # fmt: skip
    assert ears.keyboard.names == ("Swell",)


def test_what_was_heard_proves_that_hearing_was_good_then() -> None:
    ears = two_manuals()
    ears.alsa.plays("Great 20:0", 0x90, 60, 70, at=7.0)
    ears.alsa.told(Gone("Great 20:0", 5.5))
    assert ears.taken()[-1].since == 7.0


def test_the_last_keyboard_lost_says_that_no_other_is_left() -> None:
    ears = two_manuals()
    ears.alsa.told(Gone("Great 20:0", 5.5))
    ears.alsa.told(Gone("Swell 24:0", 5.5))
    assert [lost.others for lost in ears.taken()] == [True, False]


def test_after_a_quick_replug_listening_goes_on_at_the_new_address() -> None:
    ears = two_manuals()
    ears.alsa.told(Gone("Great 20:0", 5.5))
    ears.alsa.lists("Great 28:0", "Swell 24:0")
    assert [type(event) for event in ears.taken()] == [PortLost, PortFound]
    ears.alsa.plays("Great 28:0", 0x90, 60, 70)
    assert ears.taken() == [KeyDown(5.0, 60, 70)]
    ears.alsa.plays("Great 20:0", 0x90, 61, 70)
    assert ears.taken() == []


def test_unplugging_one_of_two_equal_keyboards_is_noticed() -> None:
    ears = Ears()
    ears.jack.told(Listed(None, "no server"))
    ears.alsa.lists("Twin 20:0", "Twin 24:0")
    assert [event.name for event in ears.taken()] == ["Twin (1)", "Twin (2)"]
    ears.alsa.told(Gone("Twin 24:0", 5.5))
    assert [event.name for event in ears.taken()] == ["Twin (2)"]
    assert ears.keyboard.names == ("Twin (1)",)


def test_a_keyboard_asked_for_by_name_takes_no_other() -> None:
    ears = Ears("organ")
    ears.alsa.lists("Stage piano 20:0")
    ears.jack.lists()
    assert ears.keyboard.name is None
    ears.jack.lists("organ:keys")
    assert ears.keyboard.name == "organ:keys"


def test_a_process_that_falls_lets_its_keys_go_and_is_started_again() -> None:
    ears = Ears()
    ears.alsa.told(Listed(None, "no sequencer"))
    ears.jack.lists("organ:keys")
    ears.jack.told(Sure(6.5))
    ears.jack.plays("organ:keys", 0x90, 60, 70, at=6.0)
    ears.taken()
    ears.jack.lost("the server passes nothing on")
    up, lost = ears.taken()
    assert up.key == 60 and (lost.name, lost.since, lost.others) == ("organ:keys", 6.5, False)
    assert dict(ears.keyboard.interfaces)["JACK"] == "the server passes nothing on"
    until(lambda: len(ears.all) == 3)
    ears.jack.lists("organ:keys")  # too late: nobody listens to the old one any more
    assert ears.taken() == []
    until(lambda: ListenTo({}) in ears.all[-1].asked)
    ears.all[-1].lists("organ:keys")
    assert [event.name for event in ears.taken()] == ["organ:keys"]


def test_a_fall_of_one_interface_leaves_the_keyboards_of_another() -> None:
    ears = two_manuals()
    ears.jack.lost("it hangs")
    assert ears.taken() == [] and ears.keyboard.names == ("Great", "Swell")


def test_a_port_that_cannot_be_opened_is_said() -> None:
    ears = Ears()
    ears.jack.told(Listed(None, "no server"))
    ears.alsa.told(Listed(("Great 20:0",)))
    ears.alsa.told(Opened("Great 20:0", "another program has it"))
    assert ears.keyboard.refused == ("another program has it",) and ears.keyboard.name is None
    ears.keyboard.settle(0.0)


def test_why_nothing_is_listened_to_is_said() -> None:
    ears = Ears("organ")
    ears.alsa.lists("Stage piano 20:0")
    ears.keyboard.settle(0.0)
    assert "has not answered yet" in ears.keyboard.why_none  # JACK may have it
    ears.jack.told(Listed(None, "no server"))
    assert ears.keyboard.why_none == "there is no MIDI port 'organ'"
    ears.keyboard.listen(None)
    ears.alsa.told(Opened("Stage piano 20:0", "another program has it"))
    assert ears.keyboard.why_none == "another program has it"
    ears.alsa.told(Listed(()))
    assert ears.keyboard.why_none == "there is no MIDI port"


def test_all_is_sure_only_as_far_as_every_open_interface_proves() -> None:
    ears = two_manuals()
    ears.alsa.told(Sure(40.0))
    assert ears.keyboard.sure(41.0) == 40.0
    ears.jack.told(Sure(30.0))  # nothing is open there
    assert ears.keyboard.sure(41.0) == 40.0
    ears.keyboard.listen("nobody")
    assert ears.keyboard.sure(41.0) == 41.0


def test_other_keyboards_can_be_chosen_while_one_plays() -> None:
    ears = two_manuals("great")
    ears.keyboard.listen("swell")
    ears.alsa.opens()
    assert ears.keyboard.names == ("Swell",)
    assert [type(event) for event in ears.taken()] == [PortLost, PortFound]


def test_an_octave_chosen_while_a_keyboard_is_listened_to_is_in_force_at_once() -> None:
    ears = two_manuals("great")
    ears.keyboard.listen("great +1")
    assert ears.taken() == []  # nothing is lost and found
    ears.alsa.plays("Great 20:0", 0x90, 60, 70)
    assert ears.taken() == [KeyDown(5.0, 72, 70)]
    assert ears.alsa.asked[-1] == ListenTo({"Great 20:0": {None: 1}})


def test_keys_carry_what_their_manual_is_told_to_play() -> None:
    ears = two_manuals(manuals="Great = bass, Swell/2 = right hand")
    ears.alsa.plays("Great 20:0", 0x90, 60, 70)
    ears.alsa.plays("Swell 24:0", 0x90, 60, 71, 0x91, 60, 72)
    assert ears.taken() == [
        KeyDown(5.0, 60, 70, Manual.BASS),
        KeyDown(5.0, 60, 71),
        KeyDown(5.0, 60, 72, Manual.RIGHT_HAND),
    ]
    ears.alsa.plays("Great 20:0", 0x80, 60, 0)
    ears.alsa.plays("Swell 24:0", 0x81, 60, 0)
    assert ears.taken() == [KeyUp(5.0, 60, Manual.BASS), KeyUp(5.0, 60, Manual.RIGHT_HAND)]


def test_the_ear_is_told_too_and_nothing_more_than_before_where_nothing_is_told() -> None:
    opened: dict[str, Channels] = {"Great 20:0": {None: 0}, "Swell 24:0": {None: 0}}
    assert two_manuals().alsa.asked[-1] == ListenTo(opened, {})
    told = two_manuals(manuals="great = bass, Organ = left hand").alsa.asked[-1]
    assert told == ListenTo(opened, {"Great 20:0": {None: Manual.BASS}})


def test_another_thing_to_play_is_in_force_at_once_but_for_keys_that_are_down() -> None:
    ears = two_manuals()
    ears.alsa.plays("Great 20:0", 0x90, 60, 70)
    ears.keyboard.assign(assignments("great = left hand"))
    ears.alsa.plays("Great 20:0", 0x90, 62, 70, 0x80, 60, 0, 62, 0)
    assert ears.taken() == [  # nothing is lost and found
        KeyDown(5.0, 60, 70),
        KeyDown(5.0, 62, 70, Manual.LEFT_HAND),
        KeyUp(5.0, 60),
        KeyUp(5.0, 62, Manual.LEFT_HAND),
    ]


def test_what_a_keyboard_plays_is_known_again_when_it_is_plugged_in_again() -> None:
    ears = two_manuals(manuals="great = bass")
    ears.alsa.plays("Great 20:0", 0x90, 60, 70)
    ears.alsa.told(Gone("Great 20:0", 6.0))
    assert KeyUp(ears.heard[-2].time, 60, Manual.BASS) in ears.taken()
    ears.alsa.lists("Great 21:0", "Swell 24:0")
    ears.taken()
    ears.alsa.plays("Great 21:0", 0x90, 60, 70)
    assert ears.taken() == [KeyDown(5.0, 60, 70, Manual.BASS)]


def test_a_keyboard_that_is_told_something_and_is_not_there_is_named_until_it_is() -> None:
    ears = two_manuals(manuals="Pedals = bass")
    assert ears.keyboard.complaint == "there is no keyboard 'Pedals' to play the bass"
    ears.alsa.lists("Great 20:0", "Swell 24:0", "Pedals 28:0")
    assert ears.keyboard.complaint == ""


def test_what_the_keys_sound_as_is_told_to_every_process_also_to_one_begun_later() -> None:
    ears = two_manuals()
    octave_up = SoundAs(bytes(min(127, key + 12) for key in range(128)))
    ears.keyboard.sound_as(octave_up.meant)
    assert octave_up in ears.alsa.asked and octave_up in ears.jack.asked
    ears.jack.lost("it hangs")
    until(lambda: len(ears.all) == 3)
    until(lambda: octave_up in ears.all[-1].asked)


def test_how_the_processes_are_woken_is_known_of_those_that_listen() -> None:
    ears = Ears()
    for ear in ears.all:
        ear.told(Hurries("raised"))
    ears.jack.told(Listed(None, "no server"))
    ears.alsa.lists("Great 20:0")
    assert ears.keyboard.hurries == ("raised",)


def test_closing_ends_every_process() -> None:
    ears = two_manuals()
    ears.keyboard.close()
    assert all(ear.ended for ear in ears.all) and ears.keyboard.names == ()
    ears.alsa.plays("Great 20:0", 0x90, 60, 70)
    assert ears.taken() == []


def test_running_status_goes_on_from_message_to_message_of_one_port_only() -> None:
    ears = two_manuals()
    ears.alsa.plays("Great 20:0", 0x90, 60, 70)
    ears.alsa.plays("Swell 24:0", 64, 70)  # data without a status: garbage here
    ears.alsa.plays("Great 20:0", 62, 70)
    assert [event.key for event in ears.taken()] == [60, 62]


def test_system_exclusive_and_garbage_leave_what_follows_readable() -> None:
    ears = two_manuals()
    ears.alsa.plays("Great 20:0", 0xF0, 0x43, 0x12, 0x00, 0xF7, 0xFF, 0x7F, 0xF4, 0x10, 0x90, 0x90)
    ears.alsa.plays("Great 20:0", 0x90, 60, 70)
    assert ears.taken() == [KeyDown(5.0, 60, 70)]


def test_names_in_any_script_are_names(paper: PaperMidi) -> None:
    ears = Ears("Örgel")
    ears.jack.told(Listed(None, "no server"))
    ears.alsa.lists("Klavier 20:0", "ÖRGEL ピアノ 🎹:MIDI 24:0")
    assert ears.keyboard.name == "ÖRGEL ピアノ 🎹:MIDI"
