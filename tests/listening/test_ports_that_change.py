"""Opening a port while others come and go: by its number it might be another one by then."""

from __future__ import annotations

from typing import Any

import pytest

from trainer.listening import rtmidi_ports
from trainer.listening.interfaces import InterfaceError
from trainer.listening.rtmidi_ports import TRIES, RtMidi


class Client:
    """Of RtMidi, with nothing behind it."""

    opened: list[int]

    def __init__(self) -> None:
        self.opened = []
        self.gone = False

    def ignore_types(self, **_: bool) -> None: ...

    def open_port(self, number: int, name: str) -> None:
        self.opened.append(number)


def rtmidi(monkeypatch: pytest.MonkeyPatch, lists: list[list[str]]) -> tuple[RtMidi, list[Client]]:
    """One whose ports are asked for again and again, and the clients it makes."""
    made: list[Client] = []

    def client(_self: RtMidi, _queue: int) -> Client:
        made.append(Client())
        return made[-1]

    def shut(one: Any) -> None:
        one.gone = True

    monkeypatch.setattr(RtMidi, "_client", client)
    monkeypatch.setattr(rtmidi_ports, "names", lambda _client: lists.pop(0))
    monkeypatch.setattr(rtmidi_ports, "shut", shut)
    return RtMidi("ALSA"), made


def test_a_port_is_opened_anew_where_another_one_came_just_then(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lists = [["organ:keys"], ["new:keys", "organ:keys"], *2 * [["new:keys", "organ:keys"]]]
    ports, made = rtmidi(monkeypatch, lists)
    ports.open("organ:keys")
    assert [one.opened for one in made] == [[0], [1]]
    assert [one.gone for one in made] == [True, False]


def test_ports_that_never_stand_still_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    lists = [["organ:keys"], ["organ:keys", "new:keys"]] * TRIES
    ports, made = rtmidi(monkeypatch, lists)
    with pytest.raises(InterfaceError, match="go on changing"):
        ports.open("organ:keys")
    assert len(made) == TRIES and all(one.gone for one in made)
