"""The order of the end, its limits, and signals while something is opened, played or put away."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator
from random import random
from subprocess import PIPE, Popen

import pytest

from trainer.conducting.way_out import ALL, ORDER, Leave, WayOut
from trainer.errors import LogError

POSIX = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")


class Stage:
    """A way out whose process does not end, and what was done on it."""

    def __init__(self) -> None:
        self.done: list[str] = []
        self.said: list[str] = []
        self.ended: list[int] = []
        self.over = threading.Event()
        self.way = WayOut(self.said.append, self._end)

    def _end(self, status: int) -> None:
        self.ended.append(status)
        self.over.set()

    def opens(self, *names: str) -> None:
        for name in names:
            self.way.at_the_end(name, lambda name=name: self.done.append(name))


@pytest.fixture
def stage() -> Iterator[Stage]:
    handlers = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    signal.signal(signal.SIGINT, signal.default_int_handler)  # scripts in the background ignore it
    yield Stage()
    for number, handler in handlers.items():
        signal.signal(number, handler)
    signal.set_wakeup_fd(-1)


def test_the_log_comes_before_devices_in_whatever_order_they_were_opened(stage: Stage) -> None:
    with stage.way:
        stage.opens("the keyboards", "the sound", "the log", "the window", "the pass")
    assert stage.done[:3] == ["the pass", "the log", "the window"]
    assert set(stage.done[3:]) == {"the sound", "the keyboards"}
    assert stage.way.status == 0 and stage.said == []


def test_each_limit_is_met_and_all_together_stay_within_two_seconds() -> None:
    assert sum(max(row.values()) for row in ORDER) < ALL < 2.0
    assert [name for row in ORDER[:2] for name in row] == ["the pass", "the log"]


def test_what_fails_or_hangs_keeps_nothing_else_from_being_put_away(stage: Stage) -> None:
    for_ever = threading.Event()

    def fails() -> None:
        raise LogError("cannot be written", file="log.sqlite")

    def falls() -> None:
        raise ZeroDivisionError

    with stage.way:
        stage.way.at_the_end("the pass", falls)
        stage.way.at_the_end("the log", fails)
        stage.way.at_the_end("the log", for_ever.wait, lambda: "half of it is lost")
        stage.way.at_the_end("the log", for_ever.wait)  # and nothing is lost by it
        stage.opens("the window", "the sound")
        stage.way.at_the_end("the keyboards", for_ever.wait)
    for_ever.set()
    assert stage.done == ["the window", "the sound"]
    assert stage.said == [
        "mittelstimme: at the end: ZeroDivisionError()",
        "mittelstimme: log.sqlite: cannot be written",
        "mittelstimme: half of it is lost",
    ]


def test_an_error_while_playing_is_not_swallowed(stage: Stage) -> None:
    with pytest.raises(LogError), stage.way:
        stage.opens("the log")
        raise LogError("gone")
    assert stage.done == ["the log"]


@POSIX
def test_a_signal_while_things_are_opened_leaves_at_once(stage: Stage) -> None:
    with stage.way:
        stage.opens("the log")
        signal.raise_signal(signal.SIGTERM)
        stage.opens("the sound")  # never reached
    assert stage.done == ["the log"] and stage.way.status == 143


@POSIX
def test_a_signal_while_one_plays_waits_for_the_next_look(stage: Stage) -> None:
    with stage.way:
        stage.way.only_at_looks()
        signal.raise_signal(signal.SIGINT)
        stage.done.append("the event went on to the log")
        stage.way.look()
        stage.done.append("not reached")
    assert stage.done == ["the event went on to the log"] and stage.way.status == 130


@POSIX
def test_a_signal_that_a_library_swallowed_is_heeded_all_the_same(stage: Stage) -> None:
    with stage.way:
        try:
            signal.raise_signal(signal.SIGINT)
        except BaseException:
            stage.done.append("swallowed")
        stage.way.only_at_looks()
        stage.done.append("not reached")
    assert stage.done == ["swallowed"] and stage.way.status == 130


@POSIX
def test_a_second_signal_while_all_is_put_away_changes_nothing(stage: Stage) -> None:
    with stage.way:
        stage.way.at_the_end("the log", lambda: os.kill(os.getpid(), signal.SIGINT))
        stage.way.at_the_end("the log", lambda: time.sleep(0.1))
        stage.opens("the window", "the sound")
        stage.way.only_at_looks()
        signal.raise_signal(signal.SIGTERM)
        stage.way.look()
    assert stage.done == ["the window", "the sound"] and stage.way.status == 143


@POSIX
def test_of_two_signals_that_come_while_python_is_held_up_the_first_counts(stage: Stage) -> None:
    """Python calls the handlers of signals that wait in the order of their numbers: 2 before 15."""
    long = [random() for _ in range(1_000_000)]
    script = f"read line; kill -TERM {os.getpid()}; sleep 0.02; kill -INT {os.getpid()}"
    with stage.way, Popen(["sh", "-c", script], stdin=PIPE, text=True) as other:
        stage.way.only_at_looks()
        assert other.stdin is not None
        other.stdin.write("now\n")
        other.stdin.flush()
        long.sort()  # for as long as this takes nothing else of Python's is done
        other.wait(60)
        stage.way.look()
    assert stage.way.status == 143


@POSIX
def test_a_program_that_does_not_look_is_led_out_all_the_same(stage: Stage) -> None:
    with stage.way:
        stage.opens("the log", "the sound")
        stage.way.only_at_looks()
        signal.raise_signal(signal.SIGTERM)
        assert stage.over.wait(120)  # stuck in a library, as far as anybody can see
        assert stage.done == ["the log", "the sound"] and stage.ended == [143]
    assert stage.done == ["the log", "the sound"]


@POSIX
def test_signals_mean_what_they_meant_before(stage: Stage) -> None:
    before = signal.getsignal(signal.SIGINT)
    with stage.way:
        assert signal.getsignal(signal.SIGINT) != before
    assert signal.getsignal(signal.SIGINT) == before


@POSIX
def test_what_a_script_in_the_background_ignores_stays_ignored(stage: Stage) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with stage.way:
        signal.raise_signal(signal.SIGINT)
        stage.way.look()
    assert stage.way.status == 0


def test_where_it_cannot_go_on_all_is_put_away_and_said(stage: Stage) -> None:
    stage.opens("the sound", "the log")
    stage.way.break_off("the display is gone", 1)
    assert stage.done == ["the log", "the sound"]
    assert stage.said == ["mittelstimme: the display is gone"] and stage.ended == [1]


def test_leaving_is_no_error_that_anything_catches() -> None:
    assert not issubclass(Leave, Exception)
