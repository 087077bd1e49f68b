"""A take goes through the writer and comes out of the log as it went in."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from trainer.errors import LogError
from trainer.journal.store import Journal
from trainer.journal.writer import Writer, settle
from trainer.judging.take import Conditions, Take
from trainer.judging.verdict import Harmony, MomentVerdict, Movement, PassVerdict, Timing
from trainer.listening.events import KeyDown, KeyUp, Pedal
from trainer.theory.fault import Fault
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing

STARTED = datetime(2026, 3, 2, 19, 30, tzinfo=timezone(timedelta(hours=1)))
EVENTS = (
    KeyDown(10.0, 48, 60),
    KeyDown(10.01, 64, 61),
    Pedal(10.5, True),
    KeyUp(11.0, 48),
    Pedal(11.25, False),
)
TAKE = Take("six-four", "text of the exercise\n", Conditions(tempo=60.0), (), 10.0, STARTED)
FIRST = MomentVerdict(
    0,
    "incomplete",
    keys=(48, 64),
    voicing=Voicing.parse("c3 e4 - g4"),
    missing=("5", "b7"),
    late_ms=12.5,
    late_beats=0.0125,
    spread_ms=10.0,
)
SECOND = MomentVerdict(1, "complete", keys=(43, 62), late_ms=-200.0, late_beats=-0.2)
FAULT = Fault(
    "consecutive-fifths",
    "gross",
    (0, 1),
    ("soprano", "bass"),
    (Pitch.parse("g4"), Pitch.parse("c3"), Pitch.parse("a4"), Pitch.parse("d3")),
    "fifths between soprano and bass",
    Voicing.parse("d3 f4 a4 d5"),
)
VERDICT = PassVerdict(
    (FIRST, SECOND),
    (FAULT,),
    Harmony(1, 2),
    Timing(1, 2, -93.75, 157.5),
    Movement(1, 0, 0, 0, 1),
)


def play(location: Path | str, *, end: bool = True, take: Take = TAKE) -> str:
    with Writer(location) as writer:
        id = writer.begin(take)
        writer.events(id, EVENTS[:2])
        writer.moment(id, FIRST)
        writer.events(id, EVENTS[2:])
        writer.moment(id, SECOND, (FAULT,))
        if end:
            writer.end(id, replace(take, events=EVENTS), VERDICT)
    return id


def test_a_take_comes_out_of_the_log_as_it_went_in(tmp_path: Path) -> None:
    id = play(tmp_path / "log.sqlite")
    with Journal.open(tmp_path / "log.sqlite") as journal:
        (summary,) = journal.takes()
        take = journal.take(id)
        assert replace(take, player="") == replace(TAKE, events=EVENTS)
        assert take.player == summary.player
        assert journal.verdict(id) == VERDICT
    assert (summary.state, summary.tempo, summary.seconds) == ("finished", 60.0, 1.25)
    assert summary.movement.gross == 1


def test_a_take_in_progress_can_be_read_by_another_program(tmp_path: Path) -> None:
    with Writer(tmp_path / "log.sqlite") as writer:
        id = writer.begin(TAKE)
        writer.events(id, EVENTS[:2])
        writer.moment(id, FIRST)
        writer.flush()
        with Journal.open(tmp_path / "log.sqlite", write=False) as journal:
            assert journal.take(id).events == EVENTS[:2]
            verdict = journal.verdict(id)
            assert verdict is not None and verdict.moments == (FIRST,)
            assert journal.takes()[0].state == "open"


def test_a_take_whose_program_died_is_kept_to_its_last_chord(tmp_path: Path) -> None:
    import subprocess
    import sys

    log = tmp_path / "log.sqlite"
    script = (
        "import os, sys; sys.path.insert(0, 'tests/journal'); import test_writer as t\n"
        "from trainer.journal.writer import Writer\n"
        "writer = Writer(sys.argv[1]); id = writer.begin(t.TAKE)\n"
        "writer.events(id, t.EVENTS[:2]); writer.moment(id, t.FIRST); writer.flush()\n"
        "os.kill(os.getpid(), 9)"
    )
    root = Path(__file__).parents[2]
    subprocess.run([sys.executable, "-c", script, str(log)], cwd=root, check=False)
    with Journal.open(log) as journal:
        assert settle(journal) == 1
        (summary,) = journal.takes()
        assert (summary.state, summary.harmony) == ("recovered", Harmony(0, 1))
        assert journal.take(summary.id).events == EVENTS[:2]
        verdict = journal.verdict(summary.id)
        assert verdict is not None and verdict.moments == (FIRST,)
        assert settle(journal) == 0


def test_a_name_means_the_same_player_again(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    play(log, take=replace(TAKE, player="Ada"))
    play(log, take=replace(TAKE, player="Ada"))
    play(log)
    with Journal.open(log) as journal:
        counts = {p.name: p.takes for p in journal.players()}
        assert counts == {"Ada": 2, "": 1}
        assert len(journal.takes(journal.player("Ada").id)) == 2


def test_a_log_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(LogError, match="cannot be made"):
        Writer(tmp_path / "file" / "log.sqlite")


def test_a_file_that_is_no_log_is_refused_and_left_alone(tmp_path: Path) -> None:
    other = tmp_path / "letter.txt"
    other.write_text("Dear sir, " * 50)
    with pytest.raises(LogError, match=r"letter\.txt: this is not a log"):
        Journal.open(other)
    assert other.read_text() == "Dear sir, " * 50
