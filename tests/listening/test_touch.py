"""What sounds from where the keys arrive."""

from __future__ import annotations

from trainer.apart.passage import PEDAL, Row
from trainer.listening.chosen_ports import Channels
from trainer.listening.manuals import Manual
from trainer.listening.touch import Touch
from trainer.sound.requests import KeyOff, KeyOn
from trainer.sound.touches import as_request

AS_WRITTEN = bytes(range(128))


class Sounds:
    """What a touch on two manuals has sound: (time, 1 for begun, tone, velocity)."""

    def __init__(self, meant: bytes = AS_WRITTEN, **ports: Channels) -> None:
        self.rows: list[Row] = []
        self.touch = Touch(self.rows.append)
        self.touch.listen_to(ports or {"great": {None: 0}, "swell": {None: 0}}, 0.0)
        self.touch.sound_as(meant)

    def plays(self, port: str, *data: int, at: float = 1.0) -> list[Row]:
        del self.rows[:]
        self.touch.feed(port, bytes(data), at)
        return self.rows


def test_a_key_sounds_with_its_time_and_force_until_it_is_let_go() -> None:
    assert Sounds().plays("great", 0x90, 60, 70, 0x80, 60, 0) == [(1.0, 1, 60, 70), (1.0, 0, 60, 0)]


def test_nothing_sounds_before_it_is_said_as_what() -> None:
    assert Sounds(meant=b"").plays("great", 0x90, 60, 70) == []


def test_hands_moved_by_octaves_sound_where_they_mean() -> None:
    up = bytes(min(127, key + 12) for key in range(128))
    assert Sounds(up).plays("great", 0x90, 60, 70) == [(1.0, 1, 72, 70)]


def test_a_key_ends_the_tone_it_began_though_it_means_another_now() -> None:
    sounds = Sounds()
    sounds.plays("great", 0x90, 60, 70)
    sounds.touch.sound_as(bytes(min(127, key + 12) for key in range(128)))
    assert sounds.plays("great", 0x80, 60, 0) == [(1.0, 0, 60, 0)]


def test_manuals_are_moved_and_left_out_as_the_player_has_written() -> None:
    sounds = Sounds(great={0: -1})
    assert sounds.plays("great", 0x90, 60, 70, 0x91, 60, 70) == [(1.0, 1, 48, 70)]
    assert sounds.plays("swell", 0x90, 60, 70) == []


def test_a_pitch_held_on_two_manuals_sounds_until_both_let_it_go() -> None:
    sounds = Sounds()
    sounds.plays("great", 0x90, 60, 70)
    sounds.plays("swell", 0x90, 60, 70)
    assert sounds.plays("great", 0x80, 60, 0) == []
    assert sounds.plays("swell", 0x80, 60, 0) == [(1.0, 0, 60, 0)]


def test_a_pitch_on_two_manuals_that_play_different_things_sounds_until_both_let_it_go() -> None:
    sounds = Sounds()
    sounds.touch.sound_as(AS_WRITTEN * len(Manual))
    ports: dict[str, Channels] = {"great": {None: 0}, "swell": {None: 0}}
    told = {"great": {None: Manual.LEFT_HAND}, "swell": {0: Manual.RIGHT_HAND}}
    sounds.touch.listen_to(ports, 0.0, told)
    sounds.plays("great", 0x90, 60, 70)
    assert sounds.plays("swell", 0x90, 60, 72) == [(1.0, 1, 60, 72)]
    assert sounds.plays("great", 0x80, 60, 0) == []
    assert sounds.plays("swell", 0x80, 60, 0) == [(1.0, 0, 60, 0)]


def test_each_manual_has_the_tones_of_its_hand() -> None:
    sounds = Sounds()
    down = bytes(max(0, key - 12) for key in range(128))
    up = bytes(min(127, key + 12) for key in range(128))
    by_manual = {Manual.LEFT_HAND: down, Manual.RIGHT_HAND: up}
    sounds.touch.sound_as(b"".join(by_manual.get(manual, AS_WRITTEN) for manual in Manual))
    told = {"great": {0: Manual.LEFT_HAND, 1: Manual.RIGHT_HAND}}
    sounds.touch.listen_to({"great": {None: 0}}, 0.0, told)
    struck = sounds.plays("great", 0x90, 60, 70, 0x91, 60, 70, 0x92, 60, 70)
    assert [tone for _, _, tone, _ in struck] == [48, 72, 60]


def test_every_process_tells_with_its_own_number() -> None:
    rows: list[Row] = []
    touch = Touch(rows.append, 3)
    touch.listen_to({"great": {None: 0}}, 0.0)
    touch.sound_as(AS_WRITTEN)
    touch.feed("great", bytes((0x90, 60, 70, 0x80, 60, 0)), 1.0)
    assert rows == [(1.0, 7, 60, 70), (1.0, 6, 60, 0)]
    assert list(map(as_request, rows)) == [KeyOn(60, 70, 1.0, 3), KeyOff(60, 1.0, 3)]


def test_the_pedal_keeps_what_the_fingers_let_go() -> None:
    sounds = Sounds()
    sounds.plays("great", 0x90, 60, 70, 0xB0, 64, 127)
    assert sounds.plays("great", 0x80, 60, 0) == []
    assert sounds.plays("great", 0xB0, 64, 0, at=2.0) == [(2.0, 0, PEDAL, 0), (2.0, 0, 60, 0)]


def test_a_port_that_is_gone_falls_silent() -> None:
    sounds = Sounds()
    sounds.plays("great", 0x90, 60, 70)
    sounds.plays("swell", 0x90, 64, 70)
    del sounds.rows[:]
    sounds.touch.lose("great", 3.0)
    assert sounds.rows == [(3.0, 0, 60, 0)]
    sounds.touch.listen_to({}, 4.0)  # and one no longer listened to as well
    assert sounds.rows[1:] == [(4.0, 0, 64, 0)]
