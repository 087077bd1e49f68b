"""The table of causes: what each is called, what a teacher says to it, an example.

Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from trainer.judging.verdict import Why


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is written and what is played, a chord after the other: `figurings` one each, in a key;
    chords as notes, bass first; `right` are chords that would have been. A note of `bass` and
    `melody` that goes on is `held`."""

    key: str
    figurings: tuple[str, ...]
    bass: str
    melody: str
    played: tuple[str, ...]
    right: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lesson:
    """What a cause is called, what a teacher says to it, and an example of it."""

    title: str
    advice: str
    example: Mistake


LESSONS: Mapping[Why, Lesson] = {
    "bass-alone": Lesson(
        "Only what is written",
        "Nothing stood between or over what is printed. Let the hand find its chord before the "
        "beat, then let both fall together; slower, if it comes too late.",
        Mistake("C", ("6",), "e3", "c5", ("e3 c5",), ("e3 c4 g4 c5",)),
    ),
    "held-on": Lesson(
        "The chord before was not left",
        "Where a figure changes over a bass that stays, one voice at least has to move. Read one "
        "figure ahead.",
        Mistake(
            "C",
            ("4", "3"),
            "g3 held",
            "g4 held",
            ("g3 c4 d4 g4", "g3 c4 d4 g4"),
            ("g3 c4 d4 g4", "g3 b3 d4 g4"),
        ),
    ),
    "accidental-forgotten": Lesson(
        "A forgotten accidental",
        "An accidental holds for the interval it stands beside; alone it is the third's. What is "
        "altered in the bass or the melody is altered in the other voices too.",
        Mistake("a", ("#",), "e3", "b4", ("e3 e4 g4 b4",), ("e3 e4 g#4 b4",)),
    ),
    "finger-beside": Lesson(
        "One finger beside its key",
        "All the other fingers lay right. Strike the chord once more without looking, and feel "
        "how far it is to the next finger.",
        Mistake("C", ("",), "c3", "c5", ("c3 e4 a4 c5",), ("c3 e4 g4 c5",)),
    ),
    "figure-not-read": Lesson(
        "A figure not read",
        "The plain triad stands where no figure does. Say the figures aloud before the hand moves.",
        Mistake("C", ("6",), "e3", "g4", ("e3 b3 e4 g4",), ("e3 g3 c4 g4",)),
    ),
    "bass-misread": Lesson(
        "The bass misread",
        "The chord fits the bass that was played, not the one that is written. Name the notes of "
        "the bass once through without playing.",
        Mistake("C", ("",), "c3", "g4", ("e3 b3 e4 g4",), ("c3 e4 g4 g4",)),
    ),
    "hand-shifted": Lesson(
        "The hand beside its place",
        "The shape of the hand was right, its place was not: every finger lay as far from its key "
        "as the others. See where one of them has to go, and the rest will follow.",
        Mistake("C", ("",), "c3", "c5", ("c3 f4 a4 d5",), ("c3 e4 g4 c5",)),
    ),
    "an-octave-away": Lesson(
        "A given voice an octave away",
        "The harmony is right. The distance between the outer voices is part of what the middle "
        "has to fill; where a keyboard is too short, the settings move a hand by octaves.",
        Mistake(
            "C",
            ("", "", ""),
            "c3 f3 g3",
            "g4 a4 g4",
            ("c2 e4 g4 g4", "f2 c4 f4 a4", "g2 b3 d4 g4"),
            ("c3 e4 g4 g4", "f3 c4 f4 a4", "g3 b3 d4 g4"),
        ),
    ),
}


def lesson_of(id: str) -> Lesson | None:
    """The lesson of a cause; None for what is none."""
    return next((lesson for why, lesson in LESSONS.items() if why == id), None)
