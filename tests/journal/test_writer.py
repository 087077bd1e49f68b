"""A take goes through the writer and comes out of the log as it went in, on either database."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tests.journal.samples import EVENTS, FAULT, FIRST, SECOND, TAKE, VERDICT, play
from trainer.errors import LogError
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.journal.writer import Writer, settle
from trainer.judging.verdict import Harmony, Movement
from trainer.theory.fault import Fault
from trainer.theory.voicing import Voicing

ROOT = Path(__file__).parents[2]


def test_a_take_comes_out_of_the_log_as_it_went_in(location: str) -> None:
    id = play(location)
    with Journal.open(location) as journal:
        (summary,) = journal.takes()
        take = journal.take(id)
        assert replace(take, player="") == replace(TAKE, events=EVENTS)
        assert take.player == summary.player
        assert journal.verdict(id) == VERDICT
    assert (summary.state, summary.tempo, summary.seconds) == ("finished", 60.0, 1.25)
    assert summary.movement.gross == 1


def test_a_take_in_progress_can_be_read_by_another_program(location: str) -> None:
    with Writer(location) as writer:
        id = writer.begin(TAKE)
        writer.events(id, EVENTS[:2])
        writer.moment(id, FIRST)
        writer.flush()
        with Journal.open(location, write=False) as journal:
            assert journal.take(id).events == EVENTS[:2]
            verdict = journal.verdict(id)
            assert verdict is not None and verdict.moments == (FIRST,)
            assert journal.takes()[0].state == "open"


def test_a_take_whose_program_died_is_kept_to_its_last_chord(location: str) -> None:
    script = (
        "import os, sys; import tests.journal.samples as t\n"
        "from trainer.journal.writer import Writer\n"
        "writer = Writer(sys.argv[1]); id = writer.begin(t.TAKE)\n"
        "writer.events(id, t.EVENTS[:2]); writer.moment(id, t.FIRST); writer.flush()\n"
        "os.kill(os.getpid(), 9)"
    )
    subprocess.run([sys.executable, "-c", script, location], cwd=ROOT, check=False)
    with Journal.open(location) as journal:
        assert settle(journal) == 1
        (summary,) = journal.takes()
        assert (summary.state, summary.harmony) == ("recovered", Harmony(0, 1))
        assert journal.take(summary.id).events == EVENTS[:2]
        verdict = journal.verdict(summary.id)
        assert verdict is not None and verdict.moments == (FIRST,)
        assert settle(journal) == 0


def test_a_pass_never_judged_as_a_whole_has_its_figure_of_movement_as_any_other(
    location: str,
) -> None:
    """A third that is missing is counted in harmony, and not in movement as well."""
    second = replace(SECOND, voicing=Voicing.parse("d3 f4 a4 d5"))
    missing = Fault("missing-third", "gross", (1,), (), (), "the third is missing")
    with Writer(location) as writer:
        id = writer.begin(TAKE)
        writer.events(id, EVENTS)
        writer.moment(id, FIRST)
        writer.moment(id, second, (missing, FAULT))
        writer.end(id, replace(TAKE, events=EVENTS), None, finished=False)
    with Journal.open(location) as journal:
        verdict = journal.verdict(id)
        assert verdict is not None and verdict.faults == (missing, FAULT)
        assert verdict.movement == Movement(gross=1, weak=0, remark=0, clean=0, successions=1)


def test_a_name_means_the_same_player_again(location: str) -> None:
    play(location, take=replace(TAKE, player="Ada"))
    play(location, take=replace(TAKE, player="Ada"))
    play(location)
    with Journal.open(location) as journal:
        counts = {p.name: p.takes for p in journal.players()}
        assert counts == {"Ada": 2, "": 1}
        assert len(journal.takes(journal.player("Ada").id)) == 2


def test_a_log_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(LogError, match="cannot be made"):
        Writer(tmp_path / "file" / "log.sqlite")


def test_a_take_of_which_nothing_was_played_is_not_kept(location: str) -> None:
    script = (
        "import os, sys; import tests.journal.samples as t\n"
        "from trainer.journal.writer import Writer\n"
        "writer = Writer(sys.argv[1]); writer.begin(t.TAKE); writer.flush()\n"
        "os.kill(os.getpid(), 9)"
    )
    subprocess.run([sys.executable, "-c", script, location], cwd=ROOT, check=False)
    with Journal.open(location) as journal:
        assert settle(journal) == 1
        assert journal.takes() == () and verify(journal).troubles == ()


def test_stations_that_write_at_once_keep_everything(location: str) -> None:
    """A school: three programs, one log. Two play under one name."""
    script = (
        "import sys; import tests.journal.samples as t\n"
        "from dataclasses import replace\n"
        "for _ in range(8): t.play(sys.argv[1], take=replace(t.TAKE, player=sys.argv[2]))"
    )
    Journal.open(location).close()
    stations = [
        subprocess.Popen([sys.executable, "-c", script, location, id], cwd=ROOT)
        for id in ("0" * 32, "1" * 32, "1" * 32)
    ]
    assert [station.wait(120) for station in stations] == [0, 0, 0]
    with Journal.open(location) as journal:
        assert {one.id: one.takes for one in journal.players()} == {"0" * 32: 8, "1" * 32: 16}
        assert verify(journal).troubles == ()
        assert all(one.state == "finished" for one in journal.takes())


def test_what_is_lost_by_ending_now_is_said_while_a_take_is_open_and_only_then(
    tmp_path: Path,
) -> None:
    with Writer(tmp_path / "log.sqlite") as writer:
        writer.player("a" * 32, "Ada")
        assert writer.undone() == ""
        id = writer.begin(TAKE)
        assert "the last pass was not finished" in writer.undone()
        writer.end(id, replace(TAKE, events=EVENTS), VERDICT)
        writer.flush()
        assert writer.undone() == ""
