"""Damaged, cut off and foreign files: one line each, the original untouched; and repair."""

from __future__ import annotations

import contextlib
import gzip
import json
import random
import shutil
import sqlite3
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from tests.journal.samples import EVENTS, STARTED, TAKE, VERDICT, play
from trainer.errors import LogError, TrainerError
from trainer.journal.merge import export, merge
from trainer.journal.opening import DamagedLogError
from trainer.journal.records import append_events, append_moment, begin_take
from trainer.journal.repair import repair
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.journal.writer import Writer, settle
from trainer.judging.passes import judge
from trainer.review.queries import faults, fluencies, totals
from trainer.theory.rules import RULES_VERSION

FOREIGN = {"touch": ("'abc'", "x'ff00'"), "bias_ms": ("0.5", "x'ff00'"), "made": ("0.5", "'abc'")}
COUNT = 300  # damaged files of each kind


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of thirty takes by two players, and the bundle of one."""
    folder = tmp_path_factory.mktemp("whole")
    with Writer(folder / "log.sqlite") as writer:
        for day in range(30):
            player = "Ada" if day % 2 else "Ben"
            value = replace(TAKE, player=player, started=STARTED + timedelta(days=day))
            id = writer.begin(value)
            writer.end(id, replace(value, events=EVENTS * 40), VERDICT)
    with Journal.open(folder / "log.sqlite") as journal:
        export(journal, journal.player("Ada").id, folder / "ada.bundle")
        with journal.reading() as connection:
            connection.execute(text("PRAGMA wal_checkpoint(TRUNCATE)"))
    return folder


def damaged(data: bytes, chance: random.Random) -> bytes:
    """Bytes cut off, overwritten, doubled, or mixed up."""
    at = chance.randrange(len(data))
    match chance.randrange(5):
        case 0:
            return data[:at]
        case 1:
            wound = bytearray(data)
            for _ in range(chance.choice([1, 8, 64])):
                wound[chance.randrange(len(wound))] = chance.randrange(256)
            return bytes(wound)
        case 2:
            length = chance.choice([16, 512, 4096])
            return data[:at] + bytes(min(length, len(data) - at)) + data[at + length :]
        case 3:
            return data[:at] + data[at // 2 : at // 2 + 100] + data[at:]
    return bytes(chance.randrange(256) for _ in range(64)) + data[64:]


def read_all(journal: Journal) -> None:
    for one in journal.takes():
        journal.take(one.id)
        journal.verdict(one.id)
    totals(journal)
    fluencies(journal)
    faults(journal)


def test_a_damaged_log_is_read_or_refused_in_one_line_and_left_alone(
    whole: Path, tmp_path: Path
) -> None:
    chance, refused = random.Random(3), 0
    data = (whole / "log.sqlite").read_bytes()
    log = tmp_path / "log.sqlite"
    for _ in range(COUNT):
        hurt = damaged(data, chance)
        log.write_bytes(hurt)
        try:
            with Journal.open(log, write=False) as journal:
                read_all(journal)
        except TrainerError as error:
            refused += 1
            assert "\n" not in str(error)
        assert log.read_bytes() == hurt
        for beside in tmp_path.glob("log.sqlite-*"):
            beside.unlink()
    print(f"{COUNT} damaged logs: {refused} refused, the others read")
    assert refused > COUNT / 4


def test_a_damaged_bundle_is_refused_in_one_line_and_nothing_comes_of_it(
    whole: Path, tmp_path: Path
) -> None:
    chance, refused = random.Random(5), 0
    data = (whole / "ada.bundle").read_bytes()
    plain = gzip.decompress(data)
    bundle = tmp_path / "ada.bundle"
    with Journal.open(tmp_path / "log.sqlite") as journal:
        for number in range(COUNT):
            inside = number % 2  # half of them are damaged before they are packed
            hurt = gzip.compress(damaged(plain, chance), 1) if inside else damaged(data, chance)
            bundle.write_bytes(hurt)
            try:
                merge(journal, bundle)
            except TrainerError as error:
                refused += 1
                assert "\n" not in str(error) and "ada.bundle" in str(error)
            assert bundle.read_bytes() == hurt
        assert verify(journal).troubles == ()
    print(f"{COUNT} damaged bundles: {refused} refused")
    assert refused > COUNT * 0.9


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b"", "not a bundle"),
        (b"[1]\n", "an object is missing"),
        (b'{"format": "recipes", "version": 1}\n', "this is not a bundle of a log"),
        (b'{"format": "mittelstimme-log", "version": 99}\n', "newer Mittelstimme (version 99)"),
        (b'{"format": "mittelstimme-log", "version": 2}\n', ":1: an object is missing"),
        (b'{"format": "mittelstimme-log", "version": 1}\n', ":1: an object is missing"),
        (b"[" * 100_000 + b"\n", "not a bundle of a log"),
    ],
)
def test_a_foreign_or_newer_bundle_is_refused_in_one_line(
    tmp_path: Path, line: bytes, said: str
) -> None:
    bundle = tmp_path / "other.bundle"
    bundle.write_bytes(gzip.compress(line))
    with (
        Journal.open(tmp_path / "log.sqlite") as journal,
        pytest.raises(LogError) as raised,
    ):
        merge(journal, bundle)
    assert said in str(raised.value) and "\n" not in str(raised.value)


def test_a_bundle_that_packs_endless_zeros_is_refused(tmp_path: Path) -> None:
    bundle = tmp_path / "bomb.bundle"
    with gzip.open(bundle, "wb", 1) as out:
        for _ in range(80):
            out.write(bytes(1024 * 1024))
    with (
        Journal.open(tmp_path / "log.sqlite") as journal,
        pytest.raises(LogError, match="endless line"),
    ):
        merge(journal, bundle)


@pytest.mark.parametrize("hostile", ["\0", "\ud800", "x" * 70_000])
def test_texts_a_database_cannot_keep_are_refused(
    whole: Path, tmp_path: Path, hostile: str
) -> None:
    lines = gzip.decompress((whole / "ada.bundle").read_bytes()).splitlines()
    head = json.loads(lines[0])
    head["player"]["name"] = hostile
    lines[0] = json.dumps(head).encode()
    bundle = tmp_path / "hostile.bundle"
    bundle.write_bytes(gzip.compress(b"\n".join(lines) + b"\n"))
    with (
        Journal.open(tmp_path / "log.sqlite") as journal,
        pytest.raises(LogError, match=":1: a te"),
    ):
        merge(journal, bundle)


def test_damaged_events_and_marks_are_found_and_mended(location: str) -> None:
    ids = [play(location) for _ in range(3)]
    with Journal.open(location) as journal:
        assert verify(journal).troubles == ()
        with journal.writing() as connection:
            seqs = {row.id: row.seq for row in connection.execute(text("SELECT id, seq FROM take"))}
            chunk, moment = {"s": seqs[ids[0]]}, {"s": seqs[ids[1]]}
            connection.execute(text("UPDATE chunk SET checksum = 1 WHERE take_seq = :s"), chunk)
            connection.execute(
                text(
                    "UPDATE moment SET outcome = 'foreign' WHERE marking_seq ="
                    " (SELECT marking_seq FROM take WHERE seq = :s)"
                ),
                moment,
            )
            connection.execute(text("UPDATE played SET takes = takes + 1"))
        found = {(one.take, one.what) for one in verify(journal).troubles}
    assert found == {
        (ids[0], "the events of a take are damaged"),
        (ids[1], f"marks of rules {RULES_VERSION} are damaged"),
        ("", "the sums are not those of the takes"),
    }
    repair(location, judge, RULES_VERSION)
    with Journal.open(location) as journal:
        assert verify(journal).troubles == ()
        assert journal.take(ids[0]).events == EVENTS  # whole after all: only the sum was wrong
        assert journal.verdict(ids[1]) == judge(journal.take(ids[1]))  # made anew
        assert journal.verdict(ids[2]) == VERDICT


@pytest.mark.parametrize("seal", ["digest", "NULL"], ids=["sealed", "unsealed"])
def test_how_the_hands_struck_is_made_anew_where_it_cannot_be_read(
    location: str, seal: str
) -> None:
    """Also where the marks of a take that has ended have no seal any more: the sums read them."""
    id = play(location)
    with Journal.open(location) as journal:
        with journal.writing() as connection:
            connection.execute(text("UPDATE moment SET attack = 'abc'"))
            connection.execute(text(f"UPDATE marking SET digest = {seal}"))
        assert (id, "make them anew") in {(o.take, o.remedy) for o in verify(journal).troubles}
        with pytest.raises(DamagedLogError, match="--repair"):
            journal.verdict(id)
    repair(location, judge, RULES_VERSION)
    with Journal.open(location) as journal:
        assert verify(journal).troubles == ()
        assert journal.verdict(id) == judge(journal.take(id))


@pytest.mark.parametrize("column", ["touch", "bias_ms", "made"])
def test_what_stands_where_an_untimed_pass_says_nothing_is_taken_away(
    location: str, column: str
) -> None:
    """Its marks say what they said; only the row holds more."""
    untimed = replace(TAKE, conditions=replace(TAKE.conditions, tempo=None))
    said = judge(replace(untimed, events=EVENTS))
    with Writer(location) as writer:
        id = writer.begin(replace(untimed, events=()))
        writer.end(id, replace(untimed, events=EVENTS), said)
    with Journal.open(location) as journal:
        with journal.writing() as connection:
            # any value fits into any column of SQLite, and into none of PostgreSQL's
            file = connection.dialect.name == "sqlite"
            connection.execute(text(f"UPDATE marking SET {column} = {FOREIGN[column][file]}"))
        assert not file or id in {one.take for one in verify(journal).troubles}
    repair(location, judge, RULES_VERSION)
    with Journal.open(location) as journal:
        assert verify(journal).troubles == ()
        assert journal.verdict(id) == said


def test_damaged_marks_of_a_take_whose_program_died_are_found_and_mended(location: str) -> None:
    """They have no seal yet, and must make sense for the take to be closed."""
    value = replace(TAKE, events=())
    with Journal.open(location) as journal:
        with journal.writing() as connection:
            seq = begin_take(connection, "0" * 32, value, "nowhere/0")
            append_events(connection, seq, EVENTS)
            for one in VERDICT.moments:
                append_moment(connection, seq, one, ())
        assert verify(journal).troubles == ()
        with journal.writing() as connection:
            connection.execute(text("UPDATE moment SET voicing = 'abc'"))
            connection.execute(text("UPDATE take SET touched = 0"))
        assert {one.take for one in verify(journal).troubles} == {"0" * 32}
    done = repair(location, judge, RULES_VERSION)
    assert done.remade == 1
    with Journal.open(location) as journal:
        assert verify(journal).troubles == ()
        assert settle(journal) == 1
        assert verify(journal).troubles == ()
        assert journal.take("0" * 32).events == EVENTS
        kept = journal.verdict("0" * 32)
        assert kept is not None and kept.moments == judge(journal.take("0" * 32)).moments


@pytest.mark.parametrize(
    "damage",
    ["day = '4611686018'", "tempo = -1.0", "started_at = 1e9", "day = '2026-03-03'"],
)
def test_columns_made_of_others_are_made_again(location: str, damage: str) -> None:
    """The sums are kept by day and tempo: a wrong one would be looked for in vain."""
    id = play(location)
    with Journal.open(location) as journal:
        with journal.reading() as connection:
            before = dict(connection.execute(text("SELECT * FROM take")).mappings().one())
        with journal.writing() as connection:
            connection.execute(text(f"UPDATE take SET {damage}"))
        assert id in {one.take for one in verify(journal).troubles}
    repair(location, judge, RULES_VERSION)
    with Journal.open(location) as journal:
        assert verify(journal).troubles == ()
        with journal.reading() as connection:
            after = dict(connection.execute(text("SELECT * FROM take")).mappings().one())
    made = ("day", "tempo", "started_at", "started", "state")
    assert [after[name] for name in made] == [before[name] for name in made]


def test_a_log_too_damaged_for_its_database_is_read_into_a_new_one(
    whole: Path, tmp_path: Path
) -> None:
    log = Path(shutil.copy(whole / "log.sqlite", tmp_path / "log.sqlite"))
    data = bytearray(log.read_bytes())
    with contextlib.closing(sqlite3.connect(log)) as raw:
        (page,) = raw.execute("SELECT rootpage FROM sqlite_master WHERE name='fault'").fetchone()
    data[(page - 1) * 4096 : page * 4096] = bytes(4096)  # a page of the table of faults is gone
    log.write_bytes(data)
    done = repair(str(log), judge, RULES_VERSION)
    assert done.troubles and Path(done.kept).read_bytes() == data
    with Journal.open(log) as journal:
        assert verify(journal).troubles == ()
        takes = journal.takes()
        assert len(takes) == 30
        assert all(journal.take(one.id).events == EVENTS * 40 for one in takes)
