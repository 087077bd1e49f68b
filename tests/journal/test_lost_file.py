"""The file of an open log deleted, moved, replaced or overwritten: noticed, and nothing is lost."""

from __future__ import annotations

import os
import shutil
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.journal.samples import EVENTS, FAULT, FIRST, SECOND, TAKE, VERDICT, play
from trainer.journal.merge import merge
from trainer.journal.schema import meta
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.journal.watch import Watch
from trainer.journal.writer import Writer


def deleted(log: Path) -> Path | None:
    for part in log.parent.glob(f"{log.name}*"):
        part.unlink()
    return None


def moved(log: Path) -> Path | None:
    log.rename(log.with_name("elsewhere.sqlite"))
    return None


def folder_moved(log: Path) -> Path | None:
    log.parent.rename(log.parent.with_name("elsewhere"))
    return None


def replaced(log: Path) -> Path | None:
    """A backup put in its place, as one who restores it or keeps folders alike would."""
    fresh = Path(shutil.copy(log.with_name("backup.sqlite"), log.with_name("new.sqlite")))
    fresh.replace(log)
    return log


def overwritten(log: Path) -> Path | None:
    """A backup written over it: the file is the same, what is in it is not."""
    shutil.copyfile(log.with_name("backup.sqlite"), log)
    return log


def overwritten_by_a_stranger(log: Path) -> Path | None:
    log.write_bytes(os.urandom(40_000))
    return log


def without_the_log_ahead(log: Path) -> Path | None:
    Path(f"{log}-wal").unlink()
    return None


def replaced_by_a_pipe(log: Path) -> Path | None:
    log.unlink()
    os.mkfifo(log)
    return None


LOSSES = (
    deleted,
    moved,
    folder_moved,
    replaced,
    overwritten,
    overwritten_by_a_stranger,
    without_the_log_ahead,
    pytest.param(
        replaced_by_a_pipe,
        marks=pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here"),
    ),
)


def opened(log: Path) -> Writer:
    """A writer that has made its copy of the day: while one is made, nothing can be brought into
    the file itself, and a backup written over it would change nothing."""
    writer = Writer(log)
    for thread in threading.enumerate():
        if thread.name == "log copier":
            thread.join(120)  # against hanging
            assert not thread.is_alive()
    return writer


def played_whole(writer: Writer) -> str:
    id = writer.begin(TAKE)
    writer.events(id, EVENTS)
    writer.moment(id, FIRST)
    writer.end(id, replace(TAKE, events=EVENTS), VERDICT)
    writer.flush()
    return id


@pytest.mark.parametrize("lose", LOSSES)
def test_a_log_lost_in_the_midst_of_a_take_goes_on_in_a_new_file(
    lose: Callable[[Path], Path | None], tmp_path: Path
) -> None:
    log = tmp_path / "data" / "log.sqlite"
    play(log)
    shutil.copyfile(log, log.with_name("backup.sqlite"))
    with opened(log) as writer:
        before = played_whole(writer)
        id = writer.begin(TAKE)
        writer.events(id, EVENTS[:2])
        writer.moment(id, FIRST)
        writer.flush()
        assert writer.told() == []
        put_there = lose(log)
        stranger = None if put_there is None else put_there.read_bytes()
        writer.events(id, EVENTS[2:])
        writer.moment(id, SECOND, (FAULT,))
        writer.flush()
        (line,) = writer.told()
        assert line.startswith(f"{log}: the log ") and writer.location in line and "\n" not in line
        writer.end(id, replace(TAKE, events=EVENTS), VERDICT)
        after = played_whole(writer)
        assert writer.told() == []
        new = Path(writer.location)
    assert new.parent == log.parent and new.name.endswith("-continued.sqlite")
    if put_there is not None:
        assert put_there.read_bytes() == stranger
        assert not Path(f"{put_there}-wal").exists()
    with Journal.open(new) as journal:
        assert {before, id, after} <= {take.id for take in journal.takes()}
        for each in (before, id, after):
            assert journal.take(each).events == EVENTS
            assert journal.verdict(each) == VERDICT
        assert verify(journal).troubles == ()


@pytest.mark.parametrize("lose", LOSSES)
def test_a_log_lost_after_the_last_take_is_noticed_when_it_is_closed(
    lose: Callable[[Path], Path | None], tmp_path: Path
) -> None:
    log = tmp_path / "data" / "log.sqlite"
    play(log)
    shutil.copyfile(log, log.with_name("backup.sqlite"))
    writer = opened(log)
    id = played_whole(writer)
    put_there = lose(log)
    stranger = None if put_there is None else put_there.read_bytes()
    line = writer.close()
    assert line is not None and line.startswith(f"{log}: the log ")
    if put_there is not None:
        assert put_there.read_bytes() == stranger
    with Journal.open(writer.location) as journal:
        assert journal.take(id).events == EVENTS and verify(journal).troubles == ()


def test_the_two_logs_are_joined_by_merging(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    play(log)
    shutil.copyfile(log, log.with_name("backup.sqlite"))
    with opened(log) as writer:
        played_whole(writer)
        overwritten(log)
        played_whole(writer)
        new = Path(writer.location)
    with Journal.open(log) as journal:
        assert len(journal.takes()) == 1
        assert (merged := merge(journal, new)).new == 2 and merged.changed == 0
        assert len(journal.takes()) == 3 and verify(journal).troubles == ()


def test_another_program_that_writes_into_the_log_is_not_taken_for_a_stranger(
    tmp_path: Path,
) -> None:
    log, other = tmp_path / "log.sqlite", tmp_path / "other.sqlite"
    for _ in range(3):
        play(other)
    with opened(log) as writer:
        for _ in range(3):
            played_whole(writer)
            with Journal.open(log) as journal:
                merge(journal, other)
            with closing(sqlite3.connect(log)) as raw:
                raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        assert writer.told() == [] and writer.location == str(log)
    with Journal.open(log) as journal:
        assert len(journal.takes()) == 6


def test_between_takes_the_file_alone_holds_everything(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    with opened(log) as writer:
        id = played_whole(writer)
        copy = Path(shutil.copyfile(log, tmp_path / "copy.sqlite"))
        with Journal.open(copy) as journal:
            assert journal.take(id).events == EVENTS and verify(journal).troubles == ()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_put_in_the_place_of_the_log_while_it_is_looked_at_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = tmp_path / "log.sqlite"
    play(log)
    with Journal.open(log) as journal, journal.engine.connect() as connection:
        connection.execute(select(meta)).all()
        watched = Watch(log, connection)

        def put_there(path: Path) -> tuple[int, int, int]:
            """Between the look at what the name leads to and the one at what it holds."""
            if path == log and log.is_file():
                replaced_by_a_pipe(log)
            return 0, 0, 0

        monkeypatch.setattr("trainer.journal.watch._stamp", put_there)
        said: list[str] = []
        looking = threading.Thread(target=lambda: said.append(watched.amiss()), daemon=True)
        looking.start()
        looking.join(60)  # against hanging
        still = looking.is_alive()
        if still:
            os.close(os.open(log, os.O_WRONLY))  # lets whoever waits for it go
        assert not still
        assert said == ["was replaced by another"]
