"""One interface listened to: ports come, go and are opened. The interface is made of paper."""

from __future__ import annotations

import time
from queue import SimpleQueue

import pytest

from trainer.listening import ear as module
from trainer.listening.ear import (
    LOOK_EVERY,
    TRY_EVERY,
    Arrived,
    Ear,
    End,
    Gone,
    Listed,
    Opened,
    Said,
    Sure,
)
from trainer.listening.interfaces import InterfaceError, OpenPort, addresses
from trainer.listening.touch import Touch


class PaperPort:
    def __init__(self) -> None:
        self.queue: list[tuple[float, bytes]] = []
        self.closed = self.disconnected = False

    def cut_off(self) -> bool:
        return self.disconnected

    def arrived(self) -> list[tuple[float, bytes]]:
        queue, self.queue = self.queue, []
        return queue

    def close(self) -> None:
        self.closed = True


class PaperInterface:
    """Lists `names`; the server behind it is `dead`, was last alive at `proof` if that is set, and
    opens no port in `busy`."""

    def __init__(self, *names: str) -> None:
        self.names = list(names)
        self.dead = False
        self.proof: float | None = None
        self.busy: set[str] = set()
        self.ports: dict[str, PaperPort] = {}
        self.looks = 0

    def look(self) -> tuple[str, ...]:
        self.looks += 1
        if self.dead:
            raise InterfaceError("it is dead")
        return addresses(self.names)

    def alive(self, now: float) -> float:
        if self.dead:
            raise InterfaceError("it is dead")
        return now if self.proof is None else self.proof

    def open(self, address: str) -> OpenPort:
        if address in self.busy or address not in self.look():
            raise InterfaceError(f"{address} is taken")
        self.ports[address] = PaperPort()
        return self.ports[address]

    def close(self) -> None: ...


class Listener:
    """An ear that hears time go by."""

    def __init__(self, *names: str) -> None:
        self.paper = PaperInterface(*names)
        self.said: list[Said] = []
        self.ear = Ear(self.paper, self.said.append, Touch(lambda row: None))
        self.now = 1000.0

    def turn(self, seconds: float = LOOK_EVERY) -> list[Said]:
        """What is said after so many seconds, signs of life left out."""
        self.now += seconds
        del self.said[:]
        self.ear.read(self.now)
        if self.ear.has_to_look(self.now):
            self.ear.look(self.now)
        return [said for said in self.said if not isinstance(said, Sure)]

    def listen_to(self, *names: str) -> None:
        self.ear.listen_to(names)
        for _ in names:
            self.turn()


def test_the_list_is_told_when_it_changes_and_only_then() -> None:
    one = Listener("organ")
    assert one.turn() == [Listed(("organ",))]
    assert one.turn() == []
    one.paper.names.append("piano")
    assert one.turn() == [Listed(("organ", "piano"))]


def test_a_port_that_is_cut_off_though_it_is_listed_is_lost_and_told_anew() -> None:
    one = Listener("organ")
    one.turn()
    one.listen_to("organ")
    before = one.paper.ports["organ"]
    before.disconnected = True
    gone, listed = one.turn()
    assert isinstance(gone, Gone) and gone.address == "organ" and listed == Listed(("organ",))
    assert before.closed
    one.listen_to("organ")
    assert one.paper.ports["organ"] is not before and one.turn() == []


def test_the_systems_own_ports_and_ours_are_no_keyboards() -> None:
    one = Listener("Midi Through Port-0 14:0", "mittelstimme-01:round 7", "Stage piano 20:0")
    assert one.turn() == [Listed(("Stage piano 20:0",))]


def test_the_list_is_not_asked_for_at_every_reading() -> None:
    one = Listener("organ")
    one.turn()
    before = one.paper.looks
    for _ in range(20):
        one.turn(LOOK_EVERY / 100)
    assert one.paper.looks == before


def test_an_interface_that_does_not_answer_is_tried_again_later() -> None:
    one = Listener("organ")
    one.paper.dead = True
    assert one.turn() == [Listed(None, "it is dead")]
    one.paper.dead = False
    assert one.turn(TRY_EVERY / 2) == []
    assert one.turn(TRY_EVERY) == [Listed(("organ",))]


def test_while_an_interface_does_not_answer_its_process_gives_signs_of_life(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Else it would be taken to hang, killed and started again and again."""
    monkeypatch.setattr(module, "TRY_EVERY", 0.01)
    one = Listener("organ")
    one.paper.dead = True
    asked: SimpleQueue[object] = SimpleQueue()
    beats: list[float] = []

    def beat() -> None:
        beats.append(time.monotonic())
        if len(beats) == 5:
            asked.put(End())

    module._listen(one.ear, Touch(lambda row: None), asked, beat)  # type: ignore[arg-type]
    assert len(beats) == 5 and one.said == [Listed(None, "it is dead")]


def test_what_is_asked_for_is_opened_and_heard() -> None:
    one = Listener("organ", "piano")
    one.turn()
    one.ear.listen_to(("piano",))
    assert one.turn() == [Opened("piano")] and list(one.paper.ports) == ["piano"]
    one.paper.ports["piano"].queue.append((0.0, b"\x90\x3c\x46"))
    (heard,) = one.turn(0.001)
    assert isinstance(heard, Arrived) and heard.messages[0][1:] == ("piano", b"\x90\x3c\x46")


def test_messages_of_two_ports_are_told_in_the_order_they_arrived() -> None:
    one = Listener("great", "swell")
    one.turn()
    one.listen_to("great", "swell")
    one.turn()
    one.paper.ports["great"].queue += [(0.0, b"1"), (0.04, b"3")]
    one.paper.ports["swell"].queue += [(0.0, b"2")]
    one.turn(0.05)
    one.paper.ports["great"].queue += [(0.02, b"5")]
    one.paper.ports["swell"].queue += [(0.01, b"4")]
    assert isinstance(one.said[0], Arrived) and len(one.said[0].messages) == 3
    times = [time for time, _, _ in one.said[0].messages]
    assert times == sorted(times)


def test_a_port_that_is_unplugged_is_gone_since_it_was_last_seen() -> None:
    one = Listener("organ 20:0", "piano 24:0")
    one.turn()
    one.listen_to("organ 20:0", "piano 24:0")
    one.turn()
    seen = one.now
    one.paper.names.remove("organ 20:0")
    said = one.turn()
    assert said == [Gone("organ 20:0", seen), Listed(("piano 24:0",))]
    assert one.paper.ports["organ 20:0"].closed and not one.paper.ports["piano 24:0"].closed


def test_of_two_equal_keyboards_the_one_unplugged_is_told_by_its_address() -> None:
    one = Listener("Twin:MIDI 1 20:0", "Twin:MIDI 1 24:0")
    one.turn()
    one.listen_to("Twin:MIDI 1 20:0", "Twin:MIDI 1 24:0")
    one.paper.names.remove("Twin:MIDI 1 20:0")
    said = one.turn()
    assert [type(s) for s in said] == [Gone, Listed]
    assert isinstance(said[0], Gone) and said[0].address == "Twin:MIDI 1 20:0"


def test_a_quick_replug_under_a_new_address_is_lost_and_found() -> None:
    one = Listener("organ 20:0")
    one.turn()
    one.listen_to("organ 20:0")
    one.paper.names[:] = ["organ 24:0"]
    said = one.turn()
    assert [type(s) for s in said] == [Gone, Listed]
    one.ear.listen_to(("organ 24:0",))
    assert one.turn() == [Opened("organ 24:0")]


def test_where_the_system_gives_twins_one_name_both_are_opened_anew() -> None:
    """Nobody can say which of them is left."""
    one = Listener("Twin", "Twin")
    one.turn()
    one.listen_to("Twin", "Twin#2")
    one.paper.names.remove("Twin")
    said = one.turn()
    assert {s.address for s in said if isinstance(s, Gone)} == {"Twin", "Twin#2"}
    assert said[-1] == Listed(("Twin",))


def test_a_port_that_cannot_be_opened_says_why_and_is_tried_again() -> None:
    one = Listener("organ")
    one.paper.busy.add("organ")
    one.turn()
    one.ear.listen_to(("organ",))
    assert one.turn() == [Opened("organ", "organ is taken")]
    one.paper.busy.clear()
    assert one.turn() == []
    assert one.turn(TRY_EVERY) == [Opened("organ")]


def test_ports_are_opened_one_at_a_time_and_read_in_between() -> None:
    one = Listener(*(f"port {n}" for n in range(16)))
    one.turn()
    one.ear.listen_to(f"port {n}" for n in range(16))
    one.turn()
    assert len(one.paper.ports) == 1 and one.ear.has_to_look(one.now)
    for _ in range(15):
        one.turn(0.0)
    assert len(one.paper.ports) == 16


def test_a_server_that_dies_ends_the_ear() -> None:
    """What it knew cannot be closed: a new process begins afresh."""
    one = Listener("organ")
    one.turn()
    one.listen_to("organ")
    one.paper.dead = True
    with pytest.raises(InterfaceError, match="dead"):
        one.turn()


def test_until_when_all_was_heard_is_what_the_interface_can_prove() -> None:
    one = Listener("organ")
    one.turn()
    one.listen_to("organ")
    one.paper.proof = one.now - 0.3
    one.turn()
    assert one.said[-1] == Sure(one.now - LOOK_EVERY - 0.3)


def test_ports_no_longer_asked_for_are_closed() -> None:
    one = Listener("organ")
    one.turn()
    one.listen_to("organ")
    one.ear.listen_to(())
    one.turn()
    assert one.paper.ports["organ"].closed and not one.ear.listening
