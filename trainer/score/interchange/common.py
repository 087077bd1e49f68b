"""What the writers of MusicXML, MEI and MIDI share: voices, bars, note signs, our own fields."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from trainer.errors import ExerciseError
from trainer.score.bars import barred, bars
from trainer.score.exercise import Exercise, Note, Realization, with_free_top
from trainer.score.kern_tokens import write_key, write_signature
from trainer.theory.figures import Figuring
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing

FACT = "mittelstimme:"  # prefix of our own fields in files of other formats
_TYPES = (
    (Fraction(16), "long"),
    (Fraction(8), "breve"),
    (Fraction(4), "whole"),
    (Fraction(2), "half"),
    (Fraction(1), "quarter"),
    (Fraction(1, 2), "eighth"),
    (Fraction(1, 4), "16th"),
    (Fraction(1, 8), "32nd"),
    (Fraction(1, 16), "64th"),
)


@dataclass(frozen=True, slots=True)
class Length:
    """A length one note sign can have: `type` as MusicXML names it, dots, three for two."""

    type: str
    dots: int
    triplet: bool


@dataclass(frozen=True, slots=True)
class Part:
    """One voice to write, `name` melody, alto, tenor or bass."""

    name: str
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class WrittenBar:
    """`number` is 0 for a pick-up; `start` and `end` are score times in quarter notes."""

    number: int
    start: Fraction
    end: Fraction


def parts(exercise: Exercise, solution: bool) -> list[Part]:
    """The voices from the top down, tied at barlines and where one sign cannot last so long."""
    exercise = barred(exercise)
    names = ["melody", *(("alto", "tenor") if solution else ()), "bass"]
    voices = [(name, getattr(exercise, name)) for name in names]
    return [Part(name, tuple(_signs(notes))) for name, notes in voices if notes]


def written_bars(exercise: Exercise) -> list[WrittenBar]:
    """All bars in order, a pick-up first."""
    begins = bars(exercise)
    if exercise.pickup:
        begins = {Fraction(0): 0, **begins}
    starts = sorted(begins)
    ends = [*starts[1:], exercise.length]
    return [WrittenBar(begins[start], start, end) for start, end in zip(starts, ends, strict=True)]


def length(duration: Fraction) -> Length | None:
    """The sign for a duration in quarter notes, or None if it takes several."""
    for triplet in (False, True):
        plain = duration * Fraction(3, 2) if triplet else duration
        for long, name in _TYPES:
            for dots in range(3):
                if plain == long * (2 - Fraction(1, 2**dots)):
                    return Length(name, dots, triplet)
    return None


def shows_accidental(exercise: Exercise, part: Part, index: int) -> bool:
    """Whether a note needs its accidental written, by the bar's and the signature's rules."""
    note = part.notes[index]
    if note.pitch is None or note.tied:
        return False
    bar = exercise.place(note.onset)[0]
    for before in reversed(part.notes[:index]):
        if exercise.place(before.onset)[0] != bar:
            break
        if before.pitch is not None and before.pitch.height == note.pitch.height:
            return before.pitch.alter != note.pitch.alter
    return exercise.key_at(note.onset).alter(note.pitch.step) != note.pitch.alter


def _signs(notes: tuple[Note, ...]) -> Iterator[Note]:
    """Notes cut into tied ones until each has a sign of its own."""
    for note in notes:
        rest = note
        while length(rest.duration) is None:
            plain = next((long for long, _ in _TYPES if long < rest.duration), None)
            if plain is None or rest.duration.denominator % 3 == 0:
                raise ExerciseError(f"a note of {note.duration} quarter notes cannot be written")
            yield replace(rest, duration=plain, fermata=False)
            rest = Note(
                rest.onset + plain,
                rest.duration - plain,
                rest.pitch,
                rest.pitch is not None,
                note.fermata,
            )
        yield rest


def figures_in(
    exercise: Exercise, start: Fraction, end: Fraction
) -> list[tuple[Fraction, Fraction, Figuring]]:
    """(onset, until the next, figuring) of the figures from `start` up to `end`."""
    inside = [(at, figuring) for at, figuring in exercise.figures if start <= at < end]
    ends = [*(at for at, _ in inside[1:]), end][: len(inside)]
    return [(at, until, f) for (at, f), until in zip(inside, ends, strict=True)]


def facts(exercise: Exercise) -> list[tuple[str, str]]:
    """What other formats have no place for, as (name, text), each name with our prefix."""
    keys = "; ".join(
        f"{at} {write_signature(key.signature)} {write_key(key)}" for at, key in exercise.keys
    )
    found = [("id", exercise.id), ("keys", keys)]
    found += [("level", str(exercise.level))] if exercise.level else []
    found += [("tags", ", ".join(exercise.tags))] if exercise.tags else []
    found += [("tune", exercise.tune)] if exercise.tune else []
    found += [("struck-5", "diminished")] if exercise.struck_five_is_diminished else []
    found += [("commentary", paragraph) for paragraph in exercise.commentary]
    return [(FACT + name, text) for name, text in found]


def with_realization(exercise: Exercise, realization: Realization) -> Exercise:
    """The exercise with a realization's voices as its solution: a note a moment, longer ones where
    a voice holds while another moves on without a new chord.

    The melody is taken from it only where the exercise has none or rests. A voice without a pitch
    rests. Raises ExerciseError if the realization has another number of moments.
    """
    if len(realization.voicings) != len(exercise.moments):
        raise ExerciseError(
            f"{exercise.id} has {len(exercise.moments)} moments, the realization "
            f"{len(realization.voicings)}"
        )

    def line(voice: str) -> tuple[Note, ...]:
        notes: list[Note] = []
        for moment, voicing in zip(exercise.moments, realization.voicings, strict=True):
            given = voice == "soprano" and moment.melody is not None
            pitch = None if given else _of(voicing, voice)
            if notes and not moment.chord and pitch == notes[-1].pitch:  # it holds
                length = notes[-1].duration + moment.duration
                notes[-1] = replace(notes[-1], duration=length, fermata=moment.fermata)
            else:
                notes.append(Note(moment.onset, moment.duration, pitch, fermata=moment.fermata))
        first = exercise.moments[0].onset
        return (Note(Fraction(0), first, None), *notes) if first else tuple(notes)

    return barred(
        replace(
            exercise,
            alto=line("alto"),
            tenor=line("tenor"),
            melody=with_free_top(exercise, line("soprano")),
        )
    )


def _of(voicing: Voicing, voice: str) -> Pitch | None:
    pitch: Pitch | None = getattr(voicing, voice)
    return pitch
