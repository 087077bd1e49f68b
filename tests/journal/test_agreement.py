"""One take known to two logs: which of its heads, playings and marks holds, and what is counted."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Table, func, select, text, update

from tests.journal.samples import EVENTS, FAULT, FIRST, STARTED, TAKE, VERDICT, play
from trainer.errors import LogError
from trainer.journal import merge as merging
from trainer.journal.bundle import Name
from trainer.journal.merge import export, merge, put_player
from trainer.journal.records import append_events, append_moment, begin_take
from trainer.journal.schema import SUMS, chunk, marking, player, take
from trainer.journal.store import Journal
from trainer.journal.sums import Sums, recount
from trainer.journal.verify import verify
from trainer.journal.whole import Said, WholeTake, put_whole, read_whole

ADA, BEN = "00000000-0000-4000-8000-00000000000a", "00000000-0000-4000-8000-00000000000b"
GENTLER = replace(VERDICT, faults=())
ONE = WholeTake(
    "take-0001",
    replace(TAKE, events=EVENTS, player=ADA),
    "stopped",
    1.25,
    True,
    (Said(1, 5.0, VERDICT),),
)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "log.sqlite") as journal:
        with journal.writing() as connection:
            put_player(connection, Name(ADA, "Ada", 10.0))
            put_player(connection, Name(BEN, "Ben", 10.0))
        yield journal


def put(log: Journal, *takes: WholeTake) -> list[str]:
    """What came of each; the sums have to be those of the takes."""
    with log.writing() as connection:
        sums = Sums()
        found = [put_whole(connection, one, sums) for one in takes]
        sums.write(connection)
        kept = _sums(connection)
        recount(connection)
        assert _sums(connection) == kept
    return found


def _sums(connection: Any) -> list[object]:
    return [sorted(map(tuple, connection.execute(select(table)))) for table in SUMS]


def held(log: Journal, id: str = ONE.id) -> WholeTake:
    with log.reading() as connection:
        return read_whole(connection, _seq(connection, id))


def _seq(connection: Any, id: str) -> int:
    return int(connection.execute(select(take.c.seq).where(take.c.id == id)).scalar_one())


def row(log: Journal, id: str = ONE.id) -> dict[str, Any]:
    with log.reading() as connection:
        return dict(connection.execute(select(take).where(take.c.id == id)).mappings().one())


def chunks(log: Journal, id: str = ONE.id) -> list[tuple[int, int]]:
    """Number and packing of each."""
    with log.reading() as connection:
        query = select(chunk.c.number, chunk.c.packing)
        here = query.where(chunk.c.take_seq == _seq(connection, id)).order_by(chunk.c.number)
        return [(one.number, one.packing) for one in connection.execute(here)]


# ── a take that is new, and one that is known ────────────────────────────────────────────────


def test_a_new_take_is_kept_whole_beside_the_others(log: Journal) -> None:
    two = replace(
        ONE,
        id="take-0002",
        take=replace(ONE.take, player=BEN, events=EVENTS[:2]),
        state="finished",
        markings=(Said(1, 6.0, GENTLER), Said(2, 7.0, replace(VERDICT, moments=(FIRST,)))),
    )
    assert put(log, ONE, two) == ["new", "new"]
    assert held(log) == ONE
    found = held(log, "take-0002")
    assert sorted(found.markings, key=lambda said: said.made) == list(two.markings)
    assert replace(found, markings=()) == replace(two, markings=())
    assert (row(log)["writer"], row(log)["touched"]) == ("", STARTED.timestamp())


def test_what_is_known_already_changes_nothing(log: Journal) -> None:
    two = replace(ONE, id="take-0002", state="finished")
    put(log, ONE, two)
    before = [row(log), row(log, "take-0002")]
    assert put(log, ONE, two) == ["known", "known"]
    assert [row(log), row(log, "take-0002")] == before
    assert [held(log), held(log, "take-0002")] == [ONE, two]


def test_a_take_played_here_is_not_touched_by_its_own_copy(tmp_path: Path) -> None:
    id = play(tmp_path / "log.sqlite")
    with Journal.open(tmp_path / "log.sqlite") as log:
        before = row(log, id)
        assert put(log, held(log, id)) == ["known"]
        assert row(log, id) == before


# ── of two heads the one further on ──────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("first", "then", "holds"),
    [
        ("recovered", "stopped", "stopped"),
        ("stopped", "finished", "finished"),
        ("recovered", "finished", "finished"),
        ("finished", "stopped", "finished"),
        ("stopped", "recovered", "stopped"),
    ],
)
def test_of_two_heads_the_one_further_on_holds(
    log: Journal, first: str, then: str, holds: str
) -> None:
    put(log, replace(ONE, state=first), replace(ONE, id="take-0002", state="recovered"))
    came = put(log, replace(ONE, state=then, seconds=2.5))
    assert came == ["changed" if holds == then else "known"]
    assert held(log).state == holds
    assert held(log).seconds == (2.5 if holds == then else 1.25)
    assert held(log, "take-0002").state == "recovered"


@pytest.mark.parametrize(
    "other",
    [
        replace(ONE, seconds=2.0),
        replace(ONE, take=replace(ONE.take, player=BEN)),
        replace(ONE, take=replace(ONE.take, started=STARTED + timedelta(hours=1))),
        replace(ONE, take=replace(ONE.take, pauses=((10.2, 10.3),))),
        replace(ONE, take=replace(ONE.take, exercise_id="another")),
        replace(ONE, take=replace(ONE.take, port="another keyboard")),
    ],
    ids=["seconds", "player", "started", "pauses", "exercise", "port"],
)
def test_of_two_heads_equally_far_the_same_one_holds_in_either_order(
    tmp_path: Path, other: WholeTake
) -> None:
    kept = []
    for number, order in enumerate([(ONE, other), (other, ONE)]):
        with Journal.open(tmp_path / f"{number}.sqlite") as log:
            with log.writing() as connection:
                put_player(connection, Name(ADA, "Ada", 10.0))
                put_player(connection, Name(BEN, "Ben", 10.0))
            outcomes = put(log, *order)
            kept.append(held(log))
            assert outcomes == ["new", "known" if kept[-1] == order[0] else "changed"]
    assert kept[0] == kept[1]
    assert kept[0] in (ONE, other)


# ── of two playings the longer ───────────────────────────────────────────────────────────────


def test_the_longer_playing_holds_and_the_shorter_does_not_replace_it(log: Journal) -> None:
    shorter = replace(ONE, take=replace(ONE.take, events=EVENTS[:3]))
    put(log, shorter)
    assert put(log, ONE, shorter) == ["changed", "known"]
    assert held(log).take.events == EVENTS


def test_marks_without_playing_are_completed_by_the_playing_and_never_the_other_way(
    log: Journal,
) -> None:
    bare = ONE.without_playing
    assert (bare.take.events, bare.playing, bare.markings) == ((), False, ONE.markings)
    put(log, bare)
    assert held(log) == bare
    assert put(log, ONE, bare) == ["changed", "known"]
    assert held(log) == ONE


def test_of_two_playings_of_one_length_the_same_holds_in_either_order(tmp_path: Path) -> None:
    other = replace(ONE, take=replace(ONE.take, events=(*EVENTS[:-1], EVENTS[0])))
    kept = []
    for number, order in enumerate([(ONE, other), (other, ONE)]):
        with Journal.open(tmp_path / f"{number}.sqlite") as log:
            put(log, *order)
            kept.append(held(log))
    assert kept[0] == kept[1]


# ── all marks that were ever made ────────────────────────────────────────────────────────────


def test_marks_from_both_sides_are_kept_and_the_newest_rules_hold(log: Journal) -> None:
    newer = replace(ONE, markings=(Said(2, 1.0, GENTLER),))
    put(log, ONE, replace(ONE, id="take-0002"))
    assert put(log, newer) == ["changed"]
    assert {said.rules for said in held(log).markings} == {1, 2}
    assert log.verdict(ONE.id) == GENTLER
    assert put(log, ONE) == ["known"]
    assert log.verdict(ONE.id) == GENTLER
    assert log.verdict("take-0002") == VERDICT


def test_the_same_marks_made_later_are_kept_once_with_the_later_time(log: Journal) -> None:
    put(log, ONE)
    assert put(log, replace(ONE, markings=(Said(1, 9.0, VERDICT),))) == ["changed"]
    assert held(log).markings == (Said(1, 9.0, VERDICT),)


def test_the_faults_and_moments_of_each_marking_are_its_own(log: Journal) -> None:
    twice = replace(VERDICT, faults=(FAULT, replace(FAULT, text="again")))
    put(log, replace(ONE, markings=(Said(1, 5.0, GENTLER), Said(2, 5.0, twice))))
    found = {said.rules: said.verdict for said in held(log).markings}
    assert found == {1: GENTLER, 2: twice}


def left_open(log: Journal, id: str = ONE.id) -> None:
    """A take whose station died while it was played: events in two chunks, one chord marked."""
    with log.writing() as connection:
        seq = begin_take(connection, id, replace(ONE.take, events=()), "nowhere/1")
        append_events(connection, seq, EVENTS[:2])
        append_events(connection, seq, EVENTS[2:])
        append_moment(connection, seq, FIRST, (FAULT,))


def markings_of(log: Journal, id: str = ONE.id) -> int:
    with log.reading() as connection:
        query = select(func.count()).where(marking.c.take_seq == _seq(connection, id))
        return int(connection.execute(query).scalar_one())


def test_marks_of_the_whole_replace_those_made_while_it_was_played(log: Journal) -> None:
    left_open(log)
    left_open(log, "take-0002")
    assert put(log, ONE) == ["changed"]
    assert held(log) == ONE
    assert (markings_of(log), markings_of(log, "take-0002")) == (1, 1)
    assert row(log, "take-0002")["state"] == "open"


def test_where_no_marks_come_those_made_while_it_was_played_stay(log: Journal) -> None:
    left_open(log)
    put(log, replace(ONE, markings=()))
    assert markings_of(log) == 1
    assert log.verdict(ONE.id).faults == (FAULT,)


def test_a_take_that_ended_elsewhere_has_its_events_in_one_piece(log: Journal) -> None:
    left_open(log)
    assert len(chunks(log)) == 2
    put(log, ONE)
    whole = replace(ONE, id="take-0002")
    put(log, whole)
    assert chunks(log) == chunks(log, "take-0002")
    assert held(log).take.events == EVENTS


# ── players ──────────────────────────────────────────────────────────────────────────────────


def named(log: Journal) -> dict[str, tuple[str, float, bool]]:
    with log.reading() as connection:
        rows = connection.execute(select(player)).all()
    return {one.id: (one.name, one.named, one.local) for one in rows}


def test_of_two_names_the_one_given_later_holds(log: Journal) -> None:
    assert named(log) == {ADA: ("Ada", 10.0, False), BEN: ("Ben", 10.0, False)}
    with log.writing() as connection:
        put_player(connection, Name(ADA, "A.", 11.0))
        put_player(connection, Name(BEN, "B.", 9.0))
    assert named(log) == {ADA: ("A.", 11.0, False), BEN: ("Ben", 10.0, False)}


def test_of_two_names_given_at_the_same_time_the_same_holds_in_either_order(log: Journal) -> None:
    with log.writing() as connection:
        put_player(connection, Name(ADA, "Zoe", 10.0))
        put_player(connection, Name(BEN, "Abe", 10.0))
    assert named(log) == {ADA: ("Zoe", 10.0, False), BEN: ("Ben", 10.0, False)}


# ── a whole log, or one player's part of it ──────────────────────────────────────────────────


def other_log(tmp_path: Path, *takes: WholeTake) -> Path:
    path = tmp_path / "other.sqlite"
    with Journal.open(path) as other:
        with other.writing() as connection:
            put_player(connection, Name(BEN, "Ben", 20.0))
            put_player(connection, Name(ADA, "Ada", 20.0))
        put(other, *takes)
    return path


BENS = replace(ONE, id="take-0002", take=replace(ONE.take, player=BEN))
MORE = replace(ONE, id="take-0003", take=replace(ONE.take, events=EVENTS[:1]))


def test_a_merge_says_what_came_of_every_take_and_of_whom(log: Journal, tmp_path: Path) -> None:
    put(log, ONE, replace(BENS, state="recovered"))
    told: list[int] = []
    done = merge(log, other_log(tmp_path, ONE, BENS, MORE), told.append)
    assert (done.new, done.changed, done.known) == (1, 1, 1)
    assert done.players == (Name(ADA, "Ada", 20.0), Name(BEN, "Ben", 20.0))
    assert done.source == str(tmp_path / "other.sqlite")
    assert told == [1, 2, 3]
    assert [held(log, one.id) for one in (ONE, BENS, MORE)] == [ONE, BENS, MORE]
    assert named(log)[BEN] == ("Ben", 20.0, False)
    assert verify(log).troubles == ()


def test_a_bundle_holds_one_players_takes_that_have_ended(log: Journal, tmp_path: Path) -> None:
    put(log, ONE, BENS)
    left_open(log, "take-0009")
    bundle = tmp_path / "ada.bundle"
    assert export(log, ADA, bundle) == 1
    with Journal.open(tmp_path / "new.sqlite") as new:
        done = merge(new, bundle)
        assert (done.source, done.players) == (str(bundle), (Name(ADA, "Ada", 10.0),))
        assert (done.new, done.changed, done.known) == (1, 0, 0)
        assert held(new) == ONE  # with its playing: it is left out only where asked
        assert [one.id for one in new.players()] == [ADA]


def test_nothing_ended_makes_an_empty_bundle_that_can_be_merged(
    log: Journal, tmp_path: Path
) -> None:
    assert export(log, BEN, tmp_path / "ben.bundle") == 0
    done = merge(log, tmp_path / "ben.bundle")
    assert (done.new, done.changed, done.known) == (0, 0, 0)


def test_sums_are_written_now_and_then_so_that_a_long_log_fits_into_memory(
    log: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    takes = [replace(ONE, id=f"take-000{number}") for number in range(5)]
    source = other_log(tmp_path, *takes)
    done, written = [0], []
    monkeypatch.setattr(merging, "_BATCH", 2)
    write = Sums.write

    def counted(self: Sums, connection: Any) -> None:
        written.append(done[-1])
        write(self, connection)

    monkeypatch.setattr(Sums, "write", counted)
    merge(log, source, done.append)
    assert written == [2, 4, 5]
    assert verify(log).troubles == ()


# ── what cannot be merged ────────────────────────────────────────────────────────────────────


def test_a_folder_and_a_file_that_is_not_there_are_named(log: Journal, tmp_path: Path) -> None:
    with pytest.raises(LogError, match="this is a folder") as raised:
        merge(log, tmp_path)
    assert raised.value.remedy == "name the files in it"
    with pytest.raises(LogError, match="there is no such file"):
        merge(log, tmp_path / "nowhere.bundle")


def test_a_file_that_cannot_be_read_is_named(
    log: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(file: Path) -> bool:
        raise PermissionError(13, "Permission denied", str(file))

    source = other_log(tmp_path, ONE)
    monkeypatch.setattr(merging, "is_bundle", refused)
    with pytest.raises(LogError, match=r"other\.sqlite: cannot be read \(Permission denied\)"):
        merge(log, source)


@pytest.mark.parametrize(
    ("table", "damage", "said"),
    [
        (take, {"pauses": "[[1]]"}, "the breaks of a take cannot be read"),
        (take, {"conditions": "7"}, "the conditions of a take cannot be read"),
        (marking, {"extra": "{"}, r"it is damaged \(JSONDecodeError\); export it again"),
        (marking, {"causes": "7"}, r"it is damaged \(TypeError\); export it again"),
    ],
)
def test_a_damaged_log_is_named_and_nothing_of_it_is_kept(
    log: Journal, tmp_path: Path, table: Table, damage: dict[str, str], said: str
) -> None:
    """That other log, not the one it was to be merged into."""
    source = other_log(tmp_path, ONE, MORE)
    with Journal.open(source) as other, other.writing() as connection:
        connection.execute(update(table).where(table.c.seq == 2).values(damage))
    with pytest.raises(LogError, match=rf"other\.sqlite: {said}") as raised:
        merge(log, source)
    assert "\n" not in str(raised.value)
    assert log.takes() == ()


def test_a_log_of_an_older_version_is_not_changed_by_being_merged(
    log: Journal, tmp_path: Path
) -> None:
    kept = Path(__file__).parent / "data" / "log-version-1.sqlite"
    old = Path(shutil.copy(kept, tmp_path / "old.sqlite"))
    with pytest.raises(LogError):
        merge(log, old)
    assert old.read_bytes() == kept.read_bytes()
    with log.reading() as connection:
        assert connection.execute(text("SELECT count(*) FROM take")).scalar() == 0
