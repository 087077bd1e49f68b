"""Breaks of a take, and where its player began again unasked, are kept wherever it goes."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from tests.journal.samples import EVENTS, FAULT, FIRST, SECOND, TAKE, play
from trainer.errors import LogError
from trainer.journal.merge import export, merge
from trainer.journal.store import Journal
from trainer.journal.writer import Writer, settle
from trainer.judging.take import Pause, played_through

BREAKS: tuple[Pause, ...] = ((10.2, 14.5), (16.25, 16.26, 1))
BROKEN = replace(TAKE, pauses=BREAKS)


def test_in_the_log(tmp_path: Path) -> None:
    id = play(tmp_path / "a.sqlite", take=BROKEN)
    journal = Journal.open(tmp_path / "a.sqlite")
    assert journal.take(id).pauses == BREAKS and journal.take(id).begun_again == (1,)
    assert journal.takes()[0].pauses == BREAKS
    journal.close()
    with sqlite3.connect(tmp_path / "a.sqlite") as raw:  # as another program reads it
        (text,) = raw.execute("SELECT pauses FROM take").fetchone()
    assert json.loads(text) == [[10.2, 14.5], [16.25, 16.26, 1]]


def test_of_a_take_whose_program_died(tmp_path: Path) -> None:
    """They were written at the end alone: a take broken off and gone on, and then lost, was heard
    without its breaks when it was marked anew."""
    location = tmp_path / "a.sqlite"
    with Writer(location) as writer:
        id = writer.begin(TAKE)
        writer.events(id, EVENTS[:2])
        writer.moment(id, FIRST)
        writer.went_on(id, BREAKS)
        writer.events(id, EVENTS[2:])
    with sqlite3.connect(location) as raw:
        raw.execute("UPDATE take SET writer = 'elsewhere/1', touched = 0")
    journal = Journal.open(location)
    assert settle(journal) == 1
    assert journal.take(id).pauses == BREAKS
    journal.close()


def test_what_was_said_of_a_moment_that_is_played_again_is_replaced_faults_and_all(
    tmp_path: Path,
) -> None:
    """The faults of its first playing stayed in the marks of a take whose program died."""
    location = tmp_path / "a.sqlite"
    with Writer(location) as writer:
        id = writer.begin(TAKE)
        writer.events(id, EVENTS)
        writer.moment(id, FIRST)
        writer.moment(id, SECOND, (FAULT,))
        writer.moment(id, FIRST)
        writer.moment(id, SECOND)
    with sqlite3.connect(location) as raw:
        raw.execute("UPDATE take SET writer = 'elsewhere/1', touched = 0")
    journal = Journal.open(location)
    settle(journal)
    verdict = journal.verdict(id)
    assert verdict is not None and verdict.faults == () and verdict.movement.gross == 0
    journal.close()


@pytest.mark.parametrize(
    "text", ["[[1]]", "[[1, 2, 3, 4]]", "[[1, 2, -1]]", "7", "[[1, NaN]]", "x"]
)
def test_what_is_no_break_is_said_in_one_line(tmp_path: Path, text: str) -> None:
    location = tmp_path / "a.sqlite"
    id = play(location, take=BROKEN)
    with sqlite3.connect(location) as raw:
        raw.execute("UPDATE take SET pauses = ?", (text,))
    journal = Journal.open(location)
    with pytest.raises(LogError, match="breaks of a take cannot be read"):
        journal.take(id)
    journal.close()


def test_who_began_again_has_not_played_it_through() -> None:
    assert played_through(TAKE.conditions, ())
    assert played_through(TAKE.conditions, BREAKS[:1])
    assert not played_through(TAKE.conditions, BREAKS)


def test_in_a_bundle_and_the_log_it_is_brought_into(tmp_path: Path) -> None:
    with Writer(tmp_path / "a.sqlite") as writer:
        writer.player("p" * 32, "Ann")
    id = play(tmp_path / "a.sqlite", take=replace(BROKEN, player="p" * 32))
    bundle = tmp_path / "a.bundle"
    ours, theirs = (Journal.open(tmp_path / name) for name in ("a.sqlite", "b.sqlite"))
    export(ours, "p" * 32, bundle)
    merge(theirs, bundle)
    assert theirs.take(id).pauses == BREAKS
    ours.close()
    theirs.close()
