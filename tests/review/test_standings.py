"""Where a player stands is the same asked of the log by queries and by folding every pass."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import text

from tests.bench.year import build
from trainer.journal.store import Journal
from trainer.practice.course import standing
from trainer.practice.material import Material, open_material
from trainer.practice.played import Thought, played_of
from trainer.review.results import pass_results
from trainer.review.standings import asked_of_the_log, standing_of
from trainer.score.library import Library

BUSY = "a player of the course"


@pytest.fixture(scope="module")
def material() -> Material:
    return open_material(Library())


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory, material: Material) -> Path:
    """A log of a player who does most things well, some in part, and some slower."""
    path = tmp_path_factory.mktemp("course") / "log.sqlite"
    build(str(path), BUSY, material, 8)
    with Journal.open(path) as journal, journal.writing() as connection:
        for change in (
            "UPDATE marking SET complete = judged, gross = 0 WHERE seq % 4 > 0",
            "UPDATE moment SET outcome = 'complete' WHERE marking_seq % 4 > 0",
            "UPDATE marking SET complete = judged * 19 / 20 WHERE seq % 7 = 0",
            "UPDATE take SET tempo = 132, conditions = replace(conditions, '\"tempo\": ',"
            ' \'"tempo": 132.0, "was": \') WHERE tempo IS NOT NULL AND seq % 3 > 0',
            "UPDATE take SET conditions = replace(conditions, '\"first\": null', '\"first\": 2')"
            " WHERE seq % 11 = 0",
            "UPDATE take SET state = 'stopped' WHERE seq % 13 = 0",
        ):
            connection.execute(text(change))
    return path


def test_a_standing_asked_of_the_log_is_that_of_every_pass(log: Path, material: Material) -> None:
    with Journal.open(log) as journal:
        whole = played_of(pass_results(journal, BUSY), material.steps)
        asked = asked_of_the_log(journal, BUSY, material)
        assert asked.clean == whole.clean and len(whole.clean) > 3
        for step in material.steps:
            assert asked.thoughts[step.number] == whole.thoughts.get(step.number, Thought())
        shown = [one.shown for one in whole.thoughts.values()]
        assert any(shown) and not all(shown)
        assert standing_of(journal, BUSY, material) == standing(material, whole)


def test_who_was_never_judged_stands_nowhere(tmp_path: Path, material: Material) -> None:
    with Journal.open(tmp_path / "log.sqlite") as journal:
        assert standing_of(journal, "nobody", material) is None
