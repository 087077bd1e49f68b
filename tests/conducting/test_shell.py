"""Around a session: keys in, sound and log out, clocks that misbehave."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import pytest

from tests.judging.lessons import lesson
from tests.listening.paper import paper_in_place, until
from tests.practice.playing import in_order, keys
from trainer.conducting.setup import Setup
from trainer.conducting.shell import QuickClock, Shell, play_through
from trainer.conducting.sources import DemoSource, HandsSource
from trainer.journal.store import Journal
from trainer.journal.writer import Writer
from trainer.judging.take import Conditions
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal
from trainer.practice.effects import (
    Begin,
    Effect,
    Hold,
    PassEnded,
    Paused,
    Resumed,
    SessionEvent,
    Stop,
)
from trainer.practice.session import Session
from trainer.sound.requests import Choice
from trainer.sound.track import Track

PIECE = lesson("C", "c3 f3 g3 c3", "", "e4 f4 d4 e4", fermatas=(3,))
RIGHT = ("c3 g3 c4 e4", "f3 a3 c4 f4", "g3 g3 b3 d4", "c3 g3 c4 e4")
TEMPO = Conditions(tempo=60.0)


class Paper:
    """An output that writes down what it is asked for."""

    about = "paper"

    def __init__(self) -> None:
        self.asked: list[tuple[object, ...]] = []
        self.threads: list[int] = []

    def key_on(self, key: int, velocity: int = 64, at: float | None = None) -> None:
        self.asked.append(("on", key))
        self.threads.append(threading.get_ident())

    def key_off(self, key: int, at: float | None = None) -> None:
        self.asked.append(("off", key))

    def play(self, track: Track, at: float) -> None:
        self.asked.append(("play", track, at))

    def stop(self) -> None:
        self.asked.append(("stop",))

    def retune(self, choice: Choice) -> None: ...

    def close(self) -> None:
        self.asked.append(("close",))

    @property
    def sounding(self) -> set[object]:
        on: set[object] = set()
        for what, *key in self.asked:
            if what == "on":
                on.add(key[0])
            elif what == "off":
                on.discard(key[0])
            elif what == "stop":
                on.clear()
        return on


class Recorded:
    """A source that plays what it is given, on time."""

    name = "recorded"

    def __init__(self, events: list[KeyEvent]) -> None:
        self.ahead = events

    def poll(self, now: float) -> list[KeyEvent]:
        due = [event for event in self.ahead if event.time <= now]
        self.ahead = [event for event in self.ahead if event.time > now]
        return due

    def told(self, effect: Effect, session: object) -> None: ...

    def sound_as(self, meant: bytes) -> None: ...

    def sure(self, now: float) -> float:
        return now

    def close(self) -> None: ...


class Sleepy(QuickClock):
    """A clock beside which the one on the wall can run off."""

    slept = 0.0

    def wall(self) -> float:
        return self.now() + self.slept


def demo(setup: Setup, clock: QuickClock | None = None) -> tuple[Shell, Paper]:
    output = Paper()
    source = DemoSource(setup, lambda event: shell.sound_now(event))
    shell = Shell(setup, source, output, None, clock or QuickClock())
    return shell, output


def run(shell: Shell, seconds: float) -> list[Effect]:
    effects: list[Effect] = []
    until = shell.clock.now() + seconds
    while shell.clock.now() < until and shell.session.stage != "ended":
        effects += shell.step()
        shell.clock.sleep(0.01)
    return effects


def test_a_pass_is_in_the_log_event_by_event(tmp_path: Path) -> None:
    events = in_order(*(keys(20.0 + n, text, 0.9) for n, text in enumerate(RIGHT)))
    writer = Writer(tmp_path / "log.sqlite")
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded(events), Paper(), writer, QuickClock(15.75))
    play_through(shell, lambda _: None)
    writer.close()
    ((take_id, verdict),) = shell.results
    assert {m.outcome for m in verdict.moments} == {"complete"} and take_id is not None
    with Journal.open(tmp_path / "log.sqlite") as journal:
        assert journal.take(take_id).events == tuple(events)
        assert journal.take(take_id).port == "recorded"
        assert journal.verdict(take_id) == verdict


def test_count_in_and_supplied_voices_are_one_track_begun_ahead() -> None:
    conditions = Conditions(tempo=60.0, supply=("bass", "melody"))
    shell, output = demo(Setup(PIECE, conditions, PIECE))
    shell.send(Begin())
    shell.step()
    ((_, track, at),) = [asked for asked in output.asked if asked[0] == "play"]
    assert isinstance(track, Track) and isinstance(at, float) and at > shell.clock.now()
    assert len(track.notes) == 8 and len(track.clicks) == 8


def test_after_a_pass_of_the_demo_player_nothing_goes_on_sounding() -> None:
    shell, output = demo(Setup(PIECE, TEMPO, PIECE))
    play_through(shell, lambda _: None)
    assert output.sounding == set() and ("stop",) not in output.asked


def test_the_last_chord_is_the_players_to_let_go() -> None:
    events: list[KeyEvent] = [KeyDown(7.25, key) for key in (48, 55, 60, 64)]
    output = Paper()
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded(events), output, None, QuickClock())
    play_through(shell, lambda _: None)
    assert ("stop",) not in output.asked


def test_a_pass_broken_off_falls_silent() -> None:
    shell, output = demo(Setup(PIECE, TEMPO, PIECE))
    shell.send(Begin())
    run(shell, 5.5)
    assert output.sounding
    shell.send(Hold())
    shell.step()
    assert output.sounding == set()


def test_the_pedal_keeps_what_the_fingers_let_go() -> None:
    output = Paper()
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded([]), output, None, QuickClock())
    for event in (KeyDown(0, 60), Pedal(0, True), KeyUp(0, 60), KeyDown(0, 64)):
        shell.sound_now(event)
    assert output.sounding == {60, 64}
    for event in (KeyDown(0, 60), Pedal(0, False)):
        shell.sound_now(event)
    assert output.sounding == {60, 64}
    shell.sound_now(KeyUp(0, 60))
    assert output.sounding == {64}


def test_octave_shifts_are_heard_too() -> None:
    output = Paper()
    conditions = replace(TEMPO, shift_left=-1, shift_right=1)
    shell = Shell(Setup(PIECE, conditions, PIECE), Recorded([]), output, None, QuickClock())
    shell.sound_now(KeyDown(0, 50))
    shell.sound_now(KeyDown(0, 64))
    assert output.sounding == {38, 76}


class Busy(QuickClock):
    """A clock that goes on by a millisecond whenever it is looked at: a slow computer."""

    def now(self) -> float:
        self.sleep(0.001)
        return super().now()


def test_of_a_flood_no_more_is_fed_at_a_step_than_there_is_time_for() -> None:
    flood: list[KeyEvent] = [KeyDown(0.0, 21 + n % 88) for n in range(1000)]
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded(flood), Paper(), None, Busy())
    shell.send(Begin())
    shell.step()
    assert 0 < len(shell.session.events) < 20
    heard_until = shell.session.events[-1].time
    assert heard_until == 0.0 and shell.session.performance.hands.gathering


def test_where_frames_are_slow_more_is_fed_at_each_so_that_nothing_falls_behind() -> None:
    flood: list[KeyEvent] = [KeyDown(0.0, 21 + n % 88) for n in range(1000)]
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded(flood), Paper(), None, Busy())
    shell.send(Begin())
    shell.step()
    before = len(shell.session.events)
    shell.clock.sleep(0.4)
    shell.step()
    assert 150 < len(shell.session.events) - before < 250  # of a millisecond each: half the time
    before = len(shell.session.events)
    shell.step()
    assert len(shell.session.events) - before < 250


def test_a_stop_comes_after_all_that_was_played_before_it_and_loses_nothing() -> None:
    flood: list[KeyEvent] = [KeyDown(0.0, 21 + n % 88) for n in range(1000)]
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded(flood), Paper(), None, Busy())
    shell.send(Begin())
    shell.step()
    shell.send(Stop())
    shell.step()
    assert shell.session.stage == "ended" and shell.session.take.events == tuple(flood)


def test_a_run_of_keys_without_a_gap_ends_in_a_verdict() -> None:
    """Each joins the chord of the one before it: a chord that goes on for seconds."""
    run_on: list[KeyEvent] = [KeyDown(4.25 + n * 0.03, 40 + n % 40) for n in range(100)]
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded(run_on), Paper(), None, QuickClock())
    play_through(shell, lambda _: None)
    (verdict,) = [verdict for _, verdict in shell.results]
    assert max(found.spread_ms or 0.0 for found in verdict.moments) == pytest.approx(99 * 30)


@pytest.mark.parametrize("conditions", [TEMPO, Conditions()])
def test_when_the_program_ends_all_that_came_is_in_the_log(
    tmp_path: Path, conditions: Conditions
) -> None:
    events = in_order(*(keys(20.0 + n, text, 0.9) for n, text in enumerate(RIGHT[:2])))
    writer = Writer(tmp_path / "log.sqlite")
    clock = QuickClock(15.75)
    shell = Shell(Setup(PIECE, conditions, PIECE), Recorded([]), Paper(), writer, clock)
    shell.send(Begin())
    run(shell, 7.0)
    shell.source = Recorded(events)  # it has all come, and nobody has looked
    shell.leave()
    writer.close()
    with Journal.open(tmp_path / "log.sqlite", write=False) as journal:
        (kept,) = journal.takes()
        assert kept.state == "stopped"
        assert journal.take(kept.id).events == tuple(events)
        assert journal.verdict(kept.id) == shell.session.verdict
    assert shell.session.verdict is not None
    assert [m.outcome for m in shell.session.verdict.moments[:2]] == ["complete", "complete"]


def test_when_the_program_ends_all_of_a_flood_is_in_the_log(tmp_path: Path) -> None:
    flood: list[KeyEvent] = [KeyDown(0.0, 21 + n % 88) for n in range(5000)]
    writer = Writer(tmp_path / "log.sqlite")
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded(flood), Paper(), writer, Busy())
    shell.send(Begin())
    shell.step()
    assert len(shell.session.events) < 20
    shell.leave()
    writer.close()
    with Journal.open(tmp_path / "log.sqlite", write=False) as journal:
        (kept,) = journal.takes()
        assert kept.state == "stopped"
        assert journal.take(kept.id).events == tuple(flood)


def test_a_pass_that_takes_long_to_judge_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from trainer.conducting import shell as driving

    judging, done = driving.feed, threading.Event()

    def slow(
        session: Session, event: SessionEvent, now: float
    ) -> tuple[Session, tuple[Effect, ...]]:
        if isinstance(event, Stop):
            done.wait(60)
        return judging(session, event, now)

    events = in_order(keys(20.0, RIGHT[0], 0.9))
    writer = Writer(tmp_path / "log.sqlite")
    clock = QuickClock(15.75)
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded(events), Paper(), writer, clock)
    shell.send(Begin())
    run(shell, 6.0)
    monkeypatch.setattr(driving, "feed", slow)
    shell.leave()
    writer.close()
    done.set()
    assert shell.session.stage == "ended" and not shell.more_to_come()
    with Journal.open(tmp_path / "log.sqlite", write=False) as journal:
        (kept,) = journal.takes()
        assert kept.state == "stopped"
        assert journal.take(kept.id).events == tuple(events)


def test_no_way_out_is_sought_for_a_pass_that_is_logged_while_the_program_ends() -> None:
    wrong = in_order(keys(20.0, RIGHT[0], 0.9), keys(21.0, "f3 a3 d4 f4", 0.9))
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded(wrong), Paper(), None, QuickClock(15.75))
    shell.seek_ways_later()
    play_through(shell, lambda _: None)
    ((_, verdict),) = shell.results
    final = shell._final(verdict)
    assert callable(final)
    assert any(fault.instead for fault in final().faults)
    shell.leave()
    assert final() == verdict and not any(fault.instead for fault in verdict.faults)


def test_keys_that_come_late_in_one_frame_are_one_chord_as_they_were_struck() -> None:
    """A frame that hangs brings many keys at once: their own times tell chords apart."""
    shell = Shell(Setup(PIECE, TEMPO, PIECE), Recorded([]), Paper(), None, QuickClock())
    shell.send(Begin())
    shell.step()
    shell.source = Recorded(in_order(keys(4.25, RIGHT[0]), keys(5.25, RIGHT[1])))
    for _ in range(4):
        shell.clock.sleep(1.7)
        shell.step()
    assert [chord.struck for chord in shell.session.performance.chords] == [
        (48, 55, 60, 64),
        (53, 57, 60, 65),
    ]


@pytest.mark.parametrize("conditions", [TEMPO, Conditions()])
def test_a_computer_that_slept_pauses_and_the_demo_player_goes_on(conditions: Conditions) -> None:
    clock = Sleepy()
    shell, _ = demo(Setup(PIECE, conditions, PIECE), clock)
    shell.send(Begin())
    run(shell, 5.0 if conditions.tempo else 1.5)
    clock.slept += 3600.0
    effects = run(shell, 60.0)
    paused = [effect for effect in effects if isinstance(effect, Paused)]
    assert len(paused) == (1 if conditions.tempo else 0)
    assert all("asleep" in effect.text for effect in paused)
    (ended,) = [effect for effect in effects if isinstance(effect, PassEnded)]
    assert ended.finished and {m.outcome for m in ended.verdict.moments} == {"complete"}


@pytest.mark.parametrize("conditions", [TEMPO, Conditions()])
def test_the_demo_player_goes_on_after_a_pause_from_where_the_session_does(
    conditions: Conditions,
) -> None:
    shell, _ = demo(Setup(PIECE, conditions, PIECE))
    shell.send(Begin())
    run(shell, 6.0 if conditions.tempo else 2.5)
    shell.send(Hold())
    effects = run(shell, 60.0)
    assert len([effect for effect in effects if isinstance(effect, Resumed)]) == 1
    (ended,) = [effect for effect in effects if isinstance(effect, PassEnded)]
    assert {m.outcome for m in ended.verdict.moments} == {"complete"}


def test_passes_follow_one_another_until_there_are_enough() -> None:
    shell, _ = demo(Setup(PIECE, TEMPO, PIECE, passes=3))
    play_through(shell, lambda _: None)
    assert len(shell.results) == 3 and not shell.more_to_come()


def test_a_pass_stopped_by_the_player_counts_as_one() -> None:
    shell, _ = demo(Setup(PIECE, TEMPO, PIECE))
    shell.send(Begin())
    run(shell, 5.5)
    shell.send(Stop())
    shell.step()
    ((_, verdict),) = shell.results
    assert verdict.moments[0].outcome == "complete"
    assert verdict.moments[-1].outcome == "not-played"


def test_a_tone_starts_in_the_midi_thread_before_any_frame(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with paper_in_place(monkeypatch) as paper:
        paper.names = ["organ:keys"]
        output = Paper()
        source = HandsSource(lambda event: shell.sound_now(event))
        source.settle()
        shell = Shell(Setup(PIECE, TEMPO, PIECE), source, output, None)
        assert source.name == "organ:keys"
        paper.play("organ:keys", [0x90, 60, 70])
        until(lambda: output.asked == [("on", 60)])  # and no step was taken
        assert output.threads != [threading.get_ident()]
        until(lambda: bool(shell.step()) or shell.session.capture.down == (60,))
        source.close()


def test_a_keyboard_found_before_the_beginning_brings_its_own_offset(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with paper_in_place(monkeypatch) as paper:
        source = HandsSource(lambda _: None)
        source.settle()
        offsets = {"typing": 0.0, "organ:keys": 0.011}
        setup = Setup(PIECE, TEMPO, PIECE)
        shell = Shell(setup, source, Paper(), None, QuickClock(), offsets.__getitem__)
        assert shell.session.task.conditions.latency == 0.0
        paper.names = ["organ:keys"]
        until(lambda: source.port is not None)
        shell.step()
        shell.step()
        assert shell.session.take.port == "organ:keys"
        assert shell.session.task.conditions.latency == 0.011
        source.close()
