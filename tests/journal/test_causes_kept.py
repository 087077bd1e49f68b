"""Causes in the log: what they explain is counted once, whatever order takes come in."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, update

from tests.journal.samples import EVENTS, FAULT, TAKE, VERDICT
from trainer.journal.bundle import Name
from trainer.journal.merge import export, merge, put_player
from trainer.journal.packing import fault_row, marking_row, moment_row
from trainer.journal.readable_marks import what_is_left
from trainer.journal.remark import remark
from trainer.journal.repair import repair
from trainer.journal.schema import SUMS, fault_count, marking
from trainer.journal.store import Journal
from trainer.journal.sums import Sums, recount
from trainer.journal.verify import verify
from trainer.journal.whole import Said, WholeTake, put_whole
from trainer.judging.take import Take
from trainer.judging.verdict import WHYS, Cause, PassVerdict
from trainer.theory.fault import Fault, Weight
from trainer.theory.rules import RULES

ADA = "00000000-0000-4000-8000-00000000000a"


def of(rule: str, weight: Weight = "gross") -> Fault:
    return Fault(rule, weight, (1,), (), (), rule)


# 0 and 2 are one wrong chord, from which 3 follows; 1 and 4 stand for themselves
FAULTS = (
    of("foreign-note", "weak"),
    FAULT,
    of("missing-third"),
    of("leap-in-middle-voice", "remark"),
    of("too-low", "weak"),
)
CAUSE = Cause("finger-beside", 1, "Bar 1, beat 2: one finger beside its key.", "", (0, 2), (3,))
CAUSED = replace(VERDICT, faults=FAULTS, causes=(CAUSE,))
ONE_BY_ONE = replace(CAUSED, causes=())


def take_of(number: int, *said: Said) -> WholeTake:
    played = replace(TAKE, events=EVENTS, player=ADA)
    return WholeTake(f"take-000{number}", played, "finished", 1.25, True, said)


TAKES = (
    take_of(1, Said(4, 1.0, ONE_BY_ONE), Said(5, 2.0, CAUSED)),
    take_of(2, Said(5, 2.0, CAUSED)),
    take_of(3, Said(4, 1.0, ONE_BY_ONE)),
)


def log_of(path: Path, *takes: WholeTake) -> Journal:
    log = Journal.open(path)
    with log.writing() as connection:
        put_player(connection, Name(ADA, "Ada", 10.0))
        sums = Sums()
        for one in takes:
            put_whole(connection, one, sums)
        sums.write(connection)
    return log


def counted(log: Journal) -> dict[tuple[str, str], int]:
    """Times by rule and weight; they have to be those that come of counting anew."""
    with log.writing() as connection:
        kept = _sums(connection)
        recount(connection)
        assert _sums(connection) == kept
        columns = (fault_count.c.rule, fault_count.c.weight, fault_count.c.times)
        return {(rule, weight): n for rule, weight, n in connection.execute(select(*columns))}


def _sums(connection: Any) -> list[object]:
    return [sorted(map(tuple, connection.execute(select(table)))) for table in SUMS]


ONCE = {
    ("finger-beside", "gross"): 1,
    ("consecutive-fifths", "gross"): 1,
    ("too-low", "weak"): 1,
}
SINGLY = {(one.rule, one.weight): 1 for one in FAULTS}


def test_a_cause_is_counted_once_as_heavy_as_the_heaviest_it_explains(tmp_path: Path) -> None:
    with log_of(tmp_path / "log.sqlite", TAKES[1]) as log:
        assert counted(log) == ONCE
        assert verify(log).troubles == ()


def test_without_causes_every_fault_is_counted(tmp_path: Path) -> None:
    with log_of(tmp_path / "log.sqlite", TAKES[2]) as log:
        assert counted(log) == SINGLY


def test_no_cause_is_called_like_a_rule() -> None:
    """They stand in one column of the sums."""
    assert not {one.id for one in RULES} & set(WHYS)
    assert all(len(why) <= 60 for why in WHYS)


def test_the_sums_do_not_depend_on_the_order_in_which_takes_come(tmp_path: Path) -> None:
    """Of the first take the marks that name a cause hold, whichever of both came first."""
    halves = (
        TAKES[1],
        TAKES[2],
        take_of(1, TAKES[0].markings[0]),
        take_of(1, TAKES[0].markings[1]),
    )
    expected = {key: 2 * ONCE.get(key, 0) + SINGLY.get(key, 0) for key in {*ONCE, *SINGLY}}
    for number, order in enumerate(permutations(halves)):
        with log_of(tmp_path / f"{number}.sqlite", *order) as log:
            assert counted(log) == expected


def test_judging_again_takes_off_what_was_counted(tmp_path: Path) -> None:
    def by_newer_rules(take: Take) -> PassVerdict:
        return CAUSED

    def by_still_newer(take: Take) -> PassVerdict:
        return replace(CAUSED, faults=(), causes=())

    with log_of(tmp_path / "log.sqlite", TAKES[2]) as log:
        assert remark(log, by_newer_rules, 5).changed == 1
        assert counted(log) == ONCE
        assert remark(log, by_still_newer, 6).changed == 1
        assert counted(log) == {}


def test_causes_travel_in_a_bundle(tmp_path: Path) -> None:
    with log_of(tmp_path / "log.sqlite", *TAKES) as log:
        export(log, ADA, tmp_path / "ada.bundle")
        expected = counted(log)
    with Journal.open(tmp_path / "other.sqlite") as other:
        assert merge(other, tmp_path / "ada.bundle").new == 3
        assert counted(other) == expected
        said = other.verdict("take-0002")
        assert said == CAUSED
        assert merge(other, tmp_path / "ada.bundle").known == 3


@pytest.mark.parametrize(
    "damage",
    [
        None,
        "{",
        "7",
        '[["finger-beside", 1, "another sentence", "", [0, 2], [3]]]',
        '[["finger-beside", 1, "", "", [0, 99], []]]',
    ],
)
def test_damaged_causes_are_found_and_made_anew(tmp_path: Path, damage: str | None) -> None:
    path = tmp_path / "log.sqlite"
    with log_of(path, TAKES[1]) as log, log.writing() as connection:
        connection.execute(update(marking).values(causes=damage))
    with Journal.open(path) as log:
        found = [one.what for one in verify(log).troubles if one.take]
        assert found == ["marks of rules 5 are damaged"]
    repair(str(path), lambda take: CAUSED, 5)
    with Journal.open(path) as log:
        assert verify(log).troubles == ()
        assert log.verdict("take-0002") == CAUSED
        assert counted(log) == ONCE


def rows_of(said: PassVerdict) -> tuple[dict[str, Any], list[Any], list[Any]]:
    figures = marking_row(said) | {"rules": 5, "digest": ""}
    moments = [moment_row(one) for one in said.moments]
    return figures, moments, [fault_row(n, one) for n, one in enumerate(said.faults)]


def test_of_marks_that_cannot_be_made_again_the_causes_of_what_is_left_are_kept() -> None:
    """The first two faults are lost: the others have moved up two places."""
    figures, moments, faults = rows_of(CAUSED)
    left = what_is_left(figures, moments, faults[2:])
    assert left is not None and left.faults == FAULTS[2:]
    assert left.causes == (replace(CAUSE, explains=(0,), follow=(1,)),)
    none = what_is_left(figures, moments, [faults[1], *faults[3:]])
    assert none is not None and none.causes == (), "nothing is left that it explains"


def test_of_causes_that_cannot_be_read_the_faults_are_left() -> None:
    figures, moments, faults = rows_of(CAUSED)
    left = what_is_left({**figures, "causes": b"\xff"}, moments, faults)
    assert left == replace(CAUSED, causes=())
