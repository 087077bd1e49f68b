"""Checking a log and putting a copy of it back, ended by a signal: one line, and nothing is lost.

A process that is ended by a signal gives 128 and the signal's number as its status, as shells do
(POSIX, Shell Command Language, 2.8.2).
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from random import Random

import pytest

from tests.bench.big_log import BUSY, build
from tests.journal.samples import play
from trainer.journal import copies
from trainer.journal.beside import move, remove
from trainer.journal.store import Journal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no such signals here")
SIGNALS = ((signal.SIGINT, 130), (signal.SIGTERM, 143))
DAY = "2026-03-02"
HANGS = 60.0  # seconds


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log that takes seconds to check."""
    path = tmp_path_factory.mktemp("long") / "log.sqlite"
    build(str(path), 20_000)
    return path


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """The real command in a process of its own, with its home in the test's folder."""
    begun: list[subprocess.Popen[str]] = []

    def start(*words: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "trainer", *words],
            env={**os.environ, "MITTELSTIMME_HOME": str(tmp_path)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            # what is run from a script in the background does not hear ctrl-C
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        )
        begun.append(process)
        return process

    yield start
    for process in begun:
        process.kill()
        process.communicate()


def until(holds: Callable[[], bool], process: subprocess.Popen[str]) -> bool:
    """Wait for something to hold; False if the process has ended before."""
    ends = time.monotonic() + HANGS
    while not holds():
        if process.poll() is not None:
            return False
        assert time.monotonic() < ends
        time.sleep(0.001)
    return True


def has_open(process: subprocess.Popen[str], path: Path) -> Callable[[], bool]:
    folder = Path(f"/proc/{process.pid}/fd")

    def looked() -> bool:
        try:
            return any(one.readlink() == path for one in folder.iterdir())
        except OSError:
            return False

    return looked


@pytest.mark.parametrize(("number", "status"), SIGNALS)
@pytest.mark.parametrize("more", [(), ("--repair",)], ids=["verify", "repair"])
def test_a_check_that_is_broken_off_goes_on_there(
    long: Path,
    tmp_path: Path,
    started: Callable[..., subprocess.Popen[str]],
    number: signal.Signals,
    status: int,
    more: tuple[str, ...],
) -> None:
    log = Path(shutil.copy(long, tmp_path / "log.sqlite"))
    before = log.read_bytes()
    words = ("log", "verify", "--log", str(log))
    process = started(*words, *more)

    def is_under_way() -> bool:
        sealed = list(tmp_path.rglob("verified-*.seals"))
        return bool(sealed) and sealed[0].stat().st_size > 16 * 200

    assert until(is_under_way, process)
    process.send_signal(number)
    out, said = process.communicate(timeout=HANGS)
    assert process.returncode == status and out == ""
    told = re.fullmatch(
        r"mittelstimme: stopped after (\d+) of (\d+) takes; the next time it goes on there\n", said
    )
    assert told is not None, said
    done, takes = map(int, told.groups())
    assert 0 < done < takes
    assert log.read_bytes() == before
    out, said = (again := started(*words, "--json")).communicate(timeout=HANGS)
    found = json.loads(out)
    assert again.returncode == 0 and said == "" and found["left"] == []
    assert found["takes"] == takes and done <= found["known"] < takes


@pytest.mark.parametrize(("number", "status"), SIGNALS)
def test_an_export_that_is_ended_leaves_nothing_half_written(
    long: Path,
    tmp_path: Path,
    started: Callable[..., subprocess.Popen[str]],
    number: signal.Signals,
    status: int,
) -> None:
    folder = tmp_path / "out"
    folder.mkdir()
    words = ("log", "export", str(folder / "me.bundle"), "--log", str(long))
    process = started(*words, "--player", BUSY)
    assert until(lambda: any(folder.iterdir()), process)
    process.send_signal(number)
    out, said = process.communicate(timeout=HANGS)
    assert (process.returncode, out, said.strip()) == (status, "", "")
    assert list(folder.iterdir()) == []


@pytest.fixture
def two(long: Path, tmp_path: Path) -> tuple[Path, Path]:
    """A log of one take, and the copy of a day on which it was long."""
    log = tmp_path / "log.sqlite"
    play(log)
    copy = copies.folder_of(log) / f"{DAY}.sqlite"
    copy.parent.mkdir()
    shutil.copy(long, copy)
    return log, copy


def takes_of(path: Path) -> int:
    with Journal.open(path, write=False) as journal:
        return len(journal.takes())


def beside(log: Path) -> list[Path]:
    """What lies beside the log and is none of it."""
    lie = [one for one in log.parent.iterdir() if one.is_file() and "log" in one.name]
    return [one for one in lie if one != log and not one.name.endswith(("-wal", "-shm"))]


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs Linux's list of open files")
@pytest.mark.parametrize(("number", "status"), SIGNALS)
def test_a_copy_that_cannot_be_read_now_is_not_waited_for(
    two: tuple[Path, Path],
    started: Callable[..., subprocess.Popen[str]],
    number: signal.Signals,
    status: int,
) -> None:
    log, copy = two
    with closing(sqlite3.connect(copy)) as holder:
        holder.execute("PRAGMA locking_mode=EXCLUSIVE")
        holder.execute("PRAGMA journal_mode=DELETE")
        holder.execute("BEGIN EXCLUSIVE")
        process = started("log", "restore", DAY, "--log", str(log))
        assert until(has_open(process, copy), process)
        process.send_signal(number)
        out, said = process.communicate(timeout=HANGS)
    assert (process.returncode, out) == (status, "")
    assert said == "mittelstimme: stopped; the log is as it was\n"
    assert takes_of(log) == 1 and beside(log) == []


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs Linux's list of open files")
@pytest.mark.parametrize(("number", "status"), SIGNALS)
def test_whenever_putting_back_is_ended_the_log_is_the_old_one_or_the_copy(
    two: tuple[Path, Path],
    long: Path,
    started: Callable[..., subprocess.Popen[str]],
    number: signal.Signals,
    status: int,
) -> None:
    log, copy = two
    many = takes_of(long)
    chance = Random(int(number))
    for turn in range(8):
        fresh = log.with_name(f".{log.name}.restored")
        process = started("log", "restore", DAY, "--log", str(log))
        if until(fresh.exists if turn % 2 else has_open(process, copy), process):
            time.sleep(chance.uniform(0.0, 0.08))  # at any instant from here on
            process.send_signal(number)
        out, said = process.communicate(timeout=HANGS)
        assert not fresh.exists()
        if takes_of(log) == many:
            (kept,) = beside(log)
            assert process.returncode in (0, status) and said == ""
            assert out.splitlines()[0] == f"{log}: as it was on {DAY}"
            assert takes_of(kept) == 1
            remove(log)
            move(kept, log)
        else:
            assert takes_of(log) == 1 and beside(log) == []
            assert (process.returncode, out) == (status, "")
            assert said == "mittelstimme: stopped; the log is as it was\n"
