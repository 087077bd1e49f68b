"""A class and its assignments."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from lxml import html

from tests.review.scenario import ADA, BEN, OTHER_ADA
from trainer.commands.log import command as log_command
from trainer.commands.review import command
from trainer.journal.store import Journal
from trainer.review.assignments import (
    AssignmentError,
    Goal,
    is_good,
    progress,
    read_assignment,
)
from trainer.review.queries import Span, days, totals

WEEK = """title = "Second week of Lent"
until = 2026-03-20

[[piece]]
exercise = "bellows"
keys = ["G", "D"]
tempo = 56

[[piece]]
exercise = "falling-fifths"
tempo = 60
"""


@pytest.fixture
def week(tmp_path: Path) -> Path:
    file = tmp_path / "week.toml"
    file.write_text(WEEK, encoding="utf-8")
    return file


def test_an_assignment_is_read_as_it_is_written(week: Path) -> None:
    found = read_assignment(week)
    assert (found.name, found.title, found.until) == (
        "week",
        "Second week of Lent",
        date(2026, 3, 20),
    )
    assert found.goals == (
        Goal("bellows", "G major", 56.0),
        Goal("bellows", "D major", 56.0),
        Goal("falling-fifths", "", 60.0),
    )


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('title = "Second week of Lent"', "", ":1: the title is missing"),
        ("until = 2026-03-20", 'until = "soon"', ":2: until is not a day"),
        ("until = 2026-03-20", "until = 2026-03-20T12:00:00", ":2: until is not a day"),
        ('keys = ["G", "D"]', 'keys = ["H"]', ":4: 'H' is not a key"),
        ("tempo = 60", "tempo = 6000", ":9: no tactus can be followed at 6000"),
        ("tempo = 60", "", ":9: the piece has no tempo"),
        ('exercise = "falling-fifths"', 'stars = "5"', ":9: a piece has exercise, keys and tempo"),
        ("until = ", "untill = ", ":2: untill is not known here"),
        ("[[piece]]", "[[piece", "is not TOML"),
        ("title =", "\udcff =", "is not UTF-8"),
    ],
)
def test_a_mistake_in_an_assignment_is_one_line_with_its_place(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    file = tmp_path / "week.toml"
    file.write_text(WEEK.replace(old, new), encoding="utf-8", errors="surrogateescape")
    with pytest.raises(AssignmentError) as raised:
        read_assignment(file)
    assert said in str(raised.value) and "\n" not in str(raised.value)


def test_a_goal_is_secure_after_two_good_passes_in_its_key(journal: Journal, week: Path) -> None:
    assignment = read_assignment(week)
    for player in (ADA, BEN, OTHER_ADA):
        for found in progress(journal, player, assignment):
            takes = [
                one
                for one in journal.takes(player)
                if one.exercise_id.split("@")[0] == found.goal.exercise_id
                and found.goal.key in ("", one.key)
            ]
            good = sum(is_good(one, found.goal.tempo) for one in takes)
            expected = "secure" if good >= 2 else "once" if good else "begun"
            assert found.state == (expected if takes else "not begun")
            assert found.passes == len(takes)
    states = {p.state for id in (ADA, BEN, OTHER_ADA) for p in progress(journal, id, assignment)}
    assert "secure" in states and len(states) > 1


def test_what_is_played_after_the_last_day_does_not_count(journal: Journal, week: Path) -> None:
    early = week.with_name("early.toml")
    early.write_text(WEEK.replace("2026-03-20", "2026-01-01"), encoding="utf-8")
    found = progress(journal, ADA, read_assignment(early))
    assert {one.state for one in found} == {"not begun"}


def test_a_player_takes_an_assignment_in_and_sees_how_far_it_is(
    season_log: Path, week: Path
) -> None:
    named = ["--log", str(season_log), "--player", ADA]
    done = CliRunner().invoke(log_command, ["assignment", str(week), *named])
    assert done.exit_code == 0, done.output
    assert "taken in: Second week of Lent, until 2026-03-20" in done.stdout
    again = CliRunner().invoke(log_command, ["assignment", "--json", *named])
    (told,) = json.loads(again.stdout)["assignments"]
    assert [goal["exercise"] for goal in told["goals"]] == [
        "bellows",
        "bellows",
        "falling-fifths",
    ]


def test_the_class_page_says_who_practised_by_the_days_themselves(
    season_log: Path, week: Path, tmp_path: Path
) -> None:
    page, table = tmp_path / "class.html", tmp_path / "class.csv"
    named = ["--log", str(season_log), "--until", "2026-03-15", "--assignment", str(week)]
    done = CliRunner().invoke(
        command, ["--class", *named, "--html", str(page), "--csv", str(table)]
    )
    assert done.exit_code == 0, done.output
    span = Span(date(2026, 2, 16), date(2026, 3, 15))
    shown = html.document_fromstring(page.read_text(encoding="utf-8"))
    figures = {
        one.get("data-figure"): one.text_content() for one in shown.xpath("//*[@data-figure]")
    }
    rows = {row["id"]: row for row in csv.DictReader(io.StringIO(table.read_text()))}
    with Journal.open(season_log, write=False) as journal:
        for player in (ADA, BEN, OTHER_ADA):
            sums = totals(journal, player, span)
            practised = str(len(days(journal, player, span)))
            assert figures[f"class:{player}:days"] == rows[player]["days"] == practised
            assert figures[f"class:{player}:passes"] == rows[player]["passes"] == str(sums.takes)
            assert figures[f"class:{player}:minutes"] == f"{sums.seconds / 60:.1f}"
            assert rows[player]["complete"] == str(sums.harmony.hits)
    words = shown.text_content()
    assert "Ada Lehner (1ada0000)" in words and "Ada Lehner (3ada0000)" in words
    assert "Ben & <Söhne>" in words
    assert "Second week of Lent" in words


def test_a_name_that_a_spreadsheet_would_compute_is_made_harmless() -> None:
    from trainer.review.classroom import _harmless

    assert _harmless("=1+1") == "'=1+1" and _harmless("Ada") == "Ada" and _harmless("") == ""
