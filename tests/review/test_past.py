"""The past kept in the cache: always what a fold of every pass in the log would give."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, select, update

from tests.bench.year import FIRST, PASSES, build
from trainer.folders import cache_folder
from trainer.journal.merge import export, merge
from trainer.journal.schema import chunk, fault, marking, moment, take
from trainer.journal.store import Journal
from trainer.practice.material import Material, open_material
from trainer.practice.past import Past, continued, nothing, past_of
from trainer.practice.plain_past import past_from, past_plain
from trainer.practice.result import PassResult
from trainer.review import looking_back
from trainer.review.looking_back import kept_path, look_back
from trainer.review.results import pass_results
from trainer.score.library import Library

WHO, DAYS = "ada-of-the-evening-class", 8
UNTIL = FIRST.replace(hour=0) + timedelta(days=DAYS - 1)  # the beginning of the last day


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


@pytest.fixture(scope="module")
def log(material: Material, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A log of eight days, as a file's bytes."""
    path = tmp_path_factory.mktemp("log") / "log.sqlite"
    build(str(path), WHO, material, DAYS)
    return path.read_bytes()


@pytest.fixture
def journal(log: bytes, tmp_path: Path) -> Journal:
    path = tmp_path / "log.sqlite"
    path.write_bytes(log)
    return Journal.open(path)


@pytest.fixture(scope="module")
def results(log: bytes, tmp_path_factory: pytest.TempPathFactory) -> tuple[PassResult, ...]:
    path = tmp_path_factory.mktemp("results") / "log.sqlite"
    path.write_bytes(log)
    with Journal.open(path) as journal:
        return pass_results(journal, WHO)


def in_full(journal: Journal, material: Material) -> Past:
    """What the log gives when every pass in it is read and folded."""
    told = tuple(one for one in pass_results(journal, WHO) if one.at < UNTIL)
    return continued(nothing(material), told, material)


def folds_counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many passes are folded, each time that any are."""
    counts: list[int] = []

    def counting(past: Past, more: tuple[PassResult, ...], *rest: object) -> Past:
        counts.append(len(more))
        return continued(past, more, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(looking_back, "continued", counting)
    return counts


def test_the_second_time_nothing_is_folded_and_all_is_the_same(
    journal: Journal, material: Material, monkeypatch: pytest.MonkeyPatch
) -> None:
    counts = folds_counted(monkeypatch)
    first, second = (look_back(journal, WHO, material, UNTIL) for _ in range(2))
    assert counts == [PASSES * (DAYS - 1), 0]
    assert first == second
    assert second.before == in_full(journal, material)
    assert second.since == pass_results(journal, WHO)[-PASSES:]


def test_each_day_adds_the_passes_of_the_day_before(
    journal: Journal, material: Material, monkeypatch: pytest.MonkeyPatch
) -> None:
    counts = folds_counted(monkeypatch)
    for day in range(1, DAYS):
        back = look_back(journal, WHO, material, FIRST.replace(hour=0) + timedelta(days=day))
    assert counts == [PASSES] * (DAYS - 1)
    assert back.before == in_full(journal, material)


def test_a_clock_set_back_folds_anew(
    journal: Journal, material: Material, monkeypatch: pytest.MonkeyPatch
) -> None:
    look_back(journal, WHO, material, UNTIL)
    counts = folds_counted(monkeypatch)
    earlier = look_back(journal, WHO, material, UNTIL - timedelta(days=2))
    assert counts == [PASSES * (DAYS - 3)]
    assert earlier.before.played.passes + len(earlier.since) == PASSES * DAYS


def _other_marks(journal: Journal) -> None:
    """As marks made again leave a take: other marks hold, with another digest."""
    with journal.writing() as connection:
        row = dict(connection.execute(select(marking).where(marking.c.seq == 20)).mappings().one())
        row |= {"seq": 10_000, "digest": "f" * 64, "complete": 0, "gross": 5}
        connection.execute(marking.insert(), row)
        said = connection.execute(select(moment).where(moment.c.marking_seq == 20)).mappings()
        rows = [{**one, "marking_seq": 10_000, "outcome": "foreign"} for one in said]
        connection.execute(moment.insert(), rows)
        connection.execute(update(take).where(take.c.seq == 20).values(marking_seq=10_000))


def _taken_away(journal: Journal) -> None:
    with journal.writing() as connection:
        for table in (moment, fault):
            connection.execute(delete(table).where(table.c.marking_seq == 30))
        connection.execute(delete(marking).where(marking.c.seq == 30))
        connection.execute(delete(chunk).where(chunk.c.take_seq == 30))
        connection.execute(delete(take).where(take.c.seq == 30))


def _stopped(journal: Journal) -> None:
    with journal.writing() as connection:
        connection.execute(update(take).where(take.c.seq == 40).values(state="stopped"))


@pytest.mark.parametrize("change", [_other_marks, _taken_away, _stopped])
def test_what_changes_in_the_log_is_never_missed(
    journal: Journal,
    material: Material,
    change: Callable[[Journal], None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = look_back(journal, WHO, material, UNTIL).before
    change(journal)
    counts = folds_counted(monkeypatch)
    after = look_back(journal, WHO, material, UNTIL).before
    assert counts[0] > PASSES
    assert after == in_full(journal, material)
    assert after != before
    look_back(journal, WHO, material, UNTIL)
    assert counts[-1] == 0  # kept anew


def test_a_merge_that_brings_older_takes_folds_anew(
    journal: Journal, material: Material, tmp_path: Path
) -> None:
    bundle = tmp_path / "ada.bundle"
    export(journal, WHO, bundle)
    with journal.writing() as connection:  # this machine has the later days only
        early = select(take.c.seq).where(
            take.c.started_at < (UNTIL - timedelta(days=4)).timestamp()
        )
        marks = select(marking.c.seq).where(marking.c.take_seq.in_(early))
        for table in (moment, fault):
            connection.execute(delete(table).where(table.c.marking_seq.in_(marks)))
        connection.execute(delete(marking).where(marking.c.take_seq.in_(early)))
        connection.execute(delete(take).where(take.c.seq.in_(early)))
    assert look_back(journal, WHO, material, UNTIL).before == in_full(journal, material)
    assert merge(journal, bundle).new > PASSES
    after = look_back(journal, WHO, material, UNTIL).before
    assert after.played.passes == PASSES * (DAYS - 1)
    assert after == in_full(journal, material)


def test_other_pieces_or_another_program_fold_anew(
    journal: Journal, material: Material, monkeypatch: pytest.MonkeyPatch
) -> None:
    look_back(journal, WHO, material, UNTIL)
    counts = folds_counted(monkeypatch)
    fewer = dict(list(material.pieces.items())[:-1])
    look_back(journal, WHO, replace(material, pieces=fewer), UNTIL)
    look_back(journal, WHO, replace(material, pieces=fewer), UNTIL)
    monkeypatch.setattr("trainer.__version__", "0.0.1")
    look_back(journal, WHO, replace(material, pieces=fewer), UNTIL)
    monkeypatch.setattr(looking_back, "RULES_VERSION", 999)
    look_back(journal, WHO, replace(material, pieces=fewer), UNTIL)
    whole = PASSES * (DAYS - 1)
    assert counts == [whole, 0, whole, whole]


def test_a_damaged_file_is_folded_anew(journal: Journal, material: Material) -> None:
    wanted = look_back(journal, WHO, material, UNTIL)
    path = kept_path(journal.location, WHO)
    whole = path.read_bytes()
    head, body = whole.split(b"\n", 1)
    count, seal, digest = json.loads(head)
    for damaged in (
        b"",
        b"\xff\xfe",
        whole[: len(whole) // 2],
        whole.replace(b'"passes":3', b'"passes":4', 1),
        b"{}\n" + body,
        json.dumps([count - 1, seal, digest]).encode() + b"\n" + body,
        json.dumps([10**9, seal, digest]).encode() + b"\n" + body,
        json.dumps(["1", seal, digest]).encode() + b"\n" + body,
    ):
        path.write_bytes(damaged)
        assert look_back(journal, WHO, material, UNTIL) == wanted
        assert path.read_bytes() == whole


def test_a_cache_that_cannot_be_written_costs_only_time(
    journal: Journal, material: Material
) -> None:
    cache_folder().parent.mkdir(parents=True, exist_ok=True)
    cache_folder().rmdir() if cache_folder().exists() else None
    cache_folder().write_text("a file where the folder should be")
    assert look_back(journal, WHO, material, UNTIL).before == in_full(journal, material)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_a_past_kept_anywhere_and_continued_is_the_past_folded_at_once(
    material: Material, results: tuple[PassResult, ...], data: st.DataObject
) -> None:
    some = data.draw(st.lists(st.sampled_from(range(len(results))), unique=True, max_size=120))
    told = tuple(results[number] for number in sorted(some))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(told)), max_size=4)))
    past = nothing(material)
    for first, last in zip((0, *cuts), (*cuts, len(told)), strict=True):
        past = continued(past, told[first:last], material)
        past = past_from(json.loads(json.dumps(past_plain(past))), material)
    assert past == past_of(told, material, FIRST + timedelta(days=DAYS))


_WRITING = """
import json, sys
from pathlib import Path
from trainer.folders import replace_text
path = Path(sys.argv[1])
texts = [path.read_text(), Path(sys.argv[2]).read_text()]
while True:
    for text in texts:
        replace_text(path, text)
        print("on", flush=True)
"""


def test_killed_while_it_is_kept_the_file_is_whole(journal: Journal, material: Material) -> None:
    wanted = look_back(journal, WHO, material, UNTIL)
    path = kept_path(journal.location, WHO)
    whole = path.read_bytes()
    earlier = path.with_name("earlier")
    look_back(journal, WHO, material, UNTIL - timedelta(days=3))
    earlier.write_bytes(path.read_bytes())
    both = {whole, earlier.read_bytes()}
    for number in range(6):
        path.write_bytes(whole)
        arguments = [sys.executable, "-c", _WRITING, str(path), str(earlier)]
        program = subprocess.Popen(arguments, stdout=subprocess.PIPE)
        assert program.stdout is not None
        for _ in range(1 + 3 * number):  # then it is in the midst of the next
            program.stdout.readline()
        os.kill(program.pid, signal.SIGKILL)
        program.communicate()
        assert path.read_bytes() in both
        assert look_back(journal, WHO, material, UNTIL) == wanted
