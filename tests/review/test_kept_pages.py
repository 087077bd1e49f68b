"""Pieces engraved once are kept in the cache folder, and a page made with them is the page made
without."""

from __future__ import annotations

import os
import re
import shutil
from datetime import datetime
from pathlib import Path

import pytest

from tests.review.scenario import ADA, BEN, FIRST_DAY, NAMES, played
from trainer.folders import cache_folder
from trainer.journal.remark import remark
from trainer.journal.store import Journal
from trainer.journal.writer import Writer
from trainer.judging.passes import judge
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict
from trainer.review import kept_pages
from trainer.review.review_page import review_page
from trainer.score.library import Library

NOW = datetime.fromisoformat("2026-03-20T12:00:00+01:00")


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """The same piece played by two, one with wrong notes."""
    piece = Library().find("bellows")
    path = tmp_path / "log.sqlite"
    with Writer(path) as writer:
        for id, name in NAMES.items():
            writer.player(id, name)
        for player, slips in ((ADA, ()), (BEN, ("wrong", "wrong", "fifths"))):
            take = played(piece, 60.0, player, FIRST_DAY, 3, slips)  # type: ignore[arg-type]
            writer.end(writer.begin(take), take, judge(take))
    return path


def page(log: Path, player: str | None) -> str:
    """As another process would make it: what this one has in memory is forgotten."""
    kept_pages.engraved.cache_clear()
    kept_pages._made_by.cache_clear()
    with Journal.open(log, write=False) as journal:
        who = None if player is None else journal.player(player)
        return review_page(journal, who, 10, NOW)


def kept() -> list[Path]:
    return sorted((cache_folder() / "engraved").glob("*"))


def no_engraver(monkeypatch: pytest.MonkeyPatch) -> None:
    def engrave(*_: object, **__: object) -> None:
        raise AssertionError("engraved anew")

    monkeypatch.setattr(kept_pages, "engrave_systems", engrave)


def test_a_page_of_kept_pieces_is_the_page_made_without(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = page(log, None)
    assert len(kept()) == 1
    no_engraver(monkeypatch)
    assert page(log, None) == first


def sheets(text: str) -> list[str]:
    return re.findall(r"<svg[^>]*viewBox.*?</svg>", text, re.DOTALL)


def test_nobody_is_shown_the_notes_of_another(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    adas, bens = sheets(page(log, ADA)), sheets(page(log, BEN))
    shutil.rmtree(cache_folder() / "engraved")
    alone = sheets(page(log, BEN))
    no_engraver(monkeypatch)
    assert bens == alone == sheets(page(log, BEN))
    assert [len(one) for one in adas] != [len(one) for one in bens]


def test_by_other_rules_other_marks_are_drawn(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = page(log, BEN)

    def lenient(take: Take) -> PassVerdict:
        from dataclasses import replace

        return replace(judge(take), faults=(), causes=())

    with Journal.open(log) as journal:
        assert remark(journal, lenient, 10_000).changed
    no_engraver(monkeypatch)
    after = page(log, BEN)
    numbers = re.compile(r'class="number"|<li class="comment|var\(--mark\)')
    assert len(numbers.findall("".join(sheets(after)))) < len(
        numbers.findall("".join(sheets(before)))
    )
    shutil.rmtree(cache_folder() / "engraved")
    monkeypatch.undo()
    assert page(log, BEN) == after


@pytest.mark.parametrize("damage", ["cut", "changed", "foreign", "not text", "a folder"])
def test_a_kept_piece_that_is_damaged_is_engraved_anew(log: Path, damage: str) -> None:
    first = page(log, ADA)
    (path,) = kept()
    whole = path.read_bytes()
    path.unlink()
    match damage:
        case "cut":
            path.write_bytes(whole[:-100])
        case "changed":
            path.write_bytes(whole.replace(b"stroke", b"strike", 1))
        case "foreign":
            path.write_bytes(b"{}")
        case "not text":
            path.write_bytes(os.urandom(4000))
        case _:
            path.mkdir()
    assert page(log, ADA) == first
    if damage != "a folder":
        assert path.read_bytes() == whole


@pytest.mark.parametrize("what", ["__version__", "SPACE"])
def test_what_another_program_or_another_size_made_is_not_used(
    log: Path, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    page(log, ADA)
    if what == "SPACE":
        monkeypatch.setattr(kept_pages, "SPACE", 7.0)
    else:
        monkeypatch.setattr("trainer.__version__", "0.0.1")
    page(log, ADA)
    assert len(kept()) == 2


def test_so_many_pieces_are_kept_and_the_longest_unused_go(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(kept_pages, "PIECES", 2)
    library = Library()
    one, two, three = (library.find(f"triads-common-tones@{key}") for key in "CDE")

    def made(*pieces: object) -> None:
        for piece in pieces:
            kept_pages.engraved.cache_clear()
            kept_pages.engraved(piece, None)  # type: ignore[arg-type]

    made(one, two)
    for at, path in enumerate(kept()):
        os.utime(path, (1000 + at, 1000 + at))
    made(one)  # wanted once more
    made(three)
    assert len(kept()) == 2
    no_engraver(monkeypatch)
    made(one, three)
    with pytest.raises(AssertionError, match="anew"):
        made(two)
