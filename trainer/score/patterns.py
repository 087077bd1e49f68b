"""Patterns: drills written once in scale degrees and played in every key.

A pattern's bass is a line of text such as `1 2 (6 4 3) 3 (6) 4:2 (7, 6) 5,`:

- a number 1 to 7 is a degree of the scale as the signature has it, `#7` raised, `b2` lowered;
- each degree is taken at the octave nearest to the one before (a fifth is never nearest);
  `5,` is the next 5 below, `5'` the next 5 above;
- `:2` makes the note twice as long as the pattern's `beats`;
- brackets hold the figures, commas divide figurings that share the note's time in equal parts;
  accidentals in them are relative to the signature, `#` raising and `b` lowering by a semitone,
  so that one line is right in every key;
- `|` divides repeating cells for the eye.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal

from trainer.errors import ExerciseError, FigureError, TrainerError
from trainer.files import text_of
from trainer.score.bars import barred
from trainer.score.exercise import Exercise, Note
from trainer.score.syllabus import UNFIGURED, absolute
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch

Position = Literal["octave", "third", "fifth"]
POSITIONS: tuple[Position, ...] = ("octave", "third", "fifth")
Kind = Literal["triad", "figure", "scale", "sequence", "cadence", "pedal"]
KINDS: tuple[Kind, ...] = ("triad", "figure", "scale", "sequence", "cadence", "pedal")

_MIDDLE_OF_THE_BASS = 49  # c#3: where the middle of a pattern's range is put, or nearest to it
_LOWEST_TOP = 67  # g4: the first top note is the lowest one from here up
_TOKEN = re.compile(r"(##|#|bb|b)?([1-7])([,'])?(?::(\d+))?(?:\s*\(([^)]*)\))?")
_ID = re.compile(r"([a-z0-9-]+)@([A-Ga-g][#b]?)(?::(\w+))?")


@dataclass(frozen=True, slots=True)
class Degree:
    """One bass note: `degree` 1 to 7, `alter` in semitones against the signature.

    `direction` is -1 or 1 where the text forces the next such degree below or above, 0 for the
    nearest. `beats` is in quarter notes. `figurings` are relative to the signature.
    """

    degree: int
    alter: int
    direction: int
    beats: Fraction
    figurings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pattern:
    """A drill in scale degrees; `major` and `minor` are its two forms."""

    id: str
    title: str
    kind: Kind
    step: int
    tempo: float
    metre: Metre
    major: tuple[Degree, ...]
    minor: tuple[Degree, ...]
    note: str


def load_patterns(folder: Path) -> dict[str, Pattern]:
    """Every pattern of `folder`'s `*.toml` files by id, in the order of the files.

    Raises ExerciseError naming file, pattern and what is wrong.
    """
    patterns: dict[str, Pattern] = {}
    for path in sorted(folder.glob("*.toml")):
        for name, pattern in read_patterns(path).items():
            if name in patterns:
                raise ExerciseError(f"the pattern {name} is there twice", file=path)
            patterns[name] = pattern
    return patterns


_LARGEST = 1 << 20  # bytes of a file


def read_patterns(path: Path) -> dict[str, Pattern]:
    """The patterns of one file by id; raises ExerciseError as `load_patterns` does."""
    try:
        tables = tomllib.loads(text_of(path, _LARGEST))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ExerciseError(f"this is no TOML: {error}", file=path) from error
    except OSError as error:
        raise ExerciseError(f"cannot be read: {error.strerror}", file=path) from error
    patterns: dict[str, Pattern] = {}
    for name, table in tables.items():
        try:
            patterns[name] = _pattern(name, table)
        except TrainerError as error:
            raise ExerciseError(f"{name}: {error.what}", file=path, remedy=error.remedy) from error
    return patterns


def expand(pattern: Pattern, key: Key, position: Position | None = None) -> Exercise:
    """The pattern in a major or minor key, spelled as that key spells it.

    There is no melody: the top voice is the player's. With a `position` the melody consists of
    the first top note alone, octave, third or fifth over the bass, and a rest for the remainder:
    the top is free from there. Raises ExerciseError for a mode other than major and minor.
    """
    if key.mode not in ("major", "minor"):
        raise ExerciseError(
            f"{pattern.id} has no form in {key}", remedy="patterns are for major and minor keys"
        )
    degrees = pattern.major if key.mode == "major" else pattern.minor
    pitches = _bass_line(degrees, key)
    bass: list[Note] = []
    figures: list[tuple[Fraction, Figuring]] = []
    onset = Fraction(0)
    for number, (degree, pitch) in enumerate(zip(degrees, pitches, strict=True)):
        beats = degree.beats
        if number == len(degrees) - 1:  # the last note lasts to the end of its bar
            beats += -(onset + beats) % pattern.metre.bar_length
        last = number == len(degrees) - 1
        bass += _in_bars(Note(onset, beats, pitch, fermata=last), pattern.metre)
        part = beats / max(1, len(degree.figurings))
        for place, text in enumerate(degree.figurings):
            if text != UNFIGURED or place:
                figures.append((onset + place * part, absolute(text, pitch, key)))
        onset += beats
    melody: tuple[Note, ...] = ()
    if position is not None:
        melody = _first_top_note(position, degrees[0], pitches[0], key, pattern.metre, onset)
    name = str(key.final)
    name = name[0].upper() + name[1:] if key.mode == "major" else name
    place_name = "" if position is None else f":{position}"
    on_top = "" if position is None else f", {position} on top"
    exercise = Exercise(
        id=f"{pattern.id}@{name}{place_name}",
        title=f"{pattern.title}, {key.in_words}{on_top}",
        bass=tuple(bass),
        figures=tuple(figures),
        keys=((Fraction(0), key),),
        metres=((Fraction(0), pattern.metre),),
        tempo=pattern.tempo,
        melody=melody,
        level=pattern.step,
        tags=("pattern", pattern.kind) + (() if position is None else (f"position-{position}",)),
        commentary=(pattern.note,) if pattern.note else (),
    )
    return barred(exercise)


def expand_id(patterns: dict[str, Pattern], text: str) -> Exercise:
    """The exercise named like `rule-of-the-octave@G`, `cadence-4-3@f#` or `rising-5-6@Bb:third`.

    Raises ExerciseError for a form, pattern, key or position that does not exist.
    """
    match = _ID.fullmatch(text)
    if match is None:
        raise ExerciseError(
            f"{text!r} does not name a pattern in a key",
            remedy="write one like rising-5-6@Bb or rising-5-6@g:third",
        )
    if match[1] not in patterns:
        raise ExerciseError(f"there is no pattern {match[1]}")
    position = next((p for p in POSITIONS if p == match[3]), None)
    if match[3] is not None and position is None:
        raise ExerciseError(
            f"{match[3]!r} is no position", remedy=f"use one of {', '.join(POSITIONS)}"
        )
    return expand(patterns[match[1]], Key.parse(match[2]), position)


def every_key() -> tuple[Key, ...]:
    """The fifteen signatures from seven flats to seven sharps, each in major and in minor."""
    names = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
    minor = ("ab", "eb", "bb", "f", "c", "g", "d", "a", "e", "b", "f#", "c#", "g#", "d#", "a#")
    return tuple(Key.parse(name) for name in (*names, *minor))


def parse_bass(text: str, beats: Fraction) -> tuple[Degree, ...]:
    """Read a pattern's line of degrees and figures; raises ExerciseError and FigureError."""
    degrees: list[Degree] = []
    at = 0
    while at < len(text):
        if text[at] in " |\n":
            at += 1
            continue
        match = _TOKEN.match(text, at)
        if match is None:
            word = text[at:].split()[0]
            raise ExerciseError(
                f"{word!r} is no degree with figures", remedy="write one like 4, #7 or 2 (6 4 3)"
            )
        sign, number, mark, times, inside = match.groups()
        alter = 0 if sign is None else len(sign) if sign[0] == "#" else -len(sign)
        figurings = tuple(" ".join(part.split()) for part in (inside or UNFIGURED).split(","))
        for figuring in figurings:
            if not figuring:
                raise FigureError(
                    f"empty place in ({inside})", remedy=f"write {UNFIGURED} for no figure"
                )
            if figuring != UNFIGURED:
                Figuring.parse(figuring)
        direction = {None: 0, ",": -1, "'": 1}[mark]
        degrees.append(Degree(int(number), alter, direction, beats * int(times or 1), figurings))
        at = match.end()
    if not degrees:
        raise ExerciseError("the pattern has no notes")
    return tuple(degrees)


def _pattern(name: str, table: Any) -> Pattern:
    if not isinstance(table, dict):
        raise ExerciseError("this is no table", remedy="write [name] and entries under it")
    _known_entries(table)
    if table["kind"] not in KINDS:
        raise ExerciseError(
            f"{table['kind']!r} is no kind", remedy=f"use one of {', '.join(KINDS)}"
        )
    step, tempo = table["step"], table["tempo"]
    if not isinstance(step, int) or not 1 <= step <= 24:
        raise ExerciseError(f"step {step} is not on the course", remedy="use 1 to 24")
    if not isinstance(tempo, int | float) or not 20 <= tempo <= 240:
        raise ExerciseError(f"tempo {tempo} cannot be played", remedy="use 20 to 240")
    metre = re.fullmatch(r"(\d+)/(\d+)", str(table.get("metre", "4/4")))
    if metre is None:
        raise ExerciseError(f"{table['metre']!r} is no metre", remedy="write one like 4/4")
    return Pattern(
        id=name,
        title=str(table["title"]),
        kind=table["kind"],
        step=step,
        tempo=float(tempo),
        metre=Metre(int(metre[1]), int(metre[2])),
        major=_form(table, "major"),
        minor=_form(table, "minor"),
        note=" ".join(str(table.get("note", "")).split()),
    )


_NEEDED = ("title", "kind", "step", "tempo")
_KNOWN = frozenset((*_NEEDED, "metre", "beats", "both", "major", "minor", "note"))


def _known_entries(table: Mapping[str, Any]) -> None:
    for entry in sorted(set(table) - _KNOWN):
        raise ExerciseError(
            f"unknown entry {entry}", remedy=f"known are {', '.join(sorted(_KNOWN))}"
        )
    for entry in _NEEDED:
        if entry not in table:
            raise ExerciseError(f"there is no {entry}", remedy=f"add {entry} = …")


def _form(table: Mapping[str, Any], mode: str) -> tuple[Degree, ...]:
    """The bass in one mode, which may be that of both."""
    line = table.get(mode, table.get("both"))
    if not isinstance(line, str):
        raise ExerciseError(f"there is no {mode} form", remedy="add both, or major and minor")
    return parse_bass(line, Fraction(str(table.get("beats", 2))))


def _bass_line(degrees: tuple[Degree, ...], key: Key) -> list[Pitch]:
    """The pitches, as high or low as brings the middle of their range nearest to c sharp 3."""
    heights: list[int] = []
    for degree in degrees:
        step = (key.final.step + degree.degree - 1) % 7
        if not heights:
            heights.append(step + 21)
            continue
        before = heights[-1]
        up = (step - before) % 7
        down = up - 7
        if degree.direction > 0:
            heights.append(before + (up or 7))
        elif degree.direction < 0:
            heights.append(before + down)
        else:
            heights.append(before + (up if up <= -down else down))
    pitches = [
        Pitch(height % 7, key.alter(height % 7) + degree.alter, height // 7)
        for height, degree in zip(heights, degrees, strict=True)
    ]
    middle = (min(p.midi for p in pitches) + max(p.midi for p in pitches)) / 2
    octaves = round((_MIDDLE_OF_THE_BASS - middle) / 12)
    return [Pitch(p.step, p.alter, p.octave + octaves) for p in pitches]


def _first_top_note(
    position: Position, first: Degree, bass: Pitch, key: Key, metre: Metre, length: Fraction
) -> tuple[Note, ...]:
    """As long as the first figuring, then rest."""
    step = (bass.step + {"octave": 0, "third": 2, "fifth": 4}[position]) % 7
    alter = bass.alter if position == "octave" else key.alter(step)
    top = Pitch(step, alter, 3)
    while top.midi < _LOWEST_TOP:
        top = Pitch(step, alter, top.octave + 1)
    duration = min(first.beats / len(first.figurings), metre.bar_length)
    if len(first.figurings) == 1 and first.beats >= length:
        duration = min(length, metre.bar_length)
    rest = Note(duration, length - duration, None)
    return (Note(Fraction(0), duration, top), *(_in_bars(rest, metre) if rest.duration else ()))


def _in_bars(note: Note, metre: Metre) -> list[Note]:
    """The note cut at the barlines, its parts tied; a fermata stands on the last."""
    parts: list[Note] = []
    onset = note.onset
    while onset < note.end:
        bar_end = (onset // metre.bar_length + 1) * metre.bar_length
        end = min(note.end, bar_end)
        tied = bool(parts) and note.pitch is not None
        fermata = note.fermata and end == note.end
        parts.append(Note(onset, end - onset, note.pitch, tied, fermata))
        onset = end
    return parts
