"""What came from outside stays words: names, titles, sentences of merged logs."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from lxml import html

from tests.review.browser import Browser
from tests.review.scenario import FIRST_DAY, played
from trainer.journal.store import Journal
from trainer.journal.writer import Writer
from trainer.judging.passes import judge
from trainer.review.review_page import review_page
from trainer.score.library import Library
from trainer.theory.fault import Fault

HOSTILE = (
    """"'><script>window.hurt=1</script><img src=x onerror="window.hurt=2"></script>&amp;{{7*7}}"""
)
NOW = datetime.fromisoformat("2026-03-20T12:00:00+01:00")


def hostile_log(path: Path) -> None:
    """A take whose every text tries to be more than text."""
    exercise = replace(
        Library().find("bellows"), title=HOSTILE, id="x-" + HOSTILE, commentary=(HOSTILE,)
    )
    with Writer(path) as writer:
        writer.player("0" * 32, HOSTILE)
        take = replace(
            played(exercise, 60.0, "0" * 32, FIRST_DAY, 1), exercise_id=HOSTILE, port=HOSTILE
        )
        verdict = judge(take)
        said = Fault("no-such-rule" + HOSTILE[:40], "gross", (1, 2), ("soprano",), (), HOSTILE)
        writer.end(writer.begin(take), take, replace(verdict, faults=(said, *verdict.faults)))


def test_foreign_words_stay_words(tmp_path: Path, browser: Browser) -> None:
    hostile_log(tmp_path / "log.sqlite")
    with Journal.open(tmp_path / "log.sqlite") as journal:
        text = review_page(journal, journal.players()[0], 5, NOW)
    page = html.document_fromstring(text)
    assert HOSTILE in page.xpath("//h1")[0].text_content()
    assert page.xpath("//img") == []
    assert len([s for s in page.xpath("//script") if s.get("type") != "application/json"]) == 1
    assert page.xpath("//*[@onerror or @onclick or @onload]") == []
    assert "49" not in page.xpath("//h1")[0].text_content()
    file = tmp_path / "review.html"
    file.write_text(text, encoding="utf-8")
    browser.open(file)
    browser.complaints()
    browser.open(file)
    assert browser.run("return window.hurt === undefined")
    assert browser.complaints() == []
    browser.click("button.play")
    browser.click("button.play")
    assert browser.complaints() == []
