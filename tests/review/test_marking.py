"""A marked piece as page, paper and MusicXML; a folder of homework; a take."""

from __future__ import annotations

import json
import random
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import music21
import pytest
from click.testing import CliRunner
from lxml import etree, html

from tests.engraving.page_readback import as_played
from tests.review.scenario import ADA, FIRST_DAY, played
from trainer.commands.assess import command
from trainer.journal.store import Journal
from trainer.judging.assessment import assess
from trainer.judging.causes import cause_in_words
from trainer.judging.passes import judge
from trainer.resources import exercises_folder
from trainer.review.marking import written_out
from trainer.review.sheet import take_sheet
from trainer.score.kern import write_exercise
from trainer.score.library import Library
from trainer.score.patterns import every_key, expand, load_patterns
from trainer.theory.realize.solver import Solver


@pytest.fixture(scope="module")
def homework(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three realizations, one with faults, and a file that is none."""
    folder = tmp_path_factory.mktemp("homework")
    for name, slips in (("bellows", ("fifths", "wrong")), ("candle-ends", ()), ("dundee", ())):
        exercise = Library().find(name)
        take = played(exercise, 60.0, ADA, FIRST_DAY, 3, slips)
        out = replace(written_out(exercise, judge(take)), id=name)
        (folder / f"{name}.krn").write_text(write_exercise(out), encoding="utf-8")
    (folder / "letter.xml").write_text("Dear teacher")
    return folder


def test_written_out_a_drill_has_the_top_that_was_played() -> None:
    """Its melody gives one note; where that rests, the top is the player's."""
    patterns = load_patterns(exercises_folder() / "patterns")
    drill = expand(patterns["cadence-4-3"], every_key()[5], "third")
    voicings = Solver(drill.moments).best(1)[0].voicings
    verdict = as_played(drill, voicings, random.Random(1), wild=0.0)
    out = written_out(drill, verdict)
    tops = [v.soprano for v in voicings]
    assert [n.pitch for n in out.melody if not n.tied] == tops and tops[0] == drill.melody[0].pitch
    assert out.length == drill.length


def test_a_marked_piece_is_a_page_a_paper_and_a_score(homework: Path, tmp_path: Path) -> None:
    file = homework / "bellows.krn"
    outputs = [tmp_path / f"out.{kind}" for kind in ("html", "pdf", "musicxml")]
    named = [part for out in outputs for part in (f"--{out.suffix[1:]}", str(out))]
    done = CliRunner().invoke(command, [str(file), *named])
    assert done.exit_code == 1, done.output  # gross faults were found
    found = assess(file)
    faults = found.verdict.faults
    page = html.document_fromstring(outputs[0].read_text(encoding="utf-8"))
    comments = page.xpath("//ol[@class='comments']/li")
    assert len(comments) == len(faults)
    for comment, fault in zip(comments, faults, strict=True):
        assert fault.text in comment.text_content() and fault.weight in comment.text_content()
    named_rules = {a.get("href").removeprefix("#rule-") for a in page.xpath("//ol//a")}
    assert named_rules == {fault.rule for fault in faults}
    assert all(page.get_element_by_id(f"rule-{rule}") is not None for rule in named_rules)
    assert page.xpath("//div[@class='system']") and not page.xpath("//button")


def test_the_paper_has_the_same_sentences(homework: Path, tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here: install poppler-utils")
    pdf = tmp_path / "out.pdf"
    CliRunner().invoke(command, [str(homework / "bellows.krn"), "--pdf", str(pdf)])
    text = subprocess.run(["pdftotext", pdf, "-"], capture_output=True, text=True, check=True)
    words = " ".join(text.stdout.split())
    for fault in assess(homework / "bellows.krn").verdict.faults:
        assert " ".join(fault.text.split()) in words


def test_the_musicxml_has_a_word_for_each_fault_where_it_is_heard(
    homework: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.musicxml"
    CliRunner().invoke(command, [str(homework / "bellows.krn"), "--musicxml", str(out)])
    found = assess(homework / "bellows.krn")
    score = music21.converter.parse(out)  # reads MusicXML independently of us
    words = [
        (text.content, text.getOffsetInHierarchy(score))
        for text in score.recurse().getElementsByClass("TextExpression")
    ]
    assert len(words) == len(found.verdict.faults)
    for number, fault in enumerate(found.verdict.faults, 1):
        onset = fault.onset
        if onset is None:
            onset = found.exercise.moments[fault.moments[-1]].onset
        (offset,) = [at for text, at in words if text.startswith(f"{number} ")]
        assert offset == pytest.approx(float(onset))
    assert len(etree.parse(out).findall(".//part")) == 4


def test_a_folder_of_homework_gives_a_table_and_a_page_each(homework: Path, tmp_path: Path) -> None:
    out = tmp_path / "marked"
    done = CliRunner().invoke(command, [str(homework), "--html", str(out), "--json"])
    assert done.exit_code == 1
    told = {Path(one["file"]).name: one for one in json.loads(done.stdout)["files"]}
    assert "trouble" in told["letter.xml"]
    for name in ("bellows", "candle-ends", "dundee"):
        verdict = assess(homework / f"{name}.krn").verdict
        gross = sum(fault.weight == "gross" for fault in verdict.faults)
        assert told[f"{name}.krn"]["gross"] == gross
        assert told[f"{name}.krn"]["chords"] == verdict.harmony.judged
    index = html.document_fromstring((out / "index.html").read_text(encoding="utf-8"))
    links = [a.get("href") for a in index.xpath("//td//a")]
    assert len(links) == 3 and all((out / link).is_file() for link in links)
    assert "letter.xml" in index.text_content()


def test_a_folder_without_scores_is_one_line(tmp_path: Path) -> None:
    done = CliRunner().invoke(command, [str(tmp_path)])
    assert done.exit_code != 0 and "there is no score in" in str(done.exception)


def test_a_take_gives_the_same_pages_and_can_be_played(season_log: Path, tmp_path: Path) -> None:
    with Journal.open(season_log, write=False) as journal:
        take = next(one for one in journal.takes(ADA) if one.movement.weak or one.movement.gross)
    outputs = [tmp_path / f"take.{kind}" for kind in ("html", "pdf", "musicxml")]
    named = [part for out in outputs for part in (f"--{out.suffix[1:]}", str(out))]
    done = CliRunner().invoke(command, [take.id[:10], "--log", str(season_log), *named])
    assert done.exit_code in (0, 1), done.output
    page = html.document_fromstring(outputs[0].read_text(encoding="utf-8"))
    assert page.xpath("//button[@class='play']")
    assert outputs[1].read_bytes().startswith(b"%PDF")
    assert music21.converter.parse(outputs[2]).parts


def test_a_place_that_cannot_be_written_is_one_line(homework: Path, tmp_path: Path) -> None:
    target = tmp_path / "no" / "such" / "out.html"
    done = CliRunner().invoke(command, [str(homework / "dundee.krn"), "--html", str(target)])
    assert "cannot be written" in str(done.exception) and "\n" not in str(done.exception)


def test_a_take_is_handed_back_with_the_causes_of_what_is_wrong() -> None:
    exercise = Library().find("bellows")
    take = played(exercise, 60.0, ADA, FIRST_DAY, 3, ("wrong",))
    verdict = judge(take)
    found = verdict.told
    assert any(cause.kind == "finger-beside" for cause in found)
    sheet = take_sheet("take", take, exercise, verdict)
    said = [one for one in sheet.comments if one.number]
    assert [one.number for one in said] == list(range(1, len(found) + 1))
    assert [one.text for one in said] == [cause_in_words(one, verdict) for one in found]
    assert [one.moment for one in said] == [one.moment for one in found]
