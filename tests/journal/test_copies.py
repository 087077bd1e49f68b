"""Dated copies of the log: made beside it, kept for days and weeks, put back."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.journal.samples import EVENTS, play
from trainer.errors import LogError
from trainer.journal import copies
from trainer.journal.merge import merge
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.journal.writer import Writer

TODAY = date(2026, 3, 2)
GO_ON = threading.Event()


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A log that no copy was kept of: there was nothing in it when it was opened."""
    path = tmp_path / "log.sqlite"
    play(path)
    return path


def test_a_copy_holds_what_the_log_holds_while_somebody_plays(log: Path) -> None:
    with Writer(log) as writer:
        writer.flush()
        copies.keep_copy(log, TODAY, GO_ON)
    ((day, path),) = [one for one in copies.copies(log) if one[0] == TODAY]
    with Journal.open(path, write=False) as journal, Journal.open(log) as original:
        assert day == TODAY and verify(journal).troubles == ()
        assert journal.takes() == original.takes()
        assert journal.take(journal.takes()[0].id).events == EVENTS
    assert not copies.keep_copy(log, TODAY, GO_ON)  # once a day


def test_a_log_is_copied_when_it_is_opened_for_the_first_time_of_a_day(log: Path) -> None:
    writer = Writer(log)
    (copier,) = [t for t in threading.enumerate() if t.name == "log copier"]
    copier.join(60)
    assert [day for day, _ in copies.copies(log)] == [date.today()]
    assert writer.close() is None


def test_seven_days_and_four_weeks_are_kept(log: Path) -> None:
    for back in range(60, -1, -1):
        assert copies.keep_copy(log, TODAY - timedelta(days=back), GO_ON)
    days = [day for day, _ in copies.copies(log)]
    assert days[:7] == [TODAY - timedelta(days=back) for back in range(7)]
    # Sundays: TODAY is a Monday, whose week has one day; three weeks before it
    assert days[7:] == [date(2026, 2, 22), date(2026, 2, 15)]


def test_a_damaged_log_pushes_no_copy_out(log: Path) -> None:
    copies.keep_copy(log, TODAY, GO_ON)
    with closing(sqlite3.connect(log)) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = raw.execute("SELECT rootpage FROM sqlite_master WHERE name='fault'").fetchone()
    data = bytearray(log.read_bytes())
    data[(page - 1) * 4096 : page * 4096] = bytes(4096)
    log.write_bytes(data)
    for ahead in range(1, 12):
        with pytest.raises(LogError, match="damaged"):
            copies.keep_copy(log, TODAY + timedelta(days=ahead), GO_ON)
    assert [day for day, _ in copies.copies(log)] == [TODAY]
    assert len(list(copies.folder_of(log).iterdir())) == 1


def test_a_copy_stops_when_the_program_ends(log: Path) -> None:
    stop = threading.Event()
    stop.set()
    assert not copies.keep_copy(log, TODAY, stop)
    assert list(copies.folder_of(log).iterdir()) == []


def test_a_copy_is_put_back_and_what_is_newer_merged_in(log: Path) -> None:
    copies.keep_copy(log, TODAY, GO_ON)
    play(log)
    kept = copies.restore(log, copies.copies(log)[-1][1])
    assert kept is not None and kept.name.endswith("-before-restoring.sqlite")
    with Journal.open(log) as journal:
        assert len(journal.takes()) == 1
        assert merge(journal, kept).new == 1
        assert verify(journal).troubles == ()


def test_a_copy_that_is_not_whole_is_not_put_back(log: Path) -> None:
    copies.keep_copy(log, TODAY, GO_ON)
    before, path = log.read_bytes(), copies.copies(log)[0][1]
    path.write_bytes(path.read_bytes()[:9000])
    with pytest.raises(LogError) as raised:
        copies.restore(log, path)
    assert "\n" not in str(raised.value) and log.read_bytes() == before
