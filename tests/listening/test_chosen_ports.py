"""Which of the ports are meant."""

from __future__ import annotations

from trainer.listening.chosen_ports import MOST, Port, chosen, named

PIANO, UPPER, LOWER = (Port(n, "ALSA", n) for n in ("Stage piano", "Organ upper", "Organ lower"))
ALL = (PIANO, UPPER, LOWER)


def names(text: str | None, ports: tuple[Port, ...] = ALL) -> list[str]:
    return [port.name for port in chosen(text, ports)]


def test_without_a_name_every_keyboard_is_heard() -> None:
    assert names(None) == names("") == names("all") == [p.name for p in ALL]
    assert names(None, ()) == []


def test_a_keyboard_that_two_interfaces_list_is_not_heard_twice() -> None:
    bridged = (*ALL, Port("Bridge: Stage piano", "JACK", "j"))
    assert names(None, bridged) == [p.name for p in ALL]
    assert names("stage", bridged) == ["Stage piano"]


def test_a_port_is_chosen_by_name_or_a_part_of_it() -> None:
    assert names("stage") == ["Stage piano"]
    assert names("Organ lower") == ["Organ lower"]
    assert names("harpsichord") == []


def test_a_part_that_fits_several_means_all_of_them() -> None:
    assert names("organ") == ["Organ upper", "Organ lower"]


def test_several_keyboards_are_written_with_commas() -> None:
    assert names("lower, Stage piano") == ["Organ lower", "Stage piano"]


def test_a_name_with_a_comma_in_it_can_be_meant_as_a_whole() -> None:
    odd = Port("Smith, Sons/2 -1", "ALSA", "x")
    assert names("smith, sons/2 -1", (*ALL, odd)) == [odd.name]


def test_each_keyboard_may_be_moved_by_octaves() -> None:
    found = chosen("Organ upper, Organ lower -1", ALL)
    assert found == {UPPER: {None: 0}, LOWER: {None: -1}}


def test_the_manuals_of_one_port_are_told_apart_by_channel() -> None:
    found = chosen("stage/1, stage/2 +1, stage/16 -1", ALL)
    assert found == {PIANO: {0: 0, 1: 1, 15: -1}}


def test_what_is_no_channel_belongs_to_the_name() -> None:
    assert names("stage/99") == []


def test_two_of_one_name_are_numbered_and_keep_their_addresses() -> None:
    found = named("ALSA", ("Twin:MIDI 1 20:0", "Twin:MIDI 1 24:0", "Other:MIDI 1 28:0"))
    assert [port.name for port in found] == ["Twin:MIDI 1 (1)", "Twin:MIDI 1 (2)", "Other:MIDI 1"]
    assert [port.address for port in found][1] == "Twin:MIDI 1 24:0"


def test_a_twin_left_alone_is_still_meant_by_its_numbered_name() -> None:
    (alone,) = named("ALSA", ("Twin:MIDI 1 24:0",))
    assert names("Twin:MIDI 1 (2)", (PIANO, alone)) == ["Twin:MIDI 1"]


def test_no_more_are_opened_than_a_system_bears() -> None:
    many = tuple(Port(f"port {n}", "JACK", f"{n}") for n in range(50))
    assert len(names(None, many)) == MOST
    assert names("port 49", many) == ["port 49"]
