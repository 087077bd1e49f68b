"""Rules and causes have titles and explanations wherever counts and marks name them."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from lxml import html

from tests.journal.samples import EVENTS, TAKE
from tests.journal.test_causes_kept import CAUSED
from trainer.commands.review import command
from trainer.journal.store import Journal
from trainer.journal.writer import Writer
from trainer.judging.lessons import LESSONS
from trainer.judging.verdict import WHYS, Harmony
from trainer.practice.material import open_material
from trainer.review.advice import next_work
from trainer.review.classroom import class_csv, class_page, classroom
from trainer.review.named import named, title_of
from trainer.review.review_page import review_page
from trainer.score.library import Library
from trainer.theory.rules import RULES, rule

LESSON = LESSONS["finger-beside"]
NOW = datetime.now().astimezone()  # what was played long ago is not spoken of
TODAY = NOW.date()


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Twelve passes, in each a finger beside its key, and fifths."""
    path = tmp_path / "log.sqlite"
    verdict = replace(CAUSED, harmony=Harmony(1, 2))
    with Writer(path) as writer:
        for _ in range(12):
            take = replace(TAKE, events=EVENTS, player="Ada", port="", started=NOW)
            writer.end(writer.begin(take), take, verdict)
    return path


def test_everything_there_is_has_a_name_of_its_own() -> None:
    ids = [*(one.id for one in RULES), *WHYS]
    assert sorted(one.id for one in named(ids)) == sorted(ids)
    assert len({one.title for one in named(ids)}) == len(ids)
    assert title_of("finger-beside") == LESSON.title
    assert title_of("consecutive-fifths") == rule("consecutive-fifths").title
    assert title_of("no-such-rule") == "no-such-rule" and named(["no-such-rule"]) == ()


def test_what_to_work_on_next_names_a_cause_with_what_a_teacher_says(log: Path) -> None:
    with Journal.open(log) as journal:
        found = {one.name: one for one in next_work(journal, None, TODAY)}
    assert found["finger-beside"].kind == "cause"
    assert found["finger-beside"].reason.startswith("12 times in 24 chords")
    assert LESSON.advice.removesuffix(".") in found["finger-beside"].reason
    assert found["consecutive-fifths"].kind == "rule"


def test_the_terminal_and_json_name_causes(log: Path) -> None:
    shown = CliRunner().invoke(command, ["--log", str(log)])
    assert shown.exit_code == 0, shown.output
    said = " ".join(shown.output.split())
    assert LESSON.title in said and "finger-beside" not in said
    plain = json.loads(CliRunner().invoke(command, ["--log", str(log), "--json"]).output)
    next_up = {one["name"]: one for one in plain["next"]}
    assert next_up["finger-beside"]["title"] == LESSON.title
    assert LESSON.advice.removesuffix(".") in next_up["finger-beside"]["reason"]
    (cause, *_) = plain["takes"][0]["verdict"]["causes"]
    assert (cause["kind"], cause["explains"], cause["follow"]) == ("finger-beside", [0, 2], [3])


def test_the_page_of_a_player_and_of_a_class_explain_causes(log: Path) -> None:
    with Journal.open(log) as journal:
        pages = [review_page(journal, None, 2, NOW)]
        room = classroom(journal, open_material(Library()), (), TODAY)
        pages.append(class_page(room, NOW))
        assert LESSON.title in class_csv(room)
    for page in pages:
        document = html.document_fromstring(page)
        assert document.get_element_by_id("rule-finger-beside").text_content() == LESSON.advice
        links = document.xpath("//a[@href='#rule-finger-beside']")
        assert links and {one.text_content() for one in links} == {LESSON.title}
        assert not document.xpath("//a[@href='#rule-missing-third']"), "it is explained"
