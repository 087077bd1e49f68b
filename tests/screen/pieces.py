"""Pieces that are hard on a page."""

from __future__ import annotations

from pathlib import Path

from tests.engraving.pieces import hymn, piece
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise

EVENING = Path(__file__).with_name("evening-river.krn")
__all__ = ["eight_pages", "evening", "extremes", "hymn", "seven_flats"]


def evening() -> Exercise:
    """Two phrases in d minor, with raised notes, a six-four and a Phrygian turn."""
    return read_exercise(EVENING)


def eight_pages() -> Exercise:
    """Ninety-six bars of four chords."""
    return piece(
        "g4 a4 b4 c5 d5 c5 b4 a4 " * 48,
        "g3 f#3 g3 e3 b2 c3 g3 d3 " * 48,
        {},
        title="The long evening",
    )


def seven_flats() -> Exercise:
    """C flat major, its neighbours' notes doubly flat."""
    return piece(
        "eb5 fb5 gb5 eb5 abb4 gb4 fb4 eb4",
        "cb3 bb2 bbb2 abb2 fb2 gb2 gb2 cb3",
        {"1": "6", "2": "b6 bb5", "5": "6 4", "6": "b7"},
        key="Cb",
        title="Seven flats",
    )


def extremes() -> Exercise:
    """Ledger lines above and below, a close middle."""
    return piece(
        "e6 c6 a3 g3 c5 d5 e5:2",
        "c2 d2 c4 e4 c3 b2 c2:2",
        {"5": "6"},
        key="C",
        title="High and low",
    )
