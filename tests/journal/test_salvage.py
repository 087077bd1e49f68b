"""Damaged logs mended: a sample of those `python -m tests.faults.log_damage` tries by thousands."""

from __future__ import annotations

import contextlib
import re
import shutil
import sqlite3
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from tests.faults.damaged_logs import DAMAGES
from tests.faults.log_damage import run
from tests.journal.samples import EVENTS, STARTED, TAKE, VERDICT, play
from trainer.errors import LogError
from trainer.journal.gathered import Gathered
from trainer.journal.pages import Row, rows
from trainer.journal.repair import repair
from trainer.journal.schema import metadata
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.journal.writer import Writer
from trainer.judging.passes import judge
from trainer.theory.rules import RULES_VERSION


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.sqlite"
    with Writer(path) as writer:
        for number in range(40):
            value = replace(TAKE, events=EVENTS * (1 + 90 * (number % 2)))
            writer.end(writer.begin(TAKE), value, VERDICT)
    return path


def test_nothing_readable_is_lost_of_a_log_damaged_in_any_way() -> None:
    figures = run(2 * len(DAMAGES), seed=7)
    assert figures.amiss == []
    assert figures.counts["repaired"] > len(DAMAGES) / 2 and figures.counts["marks made anew"]


def test_one_byte_that_is_no_utf8_costs_nothing(log: Path) -> None:
    """In a text of every table in turn; what can be told from checksums is put right."""
    data = log.read_bytes()
    with Journal.open(log) as journal:
        before = {one.id: (journal.take(one.id), one) for one in journal.takes()}
    for word in (
        b"!!!OTL",
        b'"hands"',
        b"d3 f4 a4",
        b"fifths between",
        STARTED.isoformat().encode(),
    ):
        at = data.rindex(word)
        log.write_bytes(data[: at + 2] + b"\xff" + data[at + 3 :])
        done = repair(str(log), judge, RULES_VERSION)
        assert done.kept and done.unmarked == ()
        with Journal.open(log) as journal:
            assert verify(journal).troubles == ()
            after = {one.id: journal.take(one.id) for one in journal.takes()}
        assert after == {id: take for id, (take, _) in before.items()}, word
        Path(done.kept).unlink()


def test_the_pages_of_a_whole_log_hold_what_its_database_says(log: Path) -> None:
    """Python's sqlite3 is the other reader."""
    with Gathered(rows(log)) as found, contextlib.closing(sqlite3.connect(log)) as raw:
        for name in ("player", "exercise_text", "take", "chunk", "marking", "moment", "fault"):
            table = metadata.tables[name]
            ours = Counter(tuple(row.values()) for row in found.every(table))
            assert ours == Counter(raw.execute(f"SELECT * FROM {name}")), name


def test_pages_read_what_other_programs_wrote(tmp_path: Path) -> None:
    """Rows longer than a page, every width of number, pages of any size."""
    numbers = [0, 1, -1, 127, -129, 2**15, -(2**23), 2**31, -(2**47), 2**62, -(2**63), 2**63 - 1]
    for size in (512, 1024, 4096, 65536):
        path = tmp_path / f"{size}.sqlite"
        with contextlib.closing(sqlite3.connect(path)) as raw:
            raw.execute(f"PRAGMA page_size={size}")
            raw.execute("CREATE TABLE t (a, b, c)")
            written = [(n, None, "n") for n in numbers]
            written += [(0.5, "x" * n, bytes(n)) for n in (0, 100, 470, 5000, 70_000)]
            raw.executemany("INSERT INTO t VALUES (?, ?, ?)", written)
            raw.commit()
        found = [one.values for one in rows(path) if len(one.values) == 3]
        assert Counter(found) == Counter(written)


def test_a_row_cut_off_is_read_up_to_the_cut(tmp_path: Path) -> None:
    path = tmp_path / "t.sqlite"
    with contextlib.closing(sqlite3.connect(path)) as raw:
        raw.execute("CREATE TABLE t (a, b, c)")
        raw.execute("INSERT INTO t VALUES (7, ?, 'end')", ("x" * 9000,))
        raw.commit()
    path.write_bytes(path.read_bytes()[: 3 * 4096])
    (found,) = [one for one in rows(path) if len(one.values) == 3]
    assert found.values[0] == 7 and str(found.values[1]).startswith("xxx")
    assert found == Row("table", 1, found.values) and found.values[2] is None


def test_a_take_whose_row_is_gone_is_known_by_what_indexes_say(log: Path) -> None:
    data = bytearray(log.read_bytes())
    with contextlib.closing(sqlite3.connect(log)) as raw:
        (root,) = raw.execute("SELECT rootpage FROM sqlite_master WHERE name='take'").fetchone()
        ids = {id for (id,) in raw.execute("SELECT id FROM take")}
        players = raw.execute("SELECT DISTINCT player_id FROM take").fetchall()
    for page in (p for p in range(1, len(data) // 4096) if data[p * 4096] == 13 or p == root - 1):
        if any(id.encode() in data[page * 4096 : page * 4096 + 4096] for id in ids):
            data[page * 4096 : page * 4096 + 4096] = bytes(4096)
    log.write_bytes(data)
    repair(str(log), judge, RULES_VERSION)
    with Journal.open(log) as journal:
        assert {one.id for one in journal.takes()} == ids
        assert [(one.id,) for one in journal.players() if one.takes] == players
        assert {len(journal.take(id).events) for id in ids} == {5, 455}
        assert {one.state for one in journal.takes()} == {"recovered"}


@pytest.mark.parametrize(
    ("column", "byte"),
    [("pauses", 0xE6), ("state", 0xE6), ("seconds", 0xE6), ("writer", 0xE6), ("writer", 10)],
)
def test_a_damaged_length_takes_nothing_of_the_columns_before_it(
    log: Path, column: str, byte: int
) -> None:
    """The head of a row tells what each column is and how long (SQLite, Database File Format,
    2.1): from 128 on a byte takes in the next one; 10 and 11 are kept for the database itself,
    which reads such a column as empty."""
    before = {}
    with Journal.open(log) as journal:
        before = {one.id: journal.take(one.id) for one in journal.takes()}
    data = bytearray(log.read_bytes())
    id, was = next(iter(before.items()))
    place = next(
        at
        for at in (found.start() for found in re.finditer(id.encode(), data))
        if data[at + len(id) : at + len(id) + len(was.player)] == was.player.encode()
    )  # the first column is the row's number, which stands elsewhere: the head ends here
    head = next(size for size in range(10, 60) if data[place - size] == size)
    at = place - head + 1
    for _ in range([one.name for one in metadata.tables["take"].columns].index(column)):
        at += 2 if data[at] >= 128 else 1
    data[at] = byte
    log.write_bytes(data)
    repair(str(log), judge, RULES_VERSION)
    with Journal.open(log) as journal:
        mended = journal.take(id)
        assert {one.id for one in journal.takes()} == set(before)
    for name in ("exercise_id", "exercise", "conditions", "origin", "started", "player", "events"):
        assert getattr(mended, name) == getattr(was, name), name


def test_frames_behind_a_break_in_the_write_ahead_log_are_kept(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    play(log)
    with contextlib.closing(sqlite3.connect(log)) as reader, Writer(log) as writer:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM take").fetchone()
        ids = []
        for _ in range(6):
            ids.append(writer.begin(TAKE))
            writer.end(ids[-1], replace(TAKE, events=EVENTS), VERDICT)
            writer.flush()
        torn = tmp_path / "torn.sqlite"
        shutil.copyfile(log, torn)
        ahead = bytearray(Path(f"{log}-wal").read_bytes())
    ahead[32 + 24 + 100] ^= 1  # in the first frame: the database sees none of them
    Path(f"{torn}-wal").write_bytes(ahead)
    done = repair(str(torn), judge, RULES_VERSION)
    with Journal.open(torn) as journal:
        assert set(ids) <= {one.id for one in journal.takes()}
        assert done.troubles[0].what == "the write-ahead log is damaged"


def test_what_holds_nothing_of_a_log_is_left_where_it_is(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    for data in (b"no log", bytes(8192), b"SQLite format 3\0" + bytes(9000)):
        log.write_bytes(data)
        with pytest.raises(LogError) as raised:
            repair(str(log), judge, RULES_VERSION)
        assert "\n" not in str(raised.value) and log.read_bytes() == data
        assert [one.name for one in tmp_path.iterdir()] == ["log.sqlite"]


def test_a_salvaged_take_gives_way_to_a_whole_one_when_logs_meet(log: Path) -> None:
    from trainer.journal.merge import merge

    backup = Path(shutil.copyfile(log, log.with_name("backup.sqlite")))
    with contextlib.closing(sqlite3.connect(log)) as raw:
        raw.execute("UPDATE take SET conditions = x'ff', pauses = 'x' WHERE seq = 7")
        raw.commit()
    repair(str(log), judge, RULES_VERSION)
    with Journal.open(log) as journal, Journal.open(backup) as whole:
        assert sum(one.state == "recovered" for one in journal.takes()) == 1
        merge(journal, backup)
        assert [(t.id, t.conditions, t.state) for t in journal.takes()] == [
            (t.id, t.conditions, t.state) for t in whole.takes()
        ]
