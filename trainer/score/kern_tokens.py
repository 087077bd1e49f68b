"""The words of the native file: notes, keys, metres and figurings as Humdrum tokens, both ways.

Source: the Humdrum representations `**kern` and `**fb` and their tandem interpretations.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from trainer.errors import ExerciseError, FigureError, PitchError
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import LETTERS, Pitch, PitchName

_NOTE = re.compile(
    r"(?P<open>\[?)(?P<recip>\d{1,4}(?:%\d{1,4})?)(?P<dots>\.{0,3})"
    r"(?P<name>r|c+|d+|e+|f+|g+|a+|b+|C+|D+|E+|F+|G+|A+|B+)(?P<sign>#{1,3}|-{1,3}|n)?"
    r"(?P<fermata>;?)(?P<close>[\]_]?)(?P<late_fermata>;?)"
)
_SIGNATURE = re.compile(r"\*k\[((?:[a-g][#-])*)\]")
_KEY = re.compile(r"\*([a-gA-G])([#-]?):(dor|phr|lyd|mix|aeo)?")
_METRE = re.compile(r"\*M(\d{1,2})/(\d{1,2})")
_SHARPS = ("f#", "c#", "g#", "d#", "a#", "e#", "b#")
_FLATS = ("b-", "e-", "a-", "d-", "g-", "c-", "f-")
_MODES = {"dor": "dorian", "phr": "phrygian", "lyd": "lydian", "mix": "mixolydian"} | {
    "aeo": "aeolian"
}
_UPPER = ("major", "lydian", "mixolydian")  # Humdrum capitals: a major third above the final


@dataclass(frozen=True, slots=True)
class NoteToken:
    """One `**kern` note or rest; `tied_in` and `tied_out` say whether a tie leads in and on."""

    duration: Fraction
    pitch: Pitch | None
    tied_in: bool = False
    tied_out: bool = False
    fermata: bool = False


@lru_cache(maxsize=4096)
def read_note(token: str) -> NoteToken:
    """Read `4.f#`, `[2G`, `2G_`, `2G];`, `4r`; raises ExerciseError."""
    match = _NOTE.fullmatch(token)
    if match is None:
        raise ExerciseError(
            f"{shown(token)} is not a note of the native file",
            remedy="write length, letter, accidental, tie, fermata, like 4.f#; or [2GG",
        )
    duration = _duration(match["recip"], len(match["dots"]))
    fermata = bool(match["fermata"] or match["late_fermata"])
    tied_out = bool(match["open"]) or match["close"] == "_"
    tied_in = bool(match["close"])
    if match["open"] and match["close"]:
        raise ExerciseError(
            f"{shown(token)} opens a tie and closes one", remedy="write _ in the middle of a tie"
        )
    name = match["name"]
    if name == "r":
        if match["sign"] or tied_in or tied_out:
            raise ExerciseError(f"{shown(token)}: a rest has no accidental and no tie")
        return NoteToken(duration, None, fermata=fermata)
    octave = 3 + len(name) if name.islower() else 4 - len(name)
    sign = match["sign"] or ""
    alter = 0 if sign == "n" else (len(sign) if sign.startswith("#") else -len(sign))
    pitch = Pitch(LETTERS.index(name[0].lower()), alter, octave)
    if not 0 <= pitch.midi <= 127 or not -1 <= octave <= 9:
        raise ExerciseError(f"{shown(token)} lies beyond every keyboard")
    return NoteToken(duration, pitch, tied_in, tied_out, fermata)


def write_note(note: NoteToken) -> str:
    """The token of one note or rest; the inverse of `read_note`."""
    fermata = ";" if note.fermata else ""
    length = recip(note.duration)
    if note.pitch is None:
        return f"{length}r{fermata}"
    letter = LETTERS[note.pitch.step]
    octave = note.pitch.octave
    name = letter * (octave - 3) if octave >= 4 else letter.upper() * (4 - octave)
    alter = note.pitch.alter
    sign = "#" * alter if alter > 0 else "-" * -alter
    open_ = "[" if note.tied_out and not note.tied_in else ""
    close = ("_" if note.tied_out else "]") if note.tied_in else ""
    return f"{open_}{length}{name}{sign}{fermata}{close}"


def recip(duration: Fraction) -> str:
    """A length in quarter notes as Humdrum writes it: 4 a quarter, 2. a dotted half, 0 a breve."""
    if duration <= 0:
        raise ExerciseError(f"a note cannot last {duration} quarter notes")
    for dots in range(3):
        plain = duration / (2 - Fraction(1, 2**dots))
        if plain in (8, 16):
            return ("0" if plain == 8 else "00") + "." * dots
        per_whole = 4 / plain
        if per_whole.denominator == 1:
            return f"{per_whole}" + "." * dots
    whole = duration / 4
    return f"{whole.denominator}%{whole.numerator}"


def _duration(text: str, dots: int) -> Fraction:
    if set(text) == {"0"}:
        if len(text) > 2:
            raise ExerciseError(f"{text} is not a note length")
        plain = Fraction(8 * len(text))
    else:
        per_whole, _, wholes = text.partition("%")
        if not int(per_whole) or (wholes and not int(wholes)):
            raise ExerciseError(f"{text} is not a note length")
        plain = Fraction(4 * int(wholes or 1), int(per_whole))
    return plain * (2 - Fraction(1, 2**dots))


def read_signature(token: str) -> int:
    """Read `*k[f#c#]` as 2, `*k[b-]` as -1; raises ExerciseError."""
    match = _SIGNATURE.fullmatch(token)
    notes = () if match is None else tuple(re.findall("..", match[1]))
    for order, sign in ((_SHARPS, 1), (_FLATS, -1)):
        if match is not None and notes == order[: len(notes)]:
            return sign * len(notes)
    raise ExerciseError(
        f"{shown(token)} is not a key signature", remedy="write one like *k[], *k[f#c#] or *k[b-e-]"
    )


def write_signature(signature: int) -> str:
    notes = _SHARPS if signature > 0 else _FLATS
    return f"*k[{''.join(notes[: abs(signature)])}]"


def read_key(token: str, signature: int) -> Key:
    """Read `*G:`, `*f#:`, `*d:dor` over the signature in force; raises ExerciseError."""
    match = _KEY.fullmatch(token)
    if match is None:
        raise ExerciseError(
            f"{shown(token)} is not a key", remedy="write one like *G:, *g:, *B-: or *d:dor"
        )
    alter = {"": 0, "#": 1, "-": -1}[match[2]]
    mode = _MODES[match[3]] if match[3] else ("major" if match[1].isupper() else "minor")
    return Key(PitchName(LETTERS.index(match[1].lower()), alter), mode, signature)


def write_key(key: Key) -> str:
    letter = LETTERS[key.final.step]
    letter = letter.upper() if key.mode in _UPPER else letter
    alter = key.final.alter
    sign = "#" * alter if alter > 0 else "-" * -alter
    mode = "" if key.mode in ("major", "minor") else key.mode[:3]
    return f"*{letter}{sign}:{mode}"


def read_metre(token: str) -> Metre:
    """Read `*M3/4`; raises ExerciseError."""
    match = _METRE.fullmatch(token)
    if match is None or int(match[1]) == 0 or int(match[2]) not in (1, 2, 4, 8, 16):
        raise ExerciseError(f"{shown(token)} is not a metre", remedy="write one like *M4/4")
    return Metre(int(match[1]), int(match[2]))


@lru_cache(maxsize=4096)
def read_figuring(token: str) -> Figuring:
    """Read `6 4+ 2`, `#`, `-5`, `_`, `t.s.`, `unis.`; raises ExerciseError."""
    if re.search("[bB]", token):
        raise ExerciseError(f"{shown(token)} is not a figure", remedy="write a flat as -")
    try:
        return Figuring.parse(token.replace("-", "b"))
    except (FigureError, PitchError) as error:
        raise ExerciseError(error.what, remedy=error.remedy) from None


def write_figuring(figuring: Figuring) -> str:
    text = str(figuring)
    if not text:
        raise ExerciseError("an empty figuring cannot be written", remedy="write 5 3")
    return text.replace("b", "-")


def shown(token: str) -> str:
    """A token as a message shows it: quoted, short, printable."""
    text = token if len(token) <= 40 else token[:37] + "..."
    return repr(text)
