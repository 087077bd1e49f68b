"""Random exercises, musical in form if not in sense, for properties of files and transposition."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from trainer.score.exercise import Exercise, Note
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch, PitchName

KEYS = [
    Key.of(PitchName.parse(final), mode)
    for mode, finals in {
        "major": "c g d a e b f# f bb eb ab db gb",
        "minor": "a e b f# c# g# d g c f bb eb",
        "dorian": "d g a c",
        "phrygian": "e a b",
        "mixolydian": "g d c",
        "lydian": "f c",
        "aeolian": "a d",
    }.items()
    for final in finals.split()
]
METRES = [Metre(4, 4), Metre(3, 4), Metre(2, 2), Metre(3, 2), Metre(6, 8), Metre(2, 4)]
_FIGURINGS = r"""
6 | 6 5 | 4 3 | 6 4 2 | 4+ 2 | #6 | 6# | b5 | 5b | n | # | b | 7 #3 | 9 7 | 6/ | 5\ | 7 n5 | ##
bb7 | _ | t.s. | unis. | 5 3 | 9 b7 4 | 4/ 3 | 10 8 | 2 | 6 4 | 5 #
"""
FIGURINGS = [
    Figuring.parse(text) for line in _FIGURINGS.strip().splitlines() for text in line.split(" | ")
]
_WORDS = st.text(
    alphabet=st.characters(codec="utf-8", categories=("L", "N", "P")), min_size=1, max_size=8
)
_PLAIN_TEXT = st.lists(_WORDS, min_size=1, max_size=4).map(" ".join)
_TAG = _WORDS.filter(lambda word: "," not in word)


@st.composite
def exercises(
    draw: st.DrawFn,
    *,
    plain: bool = False,
    solution: bool | None = None,
    figurings: list[Figuring] | None = None,
) -> Exercise:
    """`plain`: one key, one metre, nothing a foreign format has no word for."""
    metre = draw(st.sampled_from(METRES))
    bar = metre.bar_length
    pickup = draw(st.sampled_from([Fraction(0), metre.beat_length])) if bar > 1 else Fraction(0)
    pickup = pickup if pickup < bar else Fraction(0)
    metres, keys = [(Fraction(0), metre)], [(Fraction(0), draw(st.sampled_from(KEYS)))]
    lengths = [pickup] if pickup else []
    at = pickup
    for number in range(draw(st.integers(1, 4))):
        if not plain and number and draw(st.booleans()):
            metre = draw(st.sampled_from(METRES))
            if metre != metres[-1][1]:
                metres.append((at, metre))
        if not plain and number and draw(st.booleans()):
            keys.append((at, draw(st.sampled_from(KEYS))))
        lengths.append(metre.bar_length)
        at += metre.bar_length
    has_solution = draw(st.booleans()) if solution is None else solution
    bass = draw(_voice(lengths, 2, 3))
    melody = draw(_voice(lengths, 4, 5)) if has_solution or draw(st.booleans()) else ()
    figures = {}
    for note in bass:
        if note.pitch is None or note.tied:
            continue
        parts = draw(st.sampled_from([1, 1, 1, 2, 3] if note.duration >= 1 else [1]))
        for part in range(parts):
            if draw(st.booleans()):
                onset = note.onset + note.duration * Fraction(part, parts)
                figures[onset] = draw(st.sampled_from(figurings or FIGURINGS))
    return Exercise(
        id=draw(st.from_regex(r"[a-z][a-z-]{0,12}", fullmatch=True)),
        title=draw(_PLAIN_TEXT),
        bass=bass,
        figures=tuple(sorted(figures.items(), key=lambda item: item[0])),
        keys=tuple(keys),
        metres=tuple(metres),
        tempo=draw(st.sampled_from([40.0, 54.0, 60.0, 72.5, 96.0, 66.1])),
        melody=melody,
        alto=draw(_voice(lengths, 4, 4)) if has_solution else (),
        tenor=draw(_voice(lengths, 3, 3)) if has_solution else (),
        pickup=pickup,
        level=draw(st.integers(0, 24)),
        tags=tuple(draw(st.lists(_TAG, max_size=3))),
        tune=draw(st.one_of(st.just(""), _PLAIN_TEXT)),
        commentary=tuple(draw(st.lists(_PLAIN_TEXT, max_size=2))),
        struck_five_is_diminished=draw(st.booleans()),
    )


@st.composite
def _voice(draw: st.DrawFn, lengths: list[Fraction], low: int, high: int) -> tuple[Note, ...]:
    notes: list[Note] = []
    at = Fraction(0)
    for length in lengths:
        end = at + length
        while at < end:
            rest = end - at
            choices = [Fraction(n, 4) for n in (2, 3, 4, 6, 8, 12, 16) if Fraction(n, 4) <= rest]
            duration = draw(st.sampled_from(choices)) if choices else rest
            before = notes[-1] if notes else None
            tied = before is not None and before.pitch is not None and draw(st.integers(0, 5)) == 0
            pitch = None
            if tied and before is not None:
                pitch = before.pitch
            elif draw(st.integers(0, 9)):
                pitch = Pitch(
                    draw(st.integers(0, 6)),
                    draw(st.sampled_from([0, 0, 0, 1, -1])),
                    draw(st.integers(low, high)),
                )
            notes.append(Note(at, duration, pitch, tied, draw(st.integers(0, 7)) == 0))
            at += duration
    if all(note.pitch is None for note in notes):
        notes[0] = replace(notes[0], pitch=Pitch(0, 0, low))
    return tuple(notes)
