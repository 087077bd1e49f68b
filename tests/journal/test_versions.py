"""Logs of other versions and other programs: brought up to date, or refused and left alone."""

from __future__ import annotations

import contextlib
import gzip
import shutil
import sqlite3
import zlib
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import Connection, create_engine, text
from sqlalchemy.engine import make_url

from tests.journal.samples import EVENTS, TAKE, VERDICT, play
from tests.postgresql import Databases
from trainer.errors import LogError
from trainer.journal import migrations
from trainer.journal.merge import export, merge
from trainer.journal.packing import pack_events
from trainer.journal.remark import remark
from trainer.journal.schema import SCHEMA_VERSION, SUMS, metadata
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.judging.passes import judge
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyDown, KeyUp
from trainer.listening.manuals import Manual
from trainer.review.queries import faults, fluencies, totals
from trainer.theory.rules import RULES_VERSION

OLD = Path(__file__).parent / "data" / "log-version-1.sqlite"
OLD_2 = OLD.with_name("log-version-2.sqlite")
OLD_3 = OLD.with_name("log-version-3.sqlite")
OLD_4 = OLD.with_name("log-version-4.sqlite")


@pytest.fixture
def old(tmp_path: Path) -> Path:
    return Path(shutil.copy(OLD, tmp_path / "log.sqlite"))


def test_a_log_of_version_1_is_backed_up_and_brought_up_to_date(old: Path) -> None:
    with Journal.open(old) as journal:
        takes = journal.takes()
        assert [one.tempo for one in takes] == [None, 66.0, 60.0]
        assert journal.verdict(takes[0].id) == VERDICT
        assert totals(journal).takes == 3
        assert fluencies(journal, by=("figuring",))[0].complete.cases == 6
        assert faults(journal)[0].times == 3
        assert verify(journal).troubles == ()
    (backup,) = old.parent.glob("log-*-before-version-5.sqlite")
    with contextlib.closing(sqlite3.connect(backup)) as raw:
        assert raw.execute("SELECT value FROM meta WHERE name='schema'").fetchone() == ("1",)
        assert raw.execute("SELECT count(*) FROM take").fetchone() == (3,)


ROWS = ("chunk", "marking", "moment", "fault", "take", "exercise_text", "sight", "played")


def rows(path: Path) -> dict[str, list[tuple[object, ...]]]:
    with contextlib.closing(sqlite3.connect(path)) as raw:
        return {
            table: sorted(raw.execute(f"SELECT * FROM {table}").fetchall(), key=repr)
            for table in ROWS
        }


@pytest.mark.parametrize("old", [OLD_2, OLD_3, OLD_4], ids=["2", "3", "4"])
def test_a_log_of_an_older_version_says_what_it_said_bit_for_bit(old: Path, tmp_path: Path) -> None:
    """Its keys lie on manuals that play everything; what was stored of them is not touched, and
    what was heard in them is heard again."""
    log = Path(shutil.copy(old, tmp_path / "log.sqlite"))
    before = rows(log)
    with Journal.open(log) as journal:
        assert verify(journal).troubles == ()
        takes = [journal.take(one.id) for one in journal.takes()]
        verdicts = [journal.verdict(one.id) for one in journal.takes()]
    assert _as_far(rows(log), before) == before
    (backup,) = tmp_path.glob("log-*-before-version-5.sqlite")
    assert rows(backup) == before
    keys = [e for take in takes for e in take.events if isinstance(e, KeyDown | KeyUp)]
    assert len(keys) > 100 and {key.manual for key in keys} == {Manual.EVERYTHING}
    packed = [zlib.decompress(row[4]) for row in before["chunk"]]  # type: ignore[arg-type]
    assert sorted(map(pack_events, (take.events for take in takes))) == sorted(packed)
    assert [heard(judge(take)) for take in takes] == list(map(heard, verdicts))


def test_marks_of_a_log_of_version_4_name_no_cause_until_they_are_made_again(
    tmp_path: Path,
) -> None:
    """In it there are fingers beside their keys, and a bass that was played alone."""
    log = Path(shutil.copy(OLD_4, tmp_path / "log.sqlite"))
    with Journal.open(log) as journal:
        before = [journal.verdict(one.id) for one in journal.takes()]
        assert all(said is not None and said.faults and not said.causes for said in before)
        assert [len(said.told) for said in before if said] == [
            len(said.faults) for said in before if said
        ]
        counted = sum(one.times for one in faults(journal))
        assert counted == sum(len(said.faults) for said in before if said)
        assert remark(journal, judge, RULES_VERSION).changed == 3
        again = [journal.verdict(one.id) for one in journal.takes()]
        assert {cause.kind for said in again if said for cause in said.causes} >= {
            "bass-alone",
            "finger-beside",
        }
        assert sum(one.times for one in faults(journal)) == sum(
            len(said.told) for said in again if said
        )
        assert verify(journal).troubles == ()


def _as_far(
    now: dict[str, list[tuple[object, ...]]], before: dict[str, list[tuple[object, ...]]]
) -> dict[str, list[tuple[object, ...]]]:
    """The rows with the columns there were before; in those that came since there is nothing."""
    widths = {table: len(before[table][0]) for table in before if before[table]}
    for table, width in widths.items():
        assert all(value is None for row in now[table] for value in row[width:])
    return {table: [row[: widths.get(table)] for row in now[table]] for table in now}


def heard(verdict: PassVerdict | None) -> list[object]:
    """What was heard in a pass, which no better rules change."""
    assert verdict is not None
    times = [(m.late_ms, m.think_s, m.spread_ms) for m in verdict.moments]
    return [[(m.index, m.outcome, m.keys) for m in verdict.moments], times, verdict.extra]


@pytest.mark.parametrize("version", [1, 2])
def test_a_bundle_of_an_older_version_is_read_as_it_was_written(
    tmp_path: Path, version: int
) -> None:
    log, bundle = tmp_path / "log.sqlite", tmp_path / "me.bundle"
    play(log)
    with Journal.open(log) as journal:
        export(journal, journal.players()[0].id, bundle)
    lines = gzip.decompress(bundle.read_bytes()).replace(b'"causes": [], ', b"")
    assert b"causes" not in lines and b'"version": 3' in lines
    lines = lines.replace(b'"version": 3', b'"version": %d' % version)
    bundle.write_bytes(gzip.compress(lines))
    with Journal.open(tmp_path / "other.sqlite") as journal:
        assert merge(journal, bundle).new == 1
        (one,) = journal.takes()
        assert journal.take(one.id).events == EVENTS and journal.verdict(one.id) == VERDICT


def test_an_old_log_and_a_new_one_have_the_same_tables(old: Path, tmp_path: Path) -> None:
    def shape(path: Path) -> dict[str, list[tuple[object, ...]]]:
        with contextlib.closing(sqlite3.connect(path)) as raw:
            tables = [
                r[0] for r in raw.execute("SELECT name FROM sqlite_master WHERE type='table'")
            ]
            return {
                t: sorted(r[1:4] + r[5:] for r in raw.execute(f"PRAGMA table_info({t})"))
                for t in tables
            }

    Journal.open(old).close()
    Journal.open(tmp_path / "new.sqlite").close()
    assert shape(old) == shape(tmp_path / "new.sqlite")


def test_a_migration_that_fails_leaves_the_log_as_it_was(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(operations: object) -> None:
        migrations._add_sums(operations)  # type: ignore[arg-type]
        raise sqlite3.OperationalError("disk I/O error")

    monkeypatch.setattr(migrations, "STEPS", {1: broken})
    with pytest.raises(LogError, match="make room"):
        Journal.open(old)
    with contextlib.closing(sqlite3.connect(old)) as raw:
        tables = {r[0] for r in raw.execute("SELECT name FROM sqlite_master WHERE type='table'")}
        assert "played" not in tables and "take" in tables
    monkeypatch.undo()
    with Journal.open(old) as journal:
        assert totals(journal).takes == 3


def test_without_a_backup_there_is_no_migration(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    before = old.read_bytes()
    monkeypatch.setattr(Path, "rename", full)
    with pytest.raises(LogError, match="cannot be backed up"):
        Journal.open(old)
    assert old.read_bytes()[100:] == before[100:]
    assert sorted(p.name for p in old.parent.iterdir()) == ["log.sqlite"]


def test_an_old_log_is_only_brought_up_to_date_where_it_may_be_written(old: Path) -> None:
    before = old.read_bytes()
    with pytest.raises(LogError, match="open it once where it can be written"):
        Journal.open(old, write=False)
    assert old.read_bytes() == before


def test_a_newer_log_is_refused_with_one_line_and_left_alone(location: str) -> None:
    play(location)
    newer = str(SCHEMA_VERSION + 7)
    with Journal.open(location) as journal, journal.writing() as connection:
        connection.execute(text("UPDATE meta SET value = :v WHERE name = 'schema'"), {"v": newer})
    for write in (True, False):
        with pytest.raises(LogError, match=f"newer Mittelstimme .log version {newer}") as raised:
            Journal.open(location, write=write)
        assert "\n" not in str(raised.value)


def test_a_log_of_version_1_on_a_server_is_copied_into_a_schema_and_brought_up_to_date(
    databases: Databases, old: Path
) -> None:
    url = databases.new()
    engine = create_engine(make_url(url).set(drivername="postgresql+psycopg"))
    with Journal.open(url) as journal, journal.writing() as connection:
        for table in (*SUMS, metadata.tables["sight"]):
            connection.execute(text(f"DROP TABLE {table.name}"))
        _drop_what_came_since_version("1", connection)
        connection.execute(text("ALTER TABLE marking DROP COLUMN extra"))
        connection.execute(text("ALTER TABLE fault DROP COLUMN onset"))
        connection.execute(text("DROP INDEX take_by_time"))
        connection.execute(text("UPDATE meta SET value = '1' WHERE name = 'schema'"))
    with contextlib.closing(sqlite3.connect(old)) as raw, engine.begin() as connection:
        raw.row_factory = sqlite3.Row
        for name in ("player", "exercise_text", "take", "chunk", "marking", "moment", "fault"):
            for row in map(dict, raw.execute(f"SELECT * FROM {name}")):
                if "local" in row:
                    row["local"] = bool(row["local"])
                columns, values = ", ".join(f'"{c}"' for c in row), ", ".join(f":{c}" for c in row)
                connection.execute(text(f"INSERT INTO {name} ({columns}) VALUES ({values})"), row)
    with Journal.open(url) as journal:
        assert totals(journal).takes == 3
        assert verify(journal).troubles == ()
    with engine.connect() as connection:
        (schema,) = connection.execute(
            text("SELECT nspname FROM pg_namespace WHERE nspname LIKE 'before_version_5_%'")
        ).scalars()
        count = connection.execute(text(f'SELECT count(*) FROM "{schema}".take')).scalar()
    engine.dispose()
    assert count == 3


def _drop_what_came_since_version(version: str, connection: Connection) -> None:
    connection.execute(text("ALTER TABLE marking DROP COLUMN causes"))
    if version == "4":
        return
    connection.execute(text("ALTER TABLE marking DROP COLUMN touch"))
    connection.execute(text("ALTER TABLE moment DROP COLUMN attack"))


@pytest.mark.parametrize("version", ["2", "3", "4"])
def test_a_log_of_an_older_version_on_a_server_is_brought_up_to_date(
    databases: Databases, version: str
) -> None:
    url = databases.new()
    id = play(url, take=replace(TAKE, events=EVENTS))
    with Journal.open(url) as journal, journal.writing() as connection:
        _drop_what_came_since_version(version, connection)
        older = text("UPDATE meta SET value = :v WHERE name = 'schema'")
        connection.execute(older, {"v": version})
        before = connection.execute(text("SELECT * FROM chunk")).all()
    with Journal.open(url) as journal:
        assert journal.take(id).events == EVENTS
        assert verify(journal).troubles == ()
        with journal.reading() as connection:
            assert connection.execute(text("SELECT * FROM chunk")).all() == before
            now = text("SELECT value FROM meta WHERE name = 'schema'")
            assert connection.execute(now).scalar() == str(SCHEMA_VERSION)


def test_another_programs_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    other = tmp_path / "addresses.sqlite"
    with contextlib.closing(sqlite3.connect(other)) as raw:
        raw.execute("CREATE TABLE person (name TEXT)")
        raw.commit()
    before = other.read_bytes()
    with pytest.raises(LogError, match=r"addresses\.sqlite: this database is not a log"):
        Journal.open(other)
    assert other.read_bytes() == before


def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    other = tmp_path / "letter.txt"
    other.write_text("Dear sir, " * 50)
    with pytest.raises(LogError, match=r"letter\.txt: this is not a log"):
        Journal.open(other)
    assert other.read_text() == "Dear sir, " * 50


def test_a_url_that_leads_nowhere_is_one_line_without_its_password(tmp_path: Path) -> None:
    url = f"postgresql://ada:secret@/nowhere?host={tmp_path}"
    with pytest.raises(LogError) as raised:
        Journal.open(url)
    assert "secret" not in str(raised.value) and "\n" not in str(raised.value)


def test_a_url_of_another_kind_of_server_is_refused() -> None:
    with pytest.raises(LogError, match="logs are not kept in mysql"):
        Journal.open("mysql://localhost/log")
