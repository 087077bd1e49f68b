"""The rule of the octave and the inversions of chords against music21's Roman numerals.

The scale with its figures is the version of general reference works (J. Hiles; F. Fenaroli,
1775, from memory). Which chord each figuring is, is asked of `music21.roman.RomanNumeral`, which
knows nothing of figured bass: the notes of both must be the same, bass included.
"""

from __future__ import annotations

import pytest
from music21 import key as music21_key
from music21 import roman

from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch, PitchName
from trainer.theory.sonority import sonority

MAJOR = ("C", "G", "D", "A", "E", "F", "Bb", "Eb", "Ab", "B", "Db", "F#")
MINOR = ("a", "e", "b", "f#", "c#", "d", "g", "c", "f", "bb", "g#", "eb")

# degree, figuring, chord
UP_MAJOR = (
    (1, "5 3", "I"),
    (2, "6 4 3", "V43"),
    (3, "6", "I6"),
    (4, "6 5", "ii65"),
    (5, "5 3", "V"),
    (6, "6", "IV6"),
    (7, "6 5", "V65"),
    (1, "5 3", "I"),
)
DOWN_MAJOR = (
    (7, "6", "V6"),
    (6, "6/ 4 3", "V43/V"),
    (5, "5 3", "V"),
    (4, "6 4 2", "V42"),
    (3, "6", "I6"),
    (2, "6 4 3", "V43"),
)
INVERSIONS = (
    (5, "7", "V7"),
    (2, "7", "ii7"),
    (4, "7", "IV7"),
    (5, "6 4", "I64"),
    (7, "4 2", "I42"),
    (7, "6", "V6"),
    (2, "6", "viio6"),
    (3, "7", "iii7"),
)
# in minor the seventh degree is raised wherever it leads: `#` stands for that accidental
UP_MINOR = (
    (1, "5 3", "i"),
    (2, "# 6 4 3", "V43"),
    (3, "6", "i6"),
    (4, "6 5", "iiø65"),
    (5, "# 3", "V"),
    (7, "6 5", "V65"),
    (1, "5 3", "i"),
)
DOWN_MINOR = ((7, "6", "v6"), (6, "6", "iv6"), (4, "# 4 2", "V42"), (3, "6", "i6"))


def chord_of(numeral: str, key: Key) -> tuple[PitchName, set[PitchName]]:
    """Bass and all notes of a Roman numeral."""
    final = str(key.final)
    name = final[0] + final[1:].replace("b", "-")
    tonic = name.upper() if key.mode == "major" else name
    found = roman.RomanNumeral(numeral, music21_key.Key(tonic[0] + tonic[1:].lower()))
    names = [
        PitchName.parse(p.name[0].lower() + p.name[1:].replace("-", "b")) for p in found.pitches
    ]
    return names[0], set(names)


def played(bass: PitchName, figuring: str, key: Key) -> set[PitchName]:
    found = sonority(Pitch(bass.step, bass.alter, 3), Figuring.parse(figuring), key)
    return {found.name(number) for number in found.completions[0]} | {bass}


def raised(figuring: str, bass: PitchName, key: Key) -> str:
    """`# 6 4 3` as it is written in a key: the accidental of the leading tone at its figure."""
    if not figuring.startswith("#"):
        return figuring
    leading = key.leading_tone
    number = (leading.step - bass.step) % 7 + 1
    sign = {-1: "b", 0: "n", 1: "#", 2: "##"}[leading.alter]
    words = figuring.removeprefix("# ").split()
    if number == 3 and words == ["3"]:
        return sign
    signed = [sign + word if int(word) == number else word for word in words]
    return " ".join(signed) if str(number) in words else " ".join([f"{sign}{number}", *words])


@pytest.mark.parametrize("name", MAJOR)
def test_major_up_down_and_inverted(name: str) -> None:
    key = Key.parse(name)
    for degree, figuring, numeral in (*UP_MAJOR, *DOWN_MAJOR, *INVERSIONS):
        bass, notes = chord_of(numeral, key)
        assert bass == key.note(degree), numeral
        assert played(bass, figuring, key) == notes, numeral


@pytest.mark.parametrize("name", MINOR)
def test_minor_with_its_raised_and_lowered_degrees(name: str) -> None:
    key = Key.parse(name)
    for degree, figuring, numeral in (*UP_MINOR, *DOWN_MINOR):
        bass, notes = chord_of(numeral, key)
        assert bass.step == key.note(degree).step, numeral
        assert played(bass, raised(figuring, bass, key), key) == notes, numeral
