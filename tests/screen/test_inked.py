"""The staff of the tenor is the same while a page is played, after the pass and when marked."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import cast

import pytest

from tests.engraving.marks_demo import fault, pitches, verdict_of
from tests.engraving.page_readback import as_played
from tests.engraving.pieces import piece
from trainer.engraving.ink import Stroke
from trainer.engraving.marks import played, times_and_marks
from trainer.engraving.page import engrave_systems
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.screen.sheet.board import Board
from trainer.screen.sheet.engraver import Engraver
from trainer.screen.sheet.inked import Inked
from trainer.theory.voicing import Voicing

PIECE = piece("c5 d5 e5 d5^ g5 f5 g5:2^", "c3 b2 c3 g2 e3 d3 c3:2", {}, key="C")
# the first phrase begins above middle c and lies below as a whole, the second the other way round
MIDDLES = ["g4 e4", "g4 g3", "g4 g3", "g4 g3", "e5 b3", "d5 a4", "e5 c5"]


VOICINGS = ["e5 g4 c4 c3", "f5 a4 d4 d3", "g5 b4 e4 e3"]


@pytest.fixture
def inked() -> Inked:
    pages = engrave_systems(PIECE, 900)
    board = Board(cast(Engraver, None), systems=tuple(page.geometry for page in pages))
    return Inked(board, PIECE, Judge(PIECE, Conditions()).sonorities, Conditions().tolerance)


def above(inked: Inked) -> list[bool]:
    return [
        note.upper
        for _, column in sorted(inked.columns.items())
        for note in column.notes
        if note.voice == "tenor"
    ]


def test_while_a_phrase_goes_on_its_first_tenor_note_decides_and_nothing_moves(
    inked: Inked,
) -> None:
    seen = []
    for verdict in verdict_of(PIECE, MIDDLES, []).moments:
        inked.add(verdict, [])
        seen.append(above(inked))
    assert all(later[: len(seen[n])] == seen[n] for n, later in enumerate(seen[1:]))
    assert seen[-1] == [True] * 4 + [False] * 3


def test_after_the_pass_every_note_stands_where_it_was_written(inked: Inked) -> None:
    whole = verdict_of(PIECE, MIDDLES, [])
    for verdict in whole.moments:
        inked.add(verdict, [])
    live = inked.notes()
    inked.replace(whole.moments, [])
    assert inked.notes() == live


def test_the_marked_page_has_it_as_it_was_written(inked: Inked) -> None:
    whole = verdict_of(PIECE, MIDDLES, [])
    for verdict in whole.moments:
        inked.add(verdict, [])
    (page, *more) = engrave_systems(PIECE, 900)
    assert not more
    assert played(PIECE, page.geometry, whole.moments) == dict(inked.columns)


def test_who_begins_again_from_a_moment_finds_what_is_before_as_it_was(inked: Inked) -> None:
    inked.replace(verdict_of(PIECE, MIDDLES, []).moments, [])
    inked.drop_from(6)
    assert above(inked) == [True] * 4 + [False] * 2


def test_a_top_that_becomes_free_is_written_as_it_is_played() -> None:
    """A drill gives the first top note and rests: from there on it is the player's."""
    drill = piece("e5 r r", "c3 d3 e3", {}, key="C")
    pages = engrave_systems(drill, 900)
    board = Board(cast(Engraver, None), systems=tuple(page.geometry for page in pages))
    inked = Inked(board, drill, Judge(drill, Conditions()).sonorities, Conditions().tolerance)
    struck = inked.wet(1, pitches("f5 a4 d4"), frozenset())
    assert struck is not None
    stems = [d for d in struck.drawings if isinstance(d, Stroke) and d.x1 == d.x2]
    assert len(stems) == 2, "the top on its own, alto and tenor on one"
    whole = as_played(drill, [Voicing(*pitches(v)) for v in VOICINGS], random.Random(0), wild=0)
    for verdict in whole.moments:
        inked.add(verdict, [])
    written = {m: [str(n.pitch) for n in c.notes] for m, c in inked.columns.items()}
    assert written == {0: ["g4", "c4"], 1: ["f5", "a4", "d4"], 2: ["g5", "b4", "e4"]}


@pytest.mark.parametrize(
    ("struck", "on_lower"),
    [("e4 g3", 1), ("e4 d4 g3", 1), ("g3", 1), ("e4", 0)],
)
def test_of_notes_not_assigned_yet_the_lowest_is_the_tenor(
    inked: Inked, struck: str, on_lower: int
) -> None:
    written = inked.wet(0, pitches(struck), frozenset())
    assert written is not None
    bass = inked.board.systems[0].systems[0].bass
    heads = [d for d in written.drawings if getattr(d, "code", 0) == 0xE0A4]
    assert len(heads) == len(struck.split())
    assert len([head for head in heads if head.y > bass - 3 * 8]) == on_lower


LONG = piece("c5 d5 e5 d5 " * 12, "c3 b2 c3 g2 " * 12, {}, key="C")
ALL_OVER = [fault("foreign-note", "gross", (at,), "at", "g4 e4") for at in range(len(LONG.moments))]


@pytest.fixture
def long() -> Inked:
    pages = engrave_systems(LONG, 700)
    assert len(pages) > 2
    board = Board(cast(Engraver, None), systems=tuple(page.geometry for page in pages))
    return Inked(board, LONG, Judge(LONG, Conditions()).sonorities, Conditions().tolerance)


def test_what_is_written_on_a_system_is_what_is_written_where_it_stands_alone(long: Inked) -> None:
    """Notes of another system, whose places are counted from its own corner, are in nobody's
    way."""
    late = [
        replace(one, late_ms=400.0, late_beats=0.4)
        for one in verdict_of(LONG, ["g4 e4", "g5 f4", "g4 e4", "g4 b3"] * 12, []).moments
    ]
    verdict = replace(verdict_of(LONG, [], ALL_OVER), moments=tuple(late))
    long.replace(late, ALL_OVER)
    for system, geometry in enumerate(long.board.systems):
        columns = played(LONG, geometry, late)
        times, marks = times_and_marks(LONG, geometry, verdict, columns, long.tolerance)
        drawn = [d for time in times for d in time.drawings]
        assert [d for one in long.times() if one.system == system for d in one.drawings] == drawn
        drawn = [d for mark in marks for d in mark.drawings]
        assert [d for one in long.marks() if one.system == system for d in one.drawings] == drawn


def test_a_moment_that_is_over_is_marked_without_drawing_the_other_systems_anew(
    long: Inked,
) -> None:
    verdicts = verdict_of(LONG, ["g4 e4"] * len(LONG.moments), []).moments
    for verdict, one in zip(verdicts[:-1], ALL_OVER, strict=False):
        long.add(verdict, [one])
    before = {id(one.drawings) for one in (*long.marks(), *long.times()) if one.system == 0}
    long.add(verdicts[-1], ALL_OVER[-1:])
    after = {id(one.drawings) for one in (*long.marks(), *long.times()) if one.system == 0}
    assert before == after
    assert {one.system for one in long.marks()} == {*range(len(long.board.systems))}


def test_notes_that_are_down_are_written_once_and_anew_when_something_is_written_before_them(
    inked: Inked,
) -> None:
    """After an a flat in the same bar the a needs its natural; before it, none."""
    down = pitches("a4")
    alone = inked.wet(2, down, frozenset())
    assert alone is not None and inked.wet(2, down, frozenset()) is alone
    verdict = verdict_of(PIECE, ["g4 e4", "ab4 g3"], []).moments[1]
    inked.add(verdict, [])
    after = inked.wet(2, down, frozenset())
    assert after is not None and len(after.drawings) > len(alone.drawings)
