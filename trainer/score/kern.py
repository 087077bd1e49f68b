"""The native exercise file: Humdrum text, read strictly and written back the same.

Spines from left to right, low to high: `**kern` bass, `**fb` figures, then, where there is a
suggested solution, `**kern` tenor and alto, then, where there is one, `**kern` melody. A line on
which no voice begins (figures in succession over one bass note) divides the time to the next
beginning into equal parts, as Humdrum has it; a line of nothing but `.` makes a part too.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import lcm
from pathlib import Path

from trainer.errors import ExerciseError
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
        if not path.is_file():
            raise ExerciseError("there is no such exercise file", file=path)
        if path.stat().st_size > LARGEST:
            raise ExerciseError(
                f"the file has {path.stat().st_size} bytes, an exercise at most {LARGEST}",
                file=path,
                remedy="a score of another program is read with `exercises import`",
            )
        data = path.read_bytes()
    except OSError as error:
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


def _score(exercise: Exercise) -> list[str]:
    voices = [("*Ibass", "*clefF4", exercise.bass)]
    if exercise.tenor or exercise.alto:
        voices.append(("*Itenor", "*clefGv2", exercise.tenor))
        voices.append(("*Ialto", "*clefG2", exercise.alto))
    if exercise.melody:
        voices.append(("*Isoprn", "*clefG2", exercise.melody))

    def row(words: list[str], figures: str) -> str:
        return "\t".join([words[0], figures, *words[1:]])

    def all_alike(word: str, figures: str | None = None) -> str:
        return row([word] * len(voices), word if figures is None else figures)

    events = [_events(voice, exercise) for _, _, voice in voices]
    figures = {onset: write_figuring(figuring) for onset, figuring in exercise.figures}
    if any(not 0 <= onset < exercise.length for onset in figures):
        raise ExerciseError("a figure stands outside the piece")
    keys, metres, barlines = dict(exercise.keys), dict(exercise.metres), bars(exercise)
    lines = [
        all_alike("**kern", "**fb"),
        row([code for code, _, _ in voices], "*"),
        row([clef for _, clef, _ in voices], "*"),
    ]
    struck = {onset for voice in events for onset in voice}
    if not {*keys, *metres} <= struck | {exercise.length}:
        raise ExerciseError("a key or metre changes where no note begins")
    onsets = sorted(struck)
    for onset, end in zip(onsets, [*onsets[1:], exercise.length], strict=True):
        if onset in barlines and onset:
            lines.append(all_alike(f"={barlines[onset]}"))
        if onset in keys:
            key = keys[onset]
            lines.append(all_alike(write_signature(key.signature), "*"))
            lines.append(all_alike(write_key(key), "*"))
        if onset in metres:
            lines.append(all_alike(f"*M{metres[onset]}", "*"))
        if not onset:
            lines.append(all_alike(_tempo(exercise), "*"))
            if onset in barlines:
                lines.append(all_alike(f"={barlines[onset]}"))
        lines.append(row([voice.get(onset, ".") for voice in events], figures.get(onset, ".")))
        between = sorted(at for at in figures if onset < at < end)
        parts = lcm(*(((at - onset) / (end - onset)).denominator for at in between))
        if parts > _FINEST:
            raise ExerciseError(
                f"the figures between score times {onset} and {end} stand too unevenly"
            )
        for part in range(1, parts):
            at = onset + (end - onset) * Fraction(part, parts)
            lines.append(row(["."] * len(voices), figures.get(at, ".")))
    return [*lines, all_alike("=="), all_alike("*-")]


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
