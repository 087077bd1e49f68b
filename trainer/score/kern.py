"""The native exercise file: Humdrum text, read strictly and written back the same.

Spines from left to right, low to high: `**kern` bass, `**fb` figures, then, where there is a
suggested solution, `**kern` tenor and alto, then, where there is one, `**kern` melody. A line on
which no voice begins (figures in succession over one bass note) divides the time to the next
beginning into equal parts, as Humdrum has it; a line of nothing but `.` makes a part too.
"""

from __future__ import annotations

import errno
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from math import lcm
from pathlib import Path

from trainer.errors import ExerciseError
from trainer.files import content
from trainer.score.bars import bars
from trainer.score.exercise import Exercise, Note
from trainer.score.kern_reader import LineReader
from trainer.score.kern_tokens import (
    NoteToken,
    write_figuring,
    write_key,
    write_note,
    write_signature,
)

LARGEST = 1_000_000  # bytes; an exercise of a hundred bars has about ten thousand
_FINEST = 192  # parts of one stretch that figures may divide


def read_exercise(path: Path | str) -> Exercise:
    """Read one native file; the exercise's id is the file's stem.

    Raises ExerciseError with file and line for whatever is wrong with it.
    """
    path = Path(path)
    try:
        data = content(path, LARGEST)
    except FileNotFoundError:
        raise ExerciseError("there is no such exercise file", file=path) from None
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise ExerciseError(
                f"the file has more bytes than an exercise, {LARGEST}",
                file=path,
                remedy="a score of another program is read with `exercises import`",
            ) from None
        raise ExerciseError(
            f"the file cannot be read ({error.strerror or error})", file=path
        ) from None
    except ValueError:
        raise ExerciseError(f"{str(path)!r} is not a file name") from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ExerciseError(
            "the file is not UTF-8 text", file=path, line=line, remedy="save it as UTF-8"
        ) from None
    return parse_exercise(text, file=str(path), identity=path.stem)


def parse_exercise(text: str, file: str = "exercise.krn", identity: str = "") -> Exercise:
    """Read the text of a native file.

    The id is `identity`, else the file's `!!!id` record, else the stem of `file`. Raises
    ExerciseError with file and line.
    """
    reader = LineReader(file)
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise ExerciseError("the file holds a NUL byte: it is not text", file=file, line=line)
    for number, line_text in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        try:
            reader.read_line(number, line_text)
        except ExerciseError as error:
            raise error.at(file=file, line=number) from None
    return reader.exercise(identity)


def write_exercise(exercise: Exercise) -> str:
    """The native text of an exercise; `parse_exercise` gives the same exercise back.

    Raises ExerciseError where the value cannot be written: voices of unequal length, a note held
    over a barline without a tie, an empty figuring, a line break in a title.
    """
    try:
        return "\n".join([*_records(exercise), *_score(exercise), *_comments(exercise)]) + "\n"
    except ExerciseError as error:
        raise error.at(file=exercise.source or exercise.id) from None


def _line(name: str, text: str) -> str:
    if text != text.strip() or not text.isprintable():
        raise ExerciseError(f"the {name} {text!r} is not one line of plain text")
    return f"!!!{name}: {text}"


def _records(exercise: Exercise) -> list[str]:
    lines = []
    if exercise.title:
        lines.append(_line("OTL", exercise.title))
    lines.append(_line("id", exercise.id))
    if exercise.tune:
        lines.append(_line("tune", exercise.tune))
    if exercise.level:
        lines.append(f"!!!level: {exercise.level}")
    if exercise.tags:
        if any("," in tag or tag != tag.strip() or not tag for tag in exercise.tags):
            raise ExerciseError("a tag holds a comma or nothing")
        lines.append(_line("tags", ", ".join(exercise.tags)))
    if exercise.struck_five_is_diminished:
        lines.append("!!!struck-5: diminished")
    return lines


def _comments(exercise: Exercise) -> list[str]:
    if not all(exercise.commentary):
        raise ExerciseError("a paragraph of the commentary is empty")
    return [_line("commentary", paragraph) for paragraph in exercise.commentary]


class _Table:
    """The rows of a score: the bass, its figures beside it, then the other voices upward."""

    def __init__(self, exercise: Exercise) -> None:
        self.voices = [("*Ibass", "*clefF4", exercise.bass)]
        if exercise.tenor or exercise.alto:
            self.voices.append(("*Itenor", "*clefGv2", exercise.tenor))
            self.voices.append(("*Ialto", "*clefG2", exercise.alto))
        if exercise.melody:
            self.voices.append(("*Isoprn", "*clefG2", exercise.melody))
        self.lines: list[str] = []

    def row(self, words: Sequence[str], figures: str) -> None:
        self.lines.append("\t".join([words[0], figures, *words[1:]]))

    def alike(self, word: str, figures: str | None = None) -> None:
        """One word in every spine, or another in that of the figures."""
        self.row([word] * len(self.voices), word if figures is None else figures)


def _score(exercise: Exercise) -> list[str]:
    table = _Table(exercise)
    events = [_events(voice, exercise) for _, _, voice in table.voices]
    figures = {onset: write_figuring(figuring) for onset, figuring in exercise.figures}
    if any(not 0 <= onset < exercise.length for onset in figures):
        raise ExerciseError("a figure stands outside the piece")
    barlines = bars(exercise)
    table.alike("**kern", "**fb")
    table.row([code for code, _, _ in table.voices], "*")
    table.row([clef for _, clef, _ in table.voices], "*")
    onsets = sorted({onset for voice in events for onset in voice})
    changes = {onset for onset, _ in (*exercise.keys, *exercise.metres)}
    if not changes <= {*onsets, exercise.length}:
        raise ExerciseError("a key or metre changes where no note begins")
    for onset, end in zip(onsets, [*onsets[1:], exercise.length], strict=True):
        if onset in barlines and onset:
            table.alike(f"={barlines[onset]}")
        _signs(table, exercise, onset)
        if onset in barlines and not onset:
            table.alike(f"={barlines[onset]}")
        table.row([voice.get(onset, ".") for voice in events], figures.get(onset, "."))
        _between(table, figures, onset, end)
    table.alike("==")
    table.alike("*-")
    return table.lines


def _signs(table: _Table, exercise: Exercise, onset: Fraction) -> None:
    """Key, metre and tempo, where they begin."""
    key, metre = dict(exercise.keys).get(onset), dict(exercise.metres).get(onset)
    if key is not None:
        table.alike(write_signature(key.signature), "*")
        table.alike(write_key(key), "*")
    if metre is not None:
        table.alike(f"*M{metre}", "*")
    if not onset:
        table.alike(_tempo(exercise), "*")


def _between(table: _Table, figures: dict[Fraction, str], onset: Fraction, end: Fraction) -> None:
    """Rows for the figures that stand where no note begins."""
    between = sorted(at for at in figures if onset < at < end)
    parts = lcm(*(((at - onset) / (end - onset)).denominator for at in between))
    if parts > _FINEST:
        raise ExerciseError(f"the figures between score times {onset} and {end} stand too unevenly")
    for part in range(1, parts):
        at = onset + (end - onset) * Fraction(part, parts)
        table.row(["."] * len(table.voices), figures.get(at, "."))


def _events(voice: tuple[Note, ...], exercise: Exercise) -> dict[Fraction, str]:
    barlines = sorted(bars(exercise))
    at = Fraction(0)
    tokens = {}
    for index, note in enumerate(voice):
        if note.onset != at or note.duration <= 0:
            raise ExerciseError(f"a voice has a gap or an overlap at score time {at}")
        before = voice[index - 1] if index else None
        if note.tied and (before is None or before.pitch != note.pitch or note.pitch is None):
            raise ExerciseError(f"the tie into score time {at} does not join equal notes")
        at = note.end
        if any(note.onset < line < note.end for line in barlines):
            raise ExerciseError(
                f"the note at score time {note.onset} is held over a barline",
                remedy="`barred` writes two notes with a tie",
            )
        tied_out = index + 1 < len(voice) and voice[index + 1].tied
        tokens[note.onset] = write_note(
            NoteToken(note.duration, note.pitch, note.tied, tied_out, note.fermata)
        )
    if at != exercise.length:
        raise ExerciseError(f"one voice lasts {at} quarter notes, the bass {exercise.length}")
    return tokens


def _tempo(exercise: Exercise) -> str:
    quarters = Fraction(exercise.tempo) * exercise.metre.beat_length
    short = repr(float(quarters)).removesuffix(".0")
    if "e" in short or float(Fraction(short) / exercise.metre.beat_length) != exercise.tempo:
        short = format(Decimal(quarters.numerator) / Decimal(quarters.denominator), "f")
    return f"*MM{short}"
