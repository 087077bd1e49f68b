"""Pieces to engrave: written as a musician writes them down, `d5:1/2 _c5 r:2 a4^`."""

from __future__ import annotations

from fractions import Fraction

from trainer.score.exercise import Exercise, Note
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch


def voice(text: str) -> tuple[Note, ...]:
    """Notes in order: pitch or `r`, `:` length in quarters, `_` before tied, `^` fermata."""
    notes: list[Note] = []
    at = Fraction(0)
    for word in text.split():
        fermata, tied = word.endswith("^"), word.startswith("_")
        name, _, length = word.strip("^_").partition(":")
        duration = Fraction(length or 1)
        pitch = None if name == "r" else Pitch.parse(name)
        notes.append(Note(at, duration, pitch, tied, fermata))
        at += duration
    return tuple(notes)


def piece(
    melody: str,
    bass: str,
    figures: dict[str, str],
    key: str = "G",
    metre: tuple[int, int] = (4, 4),
    pickup: int = 0,
    alto: str = "",
    tenor: str = "",
    title: str = "An Evening Hymn",
) -> Exercise:
    return Exercise(
        id="evening",
        title=title,
        melody=voice(melody),
        bass=voice(bass),
        alto=voice(alto),
        tenor=voice(tenor),
        figures=tuple(
            (Fraction(onset), Figuring.parse(figures[onset]))
            for onset in sorted(figures, key=Fraction)
        ),
        keys=((Fraction(0), Key.parse(key)),),
        metres=((Fraction(0), Metre(*metre)),),
        tempo=60,
        pickup=Fraction(pickup),
    )


def hymn() -> Exercise:
    """A pick-up, two phrases of which the first ends within a bar, strokes, a suspension."""
    return piece(
        "d5 b4 c5 d5 e5 d5:1/2 c5:1/2 b4 a4:2^ d5 e5 c5 b4 a4 b4 a4 g4^",
        "g3 g3 a3 b3 c4 b3 g3 d3:2^ b2 c3 e3 g3 f#3 g3 d3 g2^",
        {"2": "6", "3": "6", "5": "6", "9": "6", "10": "6 5", "12": "6", "14": "4", "29/2": "3"},
        pickup=1,
    )
