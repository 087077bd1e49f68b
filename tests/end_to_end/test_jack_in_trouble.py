"""Real ports that vanish and come back, servers that die or hang; JACK's names are its addresses.

Equal names and addresses that change need ALSA or a system's list: tests/listening plays those with
paper. Two clients of one name JACK itself tells apart ("twin" and "twin-01").
"""

from __future__ import annotations

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any, TypeVar

import pytest

from tests.end_to_end.conftest import Program
from tests.end_to_end.jack import Bytes, Organ, Server
from tests.end_to_end.test_a_real_port import BEATS, EXERCISE, chords, played
from tests.faults import unplugging
from trainer.apart import passage as open_passage
from trainer.apart.passage import send
from trainer.journal.store import Journal
from trainer.listening.events import KeyDown, KeyUp, Pedal, PortFound, PortLost
from trainer.listening.keyboard import Keyboard
from trainer.sound.apart import SoundApart
from trainer.sound.instruments import Instruments
from trainer.sound.requests import Choice

WITHIN = 60.0  # seconds: what takes longer, on however busy a machine, does not come about

E = TypeVar("E")


class Heard:
    """A keyboard listened to through real ports, and what comes of it."""

    def __init__(self, wanted: str | None = None) -> None:
        self._queue: SimpleQueue[Any] = SimpleQueue()
        self.keyboard = Keyboard(self._queue.put, wanted=wanted)
        self.keyboard.settle()

    def next(self, kind: type[E]) -> E:
        """The next event, which has to be of that kind."""
        try:
            event = self._queue.get(timeout=WITHIN)
        except Empty:
            raise AssertionError(f"no {kind.__name__} came") from None
        assert isinstance(event, kind), event
        return event

    def nothing(self) -> bool:
        return self._queue.empty()


@contextmanager
def listening(wanted: str | None = None) -> Iterator[Heard]:
    heard = Heard(wanted)
    try:
        yield heard
    finally:
        heard.keyboard.close()


@contextmanager
def organs(*names: str) -> Iterator[list[Organ]]:
    found = [Organ(name) for name in names]
    try:
        yield found
    finally:
        for organ in found:
            organ.close()


def plays(organ: Organ, *message: int) -> None:
    organ.send([(time.monotonic(), list(message))])
    organ.wait()


# ---- several keyboards ------------------------------------------------------------------------


def test_two_keyboards_are_heard_at_once_and_losing_one_leaves_the_other(server: Server) -> None:
    with organs("twin", "twin") as (one, other), listening() as heard:
        found = {heard.next(PortFound).name for _ in range(2)}
        assert found == {"twin:keys", "twin-01:keys"}
        plays(one, 0x90, 60, 70)
        plays(other, 0x90, 64, 71)
        assert [heard.next(KeyDown).key for _ in range(2)] == [60, 64]
        other.kill()
        assert heard.next(KeyUp).key == 64
        lost = heard.next(PortLost)
        assert (lost.name, lost.others) == ("twin-01:keys", True)
        assert heard.keyboard.names == ("twin:keys",)
        plays(one, 0x80, 60, 0)
        assert heard.next(KeyUp).key == 60


def test_all_notes_off_on_one_channel_leaves_the_keys_of_another(server: Server) -> None:
    """MIDI 1.0, detailed specification: channel mode messages are for their channel alone."""
    with organs("console") as (console,), listening() as heard:
        heard.next(PortFound)
        for message in ((0x90, 60, 70), (0x91, 64, 71), (0xB1, 123, 0)):
            plays(console, *message)
        assert [heard.next(KeyDown).key for _ in range(2)] == [60, 64]
        assert heard.next(KeyUp).key == 64
        plays(console, 0x80, 60, 0)
        assert heard.next(KeyUp).key == 60 and heard.nothing()


def test_a_keyboard_put_in_again_is_listened_to_anew_also_by_another_name(server: Server) -> None:
    with organs("positive") as (organ,), listening("positive") as heard:
        for again in ("positive", "positive front"):
            heard.next(PortFound)
            plays(organ, 0x90, 60, 70)
            plays(organ, 0xB0, 64, 127)
            assert heard.next(KeyDown).key == 60 and heard.next(Pedal).down
            organ.kill()
            organ = Organ(again)
            assert heard.next(KeyUp).key == 60 and not heard.next(Pedal).down
            assert heard.next(PortLost).name == "positive:keys"
        assert heard.next(PortFound).name == "positive front:keys"
        plays(organ, 0x90, 62, 70)
        assert heard.next(KeyDown).key == 62
        organ.close()


def test_a_keyboard_put_in_again_before_anybody_looks_is_listened_to_anew(server: Server) -> None:
    """The list of ports is the same before and after; JACK has disconnected it."""
    with organs("positive") as (organ,), listening() as heard:
        heard.next(PortFound)
        for key in (60, 62, 64):
            plays(organ, 0x90, key, 70)
            assert heard.next(KeyDown).key == key
            organ.put_in_again()
            assert heard.next(KeyUp).key == key
            assert heard.next(PortLost).name == "positive:keys"
            assert heard.next(PortFound).name == "positive:keys"


# ---- the server -------------------------------------------------------------------------------


def test_a_server_that_is_killed_is_noticed_and_its_successor_found(server: Server) -> None:
    with organs("organ") as (organ,), listening() as heard:
        heard.next(PortFound)
        plays(organ, 0x90, 60, 70)
        struck = heard.next(KeyDown).time
        server.kill()
        killed = time.monotonic()  # it may have lived until now
        assert heard.next(KeyUp).key == 60
        lost = heard.next(PortLost)
        assert lost.since is not None and struck <= lost.since <= killed <= lost.time
        assert not lost.others and heard.keyboard.name is None
        organ.kill()
        server.start()
        with organs("organ") as (successor,):
            assert heard.next(PortFound).name == "organ:keys"
            plays(successor, 0x90, 62, 70)
            assert heard.next(KeyDown).key == 62


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="Windows cannot stop a process")
def test_a_server_that_hangs_is_noticed_and_heard_again_when_it_goes_on(server: Server) -> None:
    with organs("organ") as (organ,), listening() as heard:
        heard.next(PortFound)
        hung = time.monotonic()
        server.stand_still()
        lost = heard.next(PortLost)
        assert lost.since is not None and lost.since <= hung + 0.05  # a message was on its way
        server.process.send_signal(signal.SIGCONT)
        assert heard.next(PortFound).name == "organ:keys"
        plays(organ, 0x90, 62, 70)
        assert heard.next(KeyDown).key == 62


def test_a_server_killed_in_mid_pass_costs_the_player_nothing(
    server: Server, tmp_path: Path
) -> None:
    """What fell while nobody could hear is played anew after a count-in, and not judged."""
    exercise, beat = tmp_path / "four-bars.krn", 60.0 / 100
    exercise.write_text(EXERCISE, encoding="utf-8")
    organ = Organ("positive")
    program = Program(
        "practice", str(exercise), "--input", "positive", "--view", "none", "--silent", "--json",
        "--tempo", "100",
        home=tmp_path,
    )  # fmt: skip
    try:
        origin = program.next("began")["origin"]
        whole = played(chords(), origin, 100)
        organ.send([(at, message) for at, message in whole if at < origin + 5.5 * beat])
        organ.wait()
        server.kill()
        killed = time.monotonic()  # it may have lived until now
        organ.kill()
        said = program.next("paused")["paused"]
        assert said.startswith("positive:keys is gone")
        server.start()
        organ = Organ("positive")
        resumed = program.next("resumed")
        organ.send(_from(resumed["moment"], resumed["at"], beat))
        organ.wait()
        (kept,) = program.result()["takes"]
    finally:
        program.close()
        organ.close()
    with Journal.open(tmp_path / "log.sqlite") as journal:
        take, verdict = journal.take(kept["id"]), journal.verdict(kept["id"])
    ((broken, went_on),) = take.pauses
    assert broken <= killed < went_on
    assert resumed["moment"] <= 6
    assert verdict is not None and len(verdict.moments) == 13
    assert {moment.outcome for moment in verdict.moments} == {"complete"}
    assert not [fault for fault in verdict.faults if fault.weight != "remark"]


def _from(moment: int, at: float, beat: float) -> list[Bytes]:
    """The rest of the pass, the chord of that moment struck at clock time `at`."""
    shifted = played(chords(), at - BEATS[moment] * beat, 60.0 / beat)
    return [(when, message) for when, message in shifted if when > at - 0.01]


# ---- instruments ------------------------------------------------------------------------------


@pytest.fixture()
def bench(server: Server) -> Iterator[SimpleQueue[list[int]]]:
    """An instrument that can be played on: what is sent to it."""
    import rtmidi

    sent: SimpleQueue[list[int]] = SimpleQueue()
    port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="bench")
    port.set_callback(lambda message, _: sent.put(message[0]))
    port.open_virtual_port("pipes")
    yield sent
    port.close_port()
    port.delete()


def test_instruments_are_listed(bench: SimpleQueue[list[int]]) -> None:
    instruments = Instruments()
    limit = time.monotonic() + WITHIN
    while not instruments.names and time.monotonic() < limit:
        time.sleep(0.01)
    assert any(name.startswith("bench:pipes") for name in instruments.names)


def test_an_instrument_is_played_by_whichever_way_a_key_comes_first(
    bench: SimpleQueue[list[int]],
) -> None:
    way = open_passage()
    assert way is not None
    output = SoundApart(Choice(midi_port="bench", volume=0.5), way)
    output.wait_until_open(WITHIN)
    assert output.about == "MIDI instrument bench:pipes"
    at = time.monotonic()
    send(way.entrance, (at, 1, 60, 70))
    assert bench.get(timeout=WITHIN) == [0x90, 60, 70]
    output.key_on(60, 70, at)  # told again by the program
    output.key_on(62, 71, at)
    assert bench.get(timeout=WITHIN) == [0x90, 62, 71]
    output.close()
    way.close()


def test_cables_and_servers_again_and_again_leave_nothing_behind(jack: None) -> None:
    """A short version of `python -m tests.faults.unplugging`."""
    assert unplugging.main(cables=3, servers=2) == 0
