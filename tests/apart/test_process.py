"""Processes of our own: what they say, how they are lost, and that their end is limited in time."""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from trainer.apart import JSON, Process, Wire

PATIENCE = 120.0  # seconds: what takes longer does not come about, on however busy a machine


class Watched:
    """A process with what it told and how it was lost, to be waited for."""

    def __init__(self, work: str, **more: Any) -> None:
        self.told: queue.Queue[Any] = queue.Queue()
        self.lost: queue.Queue[str] = queue.Queue()
        self.process = Process(f"misbehaving:{work}", self.told.put, self.lost.put, **more)

    def hears(self) -> Any:
        return self.told.get(timeout=PATIENCE)

    def why(self) -> str:
        return self.lost.get(timeout=PATIENCE)


Starts = Callable[..., Watched]


@pytest.fixture
def start(monkeypatch: pytest.MonkeyPatch) -> Iterator[Starts]:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))
    started: list[Watched] = []

    def begin(work: str, **more: Any) -> Watched:
        started.append(Watched(work, **more))
        return started[-1]

    yield begin
    for watched in started:
        watched.process.leave()
        watched.process.kill()
        assert watched.process.wait(PATIENCE)


@pytest.mark.parametrize("wire", [None, JSON])
def test_messages_come_back_whole_and_in_order(start: Starts, wire: Wire | None) -> None:
    echo = start("echo", **({"wire": wire} if wire else {}))
    sent = [["a", 1, None, "é" * n] for n in (0, 1, 1000, 300_000)] * 5
    assert all(echo.process.send(message) for message in sent)
    assert [echo.hears() for _ in sent] == sent
    assert echo.process.end()
    assert echo.lost.empty()


def test_what_a_library_prints_does_not_get_among_the_answers(start: Starts) -> None:
    process = start("talks_to_stdout")
    process.process.send("first")
    assert process.hears() == "first"


def test_a_process_that_reads_nothing_never_makes_the_sender_wait(start: Starts) -> None:
    deaf = start("deaf")
    assert deaf.hears() == "ready"
    done = threading.Event()

    def send() -> None:
        for _ in range(200):
            deaf.process.send(b"x" * 50_000)  # ten million bytes: no pipe takes as many
        done.set()

    threading.Thread(target=send, daemon=True).start()
    assert done.wait(PATIENCE)


def test_what_a_deaf_process_is_sent_does_not_fill_the_memory(start: Starts) -> None:
    deaf = start("deaf")
    taken = sum(deaf.process.send(b"x" * 1_000_000) for _ in range(100))
    assert 50 < taken < 100


def test_a_process_that_takes_no_notice_is_ended_within_the_limit(start: Starts) -> None:
    deaf = start("deaf")
    assert deaf.hears() == "ready"
    for _ in range(10):
        deaf.process.send(b"x" * 50_000)
    began = time.monotonic()
    assert deaf.process.end(within=1.0)
    assert time.monotonic() - began < 10  # the machine may be busy; without a limit: for ever
    assert not deaf.process.alive


@pytest.mark.skipif(os.name != "posix", reason="Windows cannot stop a process")
def test_a_stopped_process_is_ended_too(start: Starts) -> None:
    echo = start("echo")
    echo.process.send(1)
    assert echo.hears() == 1
    os.kill(echo.process.pid, signal.SIGSTOP)
    assert echo.process.end(within=1.0)


def test_a_process_that_falls_is_lost_with_its_status(start: Starts) -> None:
    falls = start("falls")
    falls.process.send(1)
    assert falls.why() == "its process fell (3)"
    assert not falls.process.alive
    assert falls.process.send(2) is False


def test_a_process_that_raises_says_why_in_one_line(start: Starts) -> None:
    assert start("breaks").why() == "ValueError: the bellows leak"


def test_a_module_that_is_not_there_is_said(start: Starts) -> None:
    assert "no attribute 'nowhere'" in start("nowhere").why()


def test_a_process_that_says_rubbish_is_lost_and_ended(start: Starts) -> None:
    rubbish = start("rubbish")
    rubbish.why()
    assert not rubbish.process.alive


def test_a_killed_process_is_lost_once(start: Starts) -> None:
    echo = start("echo")
    echo.process.kill()
    assert "fell" in echo.why()
    assert echo.process.wait(PATIENCE)
    assert echo.lost.empty()


def test_a_process_that_stops_answering_is_noticed_and_said(start: Starts) -> None:
    breathes = start("breathes", patience=1.0)
    assert breathes.hears() == "ready"
    breathes.process.send("hush")
    assert breathes.why() == "it has not answered for 1 s"
    assert not breathes.process.alive


def test_signs_of_life_keep_a_process_with_nothing_to_say(start: Starts) -> None:
    breathes = start("breathes", patience=1.0)
    assert breathes.hears() == "ready"
    with pytest.raises(queue.Empty):
        breathes.lost.get(timeout=3.0)  # three times its patience


@pytest.mark.skipif(os.name != "posix", reason="sessions are POSIX's")
def test_ctrl_c_in_the_terminal_reaches_no_process_of_ours(start: Starts) -> None:
    assert start("signals").hears() == (True, True)


@pytest.mark.parametrize("work", ["echo", "breathes"])
def test_a_process_ends_with_the_program_however_that_ends(work: str) -> None:
    code = f"""
import sys, time
from trainer.apart import Process
process = Process("misbehaving:{work}", lambda message: None)
print(process.pid, flush=True)
time.sleep(600)
"""
    folder = Path(__file__).parent
    program = subprocess.Popen(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), str(folder.parents[1])])},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert program.stdout is not None
    with program.stdout:
        pid = int(program.stdout.readline())
    program.kill()
    program.wait()
    limit = time.monotonic() + PATIENCE
    while runs(pid):
        assert time.monotonic() < limit, "it outlives the program"
        time.sleep(0.02)


def runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
        state = Path(f"/proc/{pid}/stat")
        return not state.exists() or state.read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_files_beside_the_player_are_no_modules_of_ours(
    start: Starts, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "struct.py").write_text("raise SystemExit('a file of the player was run')")
    monkeypatch.chdir(tmp_path)
    echo = start("echo")
    echo.process.send(1)
    assert echo.hears() == 1
