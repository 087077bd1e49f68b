"""Logs that meet agree, in whatever order they meet and however wrong their clocks are."""

from __future__ import annotations

import gzip
import itertools
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from tempfile import mkdtemp

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from tests.journal.samples import EVENTS, STARTED, TAKE, VERDICT, play
from trainer.errors import LogError
from trainer.journal.bundle import Name
from trainer.journal.merge import export, merge, put_player
from trainer.journal.schema import SUMS, exercise_text
from trainer.journal.store import Journal
from trainer.journal.sums import Sums
from trainer.journal.verify import verify
from trainer.journal.whole import Said, WholeTake, put_whole
from trainer.judging.verdict import Cause, ExtraChord

# Two people of the same name: only their ids tell them apart.
IDS = ("00000000-0000-4000-8000-00000000000a", "00000000-0000-4000-8000-00000000000b")
VERDICTS = (
    VERDICT,
    replace(VERDICT, faults=()),
    replace(VERDICT, extra=(ExtraChord(0, 1.5, (60, 64)),)),
    replace(VERDICT, causes=(Cause("held-on", 1, "The chord before was not left.", "", (0,)),)),
)


@st.composite
def takes(draw: st.DrawFn) -> WholeTake:
    """One of a few takes as one of several logs may know it."""
    number = draw(st.integers(0, 3))
    seconds_wrong = draw(st.sampled_from([0, 0, -86_400 * 400, 3600]))
    events = EVENTS[: draw(st.integers(0, len(EVENTS)))]
    said = tuple(
        Said(rules, made, draw(st.sampled_from(VERDICTS)))
        for rules, made in draw(
            st.lists(st.tuples(st.integers(1, 2), st.sampled_from([5.0, 7.0])), max_size=2)
        )
    )
    value = replace(
        TAKE,
        events=events,
        player=IDS[number % 2],
        started=STARTED + timedelta(days=number, seconds=seconds_wrong),
    )
    state = draw(st.sampled_from(["recovered", "stopped", "finished"]))
    return WholeTake(f"take-000{number}", value, state, 1.25, bool(events), said)


@st.composite
def logs(draw: st.DrawFn) -> list[tuple[Name, list[WholeTake]]]:
    """What one log holds: both players, named at different times, some takes of each."""
    known = draw(st.lists(takes(), max_size=4))
    names = [Name(id, draw(st.sampled_from(["Ada", "Ada", "A."])), 0.0) for id in IDS]
    return [
        (
            replace(name, named=draw(st.sampled_from([10.0, 20.0]))),
            [one for one in known if one.take.player == name.id],
        )
        for name in names
    ]


class Room:
    """A folder of logs; a log is made from what it holds, read as what it exports."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.numbers = itertools.count()

    def log(self, *holding: list[tuple[Name, list[WholeTake]]]) -> Path:
        path = self.folder / f"{next(self.numbers)}.sqlite"
        with Journal.open(path) as journal, journal.writing() as connection:
            sums = Sums()
            for parts in holding:
                for name, known in parts:
                    put_player(connection, name)
                    for one in known:
                        put_whole(connection, one, sums)
            sums.write(connection)
        return path

    def merged(self, first: Path, *others: Path) -> Path:
        """`first` copied, the bundles of the others brought in."""
        path = self.folder / f"{next(self.numbers)}.sqlite"
        shutil.copy(first, path)
        for other in others:
            for id in IDS:
                bundle = self.folder / f"{next(self.numbers)}.bundle"
                with Journal.open(other, write=False) as there:
                    export(there, id, bundle)
                with Journal.open(path) as here:
                    merge(here, bundle)
        return path

    def told(self, path: Path) -> list[object]:
        """Everything a log says, without its row numbers."""
        with Journal.open(path, write=False) as journal:
            assert verify(journal).troubles == ()
            said: list[object] = []
            for id in IDS:
                bundle = self.folder / f"{next(self.numbers)}.bundle"
                export(journal, id, bundle)
                said.append(bundle.read_bytes())
            with journal.reading() as connection:
                said.extend(sorted(map(tuple, connection.execute(select(t)))) for t in SUMS)
                said.append([(t.id, t.rules, t.harmony) for t in journal.takes()])
            return said


@contextmanager
def room() -> Iterator[Room]:
    memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None  # hundreds of small logs
    folder = Path(mkdtemp(prefix="mittelstimme-merge-", dir=memory))
    try:
        yield Room(folder)
    finally:
        shutil.rmtree(folder)


slowly = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@slowly
@given(logs(), logs())
def test_merging_is_commutative(
    one: list[tuple[Name, list[WholeTake]]], other: list[tuple[Name, list[WholeTake]]]
) -> None:
    with room() as logroom:
        a, b = logroom.log(one), logroom.log(other)
        assert logroom.told(logroom.merged(a, b)) == logroom.told(logroom.merged(b, a))


@slowly
@given(logs(), logs(), logs())
def test_merging_is_associative(
    one: list[tuple[Name, list[WholeTake]]],
    other: list[tuple[Name, list[WholeTake]]],
    third: list[tuple[Name, list[WholeTake]]],
) -> None:
    with room() as logroom:
        a, b, c = logroom.log(one), logroom.log(other), logroom.log(third)
        left = logroom.merged(logroom.merged(a, b), c)
        right = logroom.merged(a, logroom.merged(b, c))
        assert logroom.told(left) == logroom.told(right)


@slowly
@given(logs(), logs())
def test_merging_twice_does_no_harm(
    one: list[tuple[Name, list[WholeTake]]], other: list[tuple[Name, list[WholeTake]]]
) -> None:
    with room() as logroom:
        a, b = logroom.log(one), logroom.log(other)
        once = logroom.merged(a, b)
        assert logroom.told(logroom.merged(once, b, b, a)) == logroom.told(once)
        assert logroom.told(logroom.merged(a, a)) == logroom.told(a)


def test_players_of_one_name_stay_two(tmp_path: Path) -> None:
    here, there = tmp_path / "here.sqlite", tmp_path / "there.sqlite"
    play(here, take=replace(TAKE, player="Ada"))
    play(there, take=replace(TAKE, player="Ada"))
    with Journal.open(there) as journal:
        export(journal, journal.player("Ada").id, tmp_path / "ada.bundle")
    with Journal.open(here) as journal:
        done = merge(journal, tmp_path / "ada.bundle")
        assert (done.new, done.changed, done.known) == (1, 0, 0)
        adas = [one for one in journal.players() if one.name == "Ada"]
        assert [one.takes for one in adas] == [1, 1]
        with pytest.raises(LogError, match="several players are called 'Ada'"):
            journal.player("Ada")
        # a new take of Ada's here goes to the one who was made here
        play(here, take=replace(TAKE, player="Ada"))
        assert {one.local: one.takes for one in journal.players()} == {True: 2, False: 1}


def test_a_bundle_is_brought_into_either_database(location: str, tmp_path: Path) -> None:
    id = play(tmp_path / "own.sqlite")
    with Journal.open(tmp_path / "own.sqlite") as own:
        export(own, own.takes()[0].player, tmp_path / "one.bundle")
        played = own.take(id)
    with Journal.open(location) as journal:
        assert merge(journal, tmp_path / "one.bundle").new == 1
        assert merge(journal, tmp_path / "own.sqlite").known == 1
        assert (journal.take(id), journal.verdict(id)) == (played, VERDICT)
        assert verify(journal).troubles == ()
        export(journal, journal.takes()[0].player, tmp_path / "back.bundle")
    assert (tmp_path / "back.bundle").read_bytes() == (tmp_path / "one.bundle").read_bytes()


def test_a_bundle_without_playing_has_the_marks_and_no_event(tmp_path: Path) -> None:
    id = play(tmp_path / "own.sqlite")
    bundle = tmp_path / "marks.bundle"
    with Journal.open(tmp_path / "own.sqlite") as own:
        export(own, own.takes()[0].player, bundle, playing=False)
        whole = tmp_path / "whole.bundle"
        export(own, own.takes()[0].player, whole)
    lines = [json.loads(line) for line in gzip.decompress(bundle.read_bytes()).splitlines()]
    assert [line["take"]["events"] for line in lines if "take" in line] == [None]
    with Journal.open(tmp_path / "teacher.sqlite") as journal:
        merge(journal, bundle)
        assert (journal.take(id).events, journal.verdict(id)) == ((), VERDICT)
        assert merge(journal, whole).changed == 1  # the playing may come later
        assert journal.take(id).events == EVENTS
        assert merge(journal, bundle).known == 1  # and does not go again


def test_a_merge_that_fails_half_way_leaves_the_log_as_it_was(tmp_path: Path) -> None:
    for _ in range(3):
        play(tmp_path / "own.sqlite")
    bundle = tmp_path / "own.bundle"
    with Journal.open(tmp_path / "own.sqlite") as own:
        export(own, own.takes()[0].player, bundle)
    lines = gzip.decompress(bundle.read_bytes()).splitlines(keepends=True)
    lines[-2] = lines[-2].replace(b'"complete"', b'"perfect"')
    bundle.write_bytes(gzip.compress(b"".join(lines)))
    with Journal.open(tmp_path / "other.sqlite") as journal:
        with pytest.raises(LogError, match=r"own\.bundle:5: 'perfect' is not an outcome"):
            merge(journal, bundle)
        assert journal.takes() == () and journal.players() == ()
        with journal.reading() as connection:
            assert connection.execute(select(exercise_text)).all() == []
