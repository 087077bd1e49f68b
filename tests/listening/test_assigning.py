"""What the player writes of what each keyboard plays."""

from __future__ import annotations

import pytest

from trainer.listening.assigning import (
    assigned,
    assignments,
    changed,
    complaint,
    in_words,
    plays,
)
from trainer.listening.chosen_ports import Port
from trainer.listening.manuals import Manual

BASS, LEFT, RIGHT = Manual.BASS, Manual.LEFT_HAND, Manual.RIGHT_HAND
GREAT, SWELL, PEDALS, CONSOLE, ODD = (
    Port(name, "JACK", name) for name in ("Great", "Swell", "Pedals", "Console", "Pi, no/3")
)
PORTS = (GREAT, SWELL, PEDALS, CONSOLE, ODD)


def told(text: str) -> dict[Port, object]:
    return dict(assigned(assignments(text), PORTS))


def test_where_nothing_is_written_everything_is_played_everywhere() -> None:
    for text in ("", "  ", None):
        assert assignments(text) == ()
    assert plays({})(0) is plays({})(15) is Manual.EVERYTHING


def test_keyboards_are_named_as_musicians_name_them() -> None:
    text = "Pedals = bass, great=Left Hand , Swell = right hand, Console = everything"
    assert told(text) == {
        PEDALS: {None: BASS},
        GREAT: {None: LEFT},
        SWELL: {None: RIGHT},
        CONSOLE: {None: Manual.EVERYTHING},
    }
    assert complaint(assignments(text), PORTS) == ""


def test_a_console_sends_its_manuals_as_channels_of_one_port() -> None:
    (channels,) = told("Console/3 = bass, Console/1/2 = right hand, Console = left hand").values()
    assert channels == {2: BASS, 0: RIGHT, 1: RIGHT, None: LEFT}
    of = plays(channels)  # type: ignore[arg-type]
    assert [of(n) for n in (0, 1, 2, 3, 15)] == [RIGHT, RIGHT, BASS, LEFT, LEFT]
    assert in_words(channels) == (  # type: ignore[arg-type]
        "left hand, channel 1 right hand, channel 2 right hand, channel 3 bass"
    )


def test_channels_one_and_sixteen_are_the_outermost() -> None:
    assert told("Console/1/16 = bass") == {CONSOLE: {0: BASS, 15: BASS}}
    for none in ("Console/0 = bass", "Console/17 = bass", "Console/1/17 = bass"):
        with pytest.raises(ValueError, match="they are 1 to 16"):
            assignments(none)


def test_a_port_with_commas_and_slashes_in_its_name_is_meant_by_all_of_it() -> None:
    assert told("Pi, no/3 = bass, Great = left hand") == {ODD: {None: BASS}, GREAT: {None: LEFT}}


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("Pedals", "'Pedals' does not say what plays what"),
        ("Pedals bass", "'Pedals bass' does not say what plays what"),
        ("= bass", "'= bass' does not say what plays what"),
        ("Pedals =", "'Pedals' cannot play '', only everything, bass, left hand, right hand"),
        ("Pedals = tenor", "'Pedals' cannot play 'tenor', only everything"),
        ("Pedals = bass drum", "'Pedals' cannot play 'bass drum', only"),
        ("Pedals = bass,, Great = bass", "'' does not say"),
        ("Pedals = bass, pedals = left hand", "pedals is told to play two things: bass, left"),
        ("A/2 = bass, A/1/2 = right hand", "channel 2 of A is told to play two things"),
    ],
)
def test_nonsense_is_named_in_one_line(text: str, line: str) -> None:
    with pytest.raises(ValueError) as refused:
        assignments(text)
    said = str(refused.value)
    assert line.casefold() in said.casefold() and "\n" not in said


def test_a_keyboard_that_is_not_there_and_one_told_two_things_are_named() -> None:
    missing = complaint(assignments("Positive = bass"), PORTS)
    assert missing == "there is no keyboard 'Positive' to play the bass"
    clash = complaint(assignments("gre = bass, Great = left hand"), PORTS)
    assert clash == "gre is told to play two things: bass, left hand"
    by_channel = complaint(assignments("cons/2 = bass, Console/2 = left hand"), PORTS)
    assert by_channel == "channel 2 of cons is told to play two things: bass, left hand"
    assert complaint(assignments("Great = bass, gre = bass"), PORTS) == ""


def test_one_keyboard_is_told_otherwise_and_the_rest_stays_as_it_was_written() -> None:
    text = "Console/3 = bass, e = left hand"  # Great, Swell, Pedals and Console
    again = changed(text, "Swell", RIGHT, PORTS)
    assert told(again) == {
        CONSOLE: {2: BASS, None: LEFT},
        GREAT: {None: LEFT},
        PEDALS: {None: LEFT},
        SWELL: {None: RIGHT},
    }
    assert changed("Pedals = bass", "Pedals", Manual.EVERYTHING, PORTS) == ""
    by_channel = "Great/2 = bass, Great = left hand"
    assert changed(by_channel, "Great", Manual.EVERYTHING, PORTS) == "Great/2 = bass"
    assert changed("", "Pi, no/3", BASS, PORTS) == "Pi, no/3 = bass"
