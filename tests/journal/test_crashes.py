"""Whatever happens while a take is written, at most the chord being written is lost.

A child process writes takes chord by chord and tells through a pipe which chord it hands over and
which one the writer has confirmed. It is killed, or runs out of disk, at a random instant.
"""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import pytest

from tests.journal.samples import EVENTS, SECOND, TAKE, VERDICT
from trainer.errors import LogError
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.journal.writer import Writer, settle
from trainer.listening.events import KeyDown

resource = pytest.importorskip("resource", reason="full disks are simulated with limits of Unix")
KILLS = int(os.environ.get("MITTELSTIMME_TEST_KILLS", "500"))
CHORDS = 7  # of the cadence


def write_takes(log: str, tell: Callable[[bytes], object]) -> None:
    """Takes of seven chords without end: `<` before a chord is handed over, `>` when it is kept,
    `.` when a take is ended and kept."""
    with Writer(log) as writer:
        while True:
            id = writer.begin(TAKE)
            for index in range(CHORDS):
                tell(b"<")
                writer.events(id, (KeyDown(10.0 + index, 60 + index, 64),))
                writer.moment(id, replace(SECOND, index=index))
                writer.flush()
                tell(b">")
            writer.end(id, replace(TAKE, events=EVENTS), VERDICT)
            writer.flush()
            tell(b".")


@contextlib.contextmanager
def child(work: Callable[[Callable[[bytes], object]], None]) -> Iterator[tuple[int, int]]:
    """`work` in a process of its own; its number and the pipe it tells into. Killed at the end."""
    read, write = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            os.close(read)
            work(lambda word: os.write(write, word))
        finally:
            os._exit(0)
    os.close(write)
    try:
        yield pid, read
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(pid, 0)
        os.close(read)


def told(pipe: int) -> bytes:
    """Everything that was told before the process ended."""
    parts = []
    while part := os.read(pipe, 65536):
        parts.append(part)
    return b"".join(parts)


def chords_in(journal: Journal) -> tuple[int, int]:
    """Ended takes and, of the one broken off, the chords; all of them in order, none missing."""
    settle(journal)
    ended = broken = 0
    for one in journal.takes():
        if one.state == "finished":
            ended += 1
            continue
        verdict = journal.verdict(one.id)
        keys = [event.key for event in journal.take(one.id).events if isinstance(event, KeyDown)]
        assert one.state == "recovered" and verdict is not None
        assert [m.index for m in verdict.moments] == list(range(len(verdict.moments)))
        assert keys == list(range(60, 60 + len(keys)))
        assert len(keys) - len(verdict.moments) in (0, 1)
        broken += len(verdict.moments)
    return ended, broken


@pytest.fixture
def quick_folder() -> Iterator[Path]:
    """In memory where there is such a folder: the kills shall fall on writing, not on waiting."""
    memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    folder = Path(tempfile.mkdtemp(prefix="mittelstimme-kills-", dir=memory))
    yield folder
    shutil.rmtree(folder)


def killed(folder: Path, seed: int, kills: int) -> tuple[int, int, int]:
    """So many kills; chords kept, those of them that were confirmed, and chords lost."""
    chance = random.Random(seed)
    kept = confirmed = lost = 0
    log, before = "", 0
    for kill in range(kills):
        if kill % 10 == 0:  # a new log, so that its making is hit too
            log, before = str(folder / f"{seed}-{kill}.sqlite"), 0
        with child(lambda tell, log=log: write_takes(log, tell)) as (pid, pipe):  # type: ignore[misc]
            # Every fifth kill falls anywhere, the making of the log included; the others after
            # so many words, and a moment that is too short for the next.
            said = b""
            words = chance.randrange(1, 24) if kill % 5 else 0
            while len(said) < words and (word := os.read(pipe, 1)):
                said += word
            time.sleep(chance.uniform(0.0, 0.001 if words else 0.1))
            os.kill(pid, signal.SIGKILL)
            said += told(pipe)
        with Journal.open(log) as journal:
            ended, broken = chords_in(journal)
            assert verify(journal).troubles == ()
        handed, sure = said.count(b"<"), said.count(b">")
        now = ended * CHORDS + broken - before
        before += now
        assert sure <= now <= handed, (kill, said)
        kept, confirmed, lost = kept + now, confirmed + sure, lost + handed - now
    return kept, confirmed, lost


def test_a_program_killed_at_any_instant_loses_at_most_the_current_chord(
    quick_folder: Path,
) -> None:
    """Two series beside each other: while one is killed the other is looked at."""
    with ProcessPoolExecutor(2, get_context("fork")) as pool:
        series = [pool.submit(killed, quick_folder, seed, KILLS // 2) for seed in (7, 8)]
        kept, confirmed, lost = map(sum, zip(*(one.result() for one in series), strict=True))
    print(f"{KILLS} kills: {kept} chords kept ({confirmed} of them confirmed), {lost} lost")
    assert lost <= KILLS
    assert confirmed > KILLS  # the kills did fall while chords were written


def test_a_full_disk_loses_nothing_that_was_confirmed_and_goes_on_when_there_is_room(
    quick_folder: Path,
) -> None:
    chance = random.Random(11)
    refused = 0
    for number in range(25):
        log = str(quick_folder / f"{number}.sqlite")
        Journal.open(log).close()
        room = Path(log).stat().st_size + chance.randrange(0, 300_000)

        def work(tell: Callable[[bytes], object], log: str = log, room: int = room) -> None:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
            resource.setrlimit(resource.RLIMIT_FSIZE, (room, hard))
            with Writer(log) as writer:
                id = writer.begin(TAKE)
                for index in range(40):
                    tell(b"<")
                    writer.events(id, (KeyDown(10.0 + index, 60 + index % 60, 64),))
                    writer.moment(id, replace(SECOND, index=index))
                    try:
                        writer.flush()
                    except LogError as error:
                        assert "\n" not in str(error) and writer.trouble == str(error)
                        tell(b"!")
                        if chance.random() < 0.5:
                            os.kill(os.getpid(), signal.SIGKILL)
                        resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
                        writer.flush()
                    tell(b">")

        with child(work) as (_, pipe):
            said = told(pipe)
        refused += said.count(b"!")
        with Journal.open(log) as journal:
            settle(journal)
            (one,) = journal.takes() or (None,)
            verdict = None if one is None else journal.verdict(one.id)
            found = 0 if verdict is None else len(verdict.moments)
            assert verify(journal).troubles == ()
        assert said.count(b">") <= found <= said.count(b"<")
    print(f"25 disks of random size: {refused} writes refused, nothing confirmed was lost")
    assert refused >= 10


def test_a_writer_that_never_finds_room_says_what_is_not_in_the_log(tmp_path: Path) -> None:
    log = str(tmp_path / "log.sqlite")
    Journal.open(log).close()

    def work(tell: Callable[[bytes], object]) -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        size = Path(log).stat().st_size
        resource.setrlimit(resource.RLIMIT_FSIZE, (size // 2, size // 2))
        writer = Writer(log)
        id = writer.begin(TAKE)
        writer.end(id, replace(TAKE, events=EVENTS), VERDICT)
        try:
            writer.close()
        except LogError as error:
            tell(str(error).encode())

    with child(work) as (_, pipe):
        said = told(pipe).decode()
    assert said.startswith(log) and "2 records of this session are not in the log" in said
    assert "\n" not in said and "room" in said


@pytest.fixture
def others_folder() -> Iterator[Path]:
    """A folder of a user who is not root: root may write anywhere."""
    folder = Path(tempfile.mkdtemp(prefix="mittelstimme-rights-"))
    if os.geteuid() == 0:
        os.chown(folder, 65534, 65534)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def as_other_user() -> None:
    if os.geteuid() == 0:
        os.setgid(65534)
        os.setuid(65534)


def test_a_folder_that_becomes_read_only_loses_nothing_that_was_confirmed(
    others_folder: Path,
) -> None:
    log = others_folder / "log.sqlite"

    def work(tell: Callable[[bytes], object]) -> None:
        as_other_user()
        write_takes(str(log), tell)

    with child(work) as (pid, pipe):
        said = os.read(pipe, 10)
        others_folder.chmod(0o555)
        for file in others_folder.iterdir():
            file.chmod(0o444)
        said += os.read(pipe, 10)  # it says more, or ends
        os.kill(pid, signal.SIGKILL)
        said += told(pipe)

    def review(tell: Callable[[bytes], object]) -> None:
        as_other_user()
        try:
            Writer(str(log))
        except LogError as error:
            tell(str(error).encode())

    with child(review) as (_, pipe):
        refusal = told(pipe).decode()
    assert refusal.startswith(f"{log}: cannot be written; ") and "\n" not in refusal
    others_folder.chmod(0o755)
    for file in others_folder.iterdir():
        file.chmod(0o644)
    with Journal.open(log) as journal:
        ended, broken = chords_in(journal)
        assert verify(journal).troubles == ()
    assert said.count(b">") <= ended * CHORDS + broken <= said.count(b"<")


def test_a_log_in_a_read_only_folder_can_still_be_read(others_folder: Path) -> None:
    log = others_folder / "log.sqlite"

    def work(tell: Callable[[bytes], object]) -> None:
        as_other_user()
        with Writer(str(log)) as writer:
            writer.end(writer.begin(TAKE), replace(TAKE, events=EVENTS), VERDICT)
        others_folder.chmod(0o555)
        log.chmod(0o444)
        with Journal.open(log, write=False) as journal:
            tell(journal.takes()[0].state.encode())

    with child(work) as (_, pipe):
        assert told(pipe) == b"finished"
    assert [file.name for file in others_folder.iterdir()] == ["log.sqlite"]
