"""From a stack of figures to the notes it names and the row of the table it answers to."""

from __future__ import annotations

from trainer.errors import FigureError
from trainer.theory.figures import Figure, Figuring
from trainer.theory.key import Key
from trainer.theory.pitch import LETTERS, SEMITONES, Pitch, PitchName
from trainer.theory.table import TABLE, Row


def written_notes(
    bass: Pitch, figuring: Figuring, key: Key, struck_five: bool
) -> dict[int, PitchName]:
    notes: dict[int, PitchName] = {}
    numerals: dict[int, int] = {}
    for figure in figuring.figures:
        number = figure.letters + 1
        note = _note(figure, bass, key, struck_five)
        if not -2 <= note.alter <= 2:
            raise FigureError(f"{figure} over {bass.name} would be {note}: no such note is written")
        if notes.get(number, note) != note or (
            number == 2 and numerals.get(2, figure.number) != figure.number
        ):
            raise FigureError(
                f"{figuring} contradicts itself: two figures claim the letter {LETTERS[note.step]}",
                remedy="keep one of them",
            )
        notes[number] = note
        numerals[number] = figure.number
    return notes


def _note(figure: Figure, bass: Pitch, key: Key, struck_five: bool) -> PitchName:
    step = (bass.step + figure.letters) % 7
    own = bass.alter if figure.letters == 0 else key.alter(step)
    if figure.sign is None:
        return PitchName(step, own)
    if figure.letters == 0:
        if figure.sign.alter != bass.alter:
            raise FigureError(
                f"{figure} contradicts its bass: the octave of {bass.name} is {bass.name}"
            )
        return bass.name
    if figure.sign.raises:
        if struck_five and figure.letters == 4:
            natural = (SEMITONES[step] - bass.name.pitch_class) % 12
            return PitchName(step, 6 - natural)
        return PitchName(step, own + 1)
    assert figure.sign.alter is not None
    return PitchName(step, figure.sign.alter)


def binding(
    figuring: Figuring, bass: Pitch, key: Key, written: dict[int, PitchName]
) -> frozenset[int]:
    """The letters, 1 to 7 over the bass, that must sound because they are written: all but a fifth
    as the key has it, which may stand there only to cancel what went before."""
    plain_fifth = PitchName((bass.step + 4) % 7, key.alter((bass.step + 4) % 7))
    stand = {figure.letters + 1 for figure in figuring.figures}
    return frozenset(
        number for number in stand if number != 5 or written.get(5, plain_fifth) != plain_fifth
    )


def row_of(figuring: Figuring, bass: Pitch, key: Key, written: dict[int, PitchName]) -> Row:
    nine = any(figure.number == 9 for figure in figuring.figures)
    stack = {9 if number == 2 and nine else (8 if number == 1 else number) for number in written}
    wanted = " ".join(str(number) for number in sorted(stack, reverse=True))
    for row in TABLE:
        if wanted in (words.strip() for words in row.written.split("|")) and _sounds(
            row, bass, key, written
        ):
            return row
    return _unlisted(figuring, stack)


def _sounds(row: Row, bass: Pitch, key: Key, written: dict[int, PitchName]) -> bool:
    if not row.sounding:
        return True
    kind, number = row.sounding.split("-")
    step = (bass.step + int(number) - 1) % 7
    note = written.get(int(number), PitchName(step, key.alter(step)))
    if kind == "diminished":
        return is_diminished(bass, note)
    if kind == "minor":  # of sevenths, the smaller
        return (note.pitch_class - bass.name.pitch_class) % 12 == 10
    return note.alter > key.alter(note.step)


def is_diminished(bass: Pitch, fifth: PitchName) -> bool:
    return (fifth.pitch_class - bass.name.pitch_class) % 12 == 6


def is_augmented(bass: Pitch, fourth: PitchName) -> bool:
    return (fourth.pitch_class - bass.name.pitch_class) % 12 == 6


def _unlisted(figuring: Figuring, stack: set[int]) -> Row:
    """The general rule: sound what is written, completed by thirds upward from the lowest."""
    sounded = sorted(stack)
    if len(sounded) > 3 and 8 in sounded:
        sounded.remove(8)  # the bass has it
    if len(sounded) > 3 and 5 in sounded and 6 not in sounded:
        sounded.remove(5)  # the only member a full chord may lack
    if len(sounded) > 3:
        raise FigureError(
            f"{figuring} asks for more notes than three upper voices have",
            remedy="leave out the figures the others imply",
        )
    bold = " ".join(map(str, sounded))
    lowest = sounded[0]
    clash = {3: 4, 4: 3, 5: 6, 6: 5}
    for third in (2, 4, 6):
        number = (lowest + third - 1) % 7 + 1
        number = 8 if number == 1 else number
        taken = {number_of(str(n)) for n in sounded}
        if (
            len(sounded) < 3
            and number_of(str(number)) not in taken
            and clash.get(number) not in taken
        ):
            sounded.append(number)
    while len(sounded) < 3:
        sounded.append(8)
    return Row("", bold, " ".join(map(str, sounded)), _dissonances(stack))


def _dissonances(stack: set[int]) -> str:
    """Of what is written in a stack not listed, by the analogy of those that are."""
    found = []
    if 9 in stack:
        found.append("9s")
    if 7 in stack and 2 not in stack:
        found.append("7s" if 6 in stack else "7c")
    if {5, 6} <= stack:
        found.append("5c")
    if {3, 4} <= stack:
        found.append("3c")
    elif {4, 5} <= stack and not stack & {2, 6}:
        found.append("4s")
    return " ".join(found)


def number_of(word: str) -> int:
    return (int(word) - 1) % 7 + 1


def numbers_of(words: str) -> frozenset[int]:
    return frozenset(map(number_of, words.split()))
