"""Which lines of a foreign score are bass, melody and middle voices, and the exercise they make."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from trainer.errors import ExerciseError, TrainerError
from trainer.score.bars import barred
from trainer.score.exercise import Exercise, Note, note_at
from trainer.score.interchange.foreign import ForeignScore, Line
from trainer.score.kern_tokens import read_key, read_signature
from trainer.score.passing import without_passing_notes
from trainer.theory.figures import Figuring
from trainer.theory.key import MODES, Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch, PitchName

_BASS = re.compile(r"\b(bass|basso|bassus|continuo|b\.? ?c\.?|organo|organ|fundament)", re.I)
_MELODY = re.compile(
    r"\b(melod\w*|sopran\w*|cantus|canto|discant\w*|superius|choral\w*|c\.? ?f\.)", re.I
)
_ALTO = re.compile(r"\b(alt|alto|altus|contralto)\b", re.I)
_TENOR = re.compile(r"\btenor", re.I)
_TEMPO = 60.0  # tactus beats a minute where the file gives none
_FAR = 7  # semitones by which figures may stand above the lowest line and still be its own


@dataclass(frozen=True, slots=True)
class Report:
    """What was taken, in the user's words, and what was not and why."""

    taken: tuple[str, ...]
    left: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Chosen:
    """`inner` are the alto's and the tenor's line, or empty."""

    bass: Line
    melody: Line | None
    inner: tuple[Line, ...]
    others: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Imported:
    exercise: Exercise
    report: Report


def imported(
    score: ForeignScore,
    identity: str,
    *,
    bass: str | None = None,
    melody: str | None = None,
    strip_passing: bool = False,
) -> Imported:
    """The exercise in a score. `bass` and `melody` name a line by its label or staff (`2`, `2.1`
    with the layer), `melody` may be `none`. Raises ExerciseError."""
    lines = chosen(score, bass=bass, melody=melody)
    facts = dict(score.facts)
    left = list(score.remarks)
    figures = _figures(score, lines.bass, left)
    bass_voice = _voice(lines.bass, top=False)
    melody_voice = () if lines.melody is None else _voice(lines.melody, top=True)
    inner = [_voice(line, top=True) for line in lines.inner] or [(), ()]
    metres = tuple((m.onset, Metre(m.beats, m.unit)) for m in score.metres)
    keys, key_remark = _keys(score, facts, bass_voice)
    tempo, tempo_remark = _tempo(score, metres[0][1])
    try:
        exercise = barred(
            Exercise(
                id=facts.get("id") or identity,
                title=score.title or identity,
                bass=bass_voice,
                figures=figures,
                keys=keys,
                metres=metres,
                tempo=tempo,
                melody=melody_voice,
                alto=inner[0],
                tenor=inner[1],
                pickup=score.pickup,
                level=int(facts.get("level") or 0),
                tags=tuple(t.strip() for t in facts.get("tags", "").split(",") if t.strip()),
                tune=facts.get("tune", ""),
                commentary=tuple(text for name, text in score.facts if name == "commentary"),
                struck_five_is_diminished=facts.get("struck-5") == "diminished",
            )
        )
    except ValueError as error:
        raise ExerciseError(f"the file's own notes on the exercise are damaged: {error}") from None
    if strip_passing:
        exercise, count = without_passing_notes(exercise)
        left.append(f"{count} passing notes")
    taken = [f"bass: {lines.bass.label}"]
    taken.append("melody: none" if lines.melody is None else f"melody: {lines.melody.label}")
    if lines.inner:
        taken.append(f"solution: {' and '.join(line.label for line in lines.inner)}")
    taken.append(f"figures: {len(figures)}")
    taken += [remark for remark in (key_remark, tempo_remark) if remark]
    if not figures:
        left.insert(0, "no figures were found: every bass note stands for a triad")
    unused = [line.label for line in lines.others]
    if unused:
        left.append(f"not taken: {', '.join(unused)}")
    return Imported(exercise, Report(tuple(taken), tuple(left)))


def chosen(score: ForeignScore, *, bass: str | None = None, melody: str | None = None) -> Chosen:
    """Choose the lines; raises ExerciseError for a name that fits none or several."""
    lines = [line for line in score.lines if line.pitches]
    low = _named(lines, bass) if bass else _bass(score, lines)
    rest = [line for line in lines if line is not low]
    top = _named(lines, melody) if melody and melody != "none" else None
    top = top if melody else _melody(rest, low)
    rest = [line for line in rest if line is not top]
    inner = _inner(rest, low, top)
    return Chosen(low, top, inner, tuple(line for line in rest if line not in inner))


def _inner(lines: list[Line], bass: Line, melody: Line | None) -> tuple[Line, ...]:
    """Alto and tenor: so named, or the only two full voices besides bass and melody."""
    single = [line for line in lines if all(len(event.pitches) <= 1 for event in line.events)]
    named = [[line for line in single if name.search(line.name)] for name in (_ALTO, _TENOR)]
    if all(len(found) == 1 for found in named):
        return (named[0][0], named[1][0])
    middle = [line for line in lines if not doubles(line, bass) and not doubles(line, melody)]
    full = [
        line for line in middle if line in single and _sounding(line) * 10 >= _sounding(bass) * 9
    ]
    if len(middle) == len(full) == 2:
        return tuple(sorted(full, key=mean, reverse=True))
    return ()


def _named(lines: list[Line], name: str) -> Line:
    staff, _, layer = name.partition(".")
    if staff.isdecimal():
        fits = [line for line in lines if line.staff == int(staff)]
        if layer.isdecimal():
            fits = [line for line in fits if line.layer == int(layer)]
        fits = fits[:1]
    else:
        plain = name.casefold()
        fits = [line for line in lines if line.label.casefold() == plain]
        fits = fits or [line for line in lines if plain in line.label.casefold()]
    if len(fits) != 1:
        labels = ", ".join(f"{line.label!r} ({line.staff}.{line.layer})" for line in lines)
        what = "several lines are" if fits else "no line is"
        raise ExerciseError(f"{what} called {name!r}", remedy=f"there are {labels}")
    return fits[0]


def mean(line: Line) -> float:
    """The mean height of a line's notes, as a MIDI number."""
    return sum(pitch.midi for pitch in line.pitches) / len(line.pitches)


def _bass(score: ForeignScore, lines: list[Line]) -> Line:
    """The figured staff's lowest line; without figures the one so named, or the lowest."""
    lowest = min(lines, key=mean)
    counts = Counter(figure.staff for figure in score.figures if figure.staff)
    most = max(counts.values(), default=0)
    figured = [line for line in lines if counts[line.staff] == most] if most else []
    if figured:
        low = min(figured, key=mean)
        return low if mean(low) <= mean(lowest) + _FAR else lowest
    named = [line for line in lines if _BASS.search(line.name) and mean(line) < 60]
    return min(named, key=mean) if named else lowest


def _melody(lines: list[Line], bass: Line) -> Line | None:
    higher = [line for line in lines if mean(line) > mean(bass)]
    length = sum(e.duration for e in bass.events if e.pitches)
    busy = [line for line in higher if _sounding(line) * 4 >= length]
    for choice in (
        [line for line in lines if _MELODY.search(line.name)],
        [line for line in busy if line.sung],
        busy,
    ):
        if choice:
            return max(choice, key=lambda line: (mean(line), -line.staff, -line.layer))
    return None


def _sounding(line: Line) -> Fraction:
    return sum((event.duration for event in line.events if event.pitches), Fraction(0))


def doubles(line: Line, other: Line | None) -> bool:
    """Whether a line has the other's notes, octaves apart or not, wherever both begin one."""
    if other is None:
        return False
    there = {event.onset: event for event in other.events if event.pitches}
    pairs = [(e, there[e.onset]) for e in line.events if e.pitches and e.onset in there]
    alike = sum(a.pitches[0].name == b.pitches[0].name for a, b in pairs)
    return bool(pairs) and alike >= 0.95 * len(pairs)


def _voice(line: Line, *, top: bool) -> tuple[Note, ...]:
    notes: list[Note] = []
    for event in line.events:
        which = -1 if top else 0
        pitch = event.pitches[which] if event.pitches else None
        before = notes[-1] if notes else None
        tied = pitch is not None and event.tied[which]
        tied = tied and before is not None and before.pitch == pitch
        notes.append(Note(event.onset, event.duration, pitch, tied, event.fermata))
    return tuple(notes)


def _figures(
    score: ForeignScore, bass: Line, left: list[str]
) -> tuple[tuple[Fraction, Figuring], ...]:
    """The figures over the bass: its own staff's, or where that has none, all there are."""
    own = {0, *(f.staff for f in score.figures)}
    if any(figure.staff == bass.staff for figure in score.figures):
        own = {0, bass.staff}
    taken: dict[Fraction, Figuring] = {}
    doubled = late = elsewhere = 0
    for figure in score.figures:
        if figure.staff not in own:
            elsewhere += 1
        elif figure.onset >= score.length:
            late += 1
        elif figure.onset in taken:
            doubled += 1
        else:
            taken[figure.onset] = Figuring.parse(figure.text)
    for count, what in (
        (elsewhere, "figures at other staves"),
        (late, "figures after the last note"),
        (doubled, "figures at a place that has some already"),
    ):
        if count:
            left.append(f"{count} {what}")
    return tuple(sorted(taken.items(), key=lambda item: item[0]))


def _tempo(score: ForeignScore, metre: Metre) -> tuple[float, str]:
    if score.tempo is None:
        return _TEMPO, f"tempo: {_TEMPO:g}, as the file gives none"
    quarters = Fraction(score.tempo).limit_denominator(1000)
    return float(quarters / metre.beat_length), ""


def _keys(
    score: ForeignScore, facts: dict[str, str], bass: tuple[Note, ...]
) -> tuple[tuple[tuple[Fraction, Key], ...], str]:
    noted = _noted_keys(facts.get("keys", ""))
    signatures = [key.signature for key in score.keys]
    if noted and _changes([key.signature for _, key in noted]) == _changes(signatures):
        return noted, ""
    keys = []
    ends = [*(key.onset for key in score.keys[1:]), score.length]
    for written, end in zip(score.keys, ends, strict=True):
        last = note_at(bass, max(n.onset for n in bass if n.onset < end and n.pitch is not None))
        assert last is not None and last.pitch is not None
        keys.append((written.onset, _key(written.signature, written.mode, last.pitch)))
    return tuple(keys), f"key: {keys[0][1]}, from the signature and the last bass note"


def _key(signature: int, mode: str, last: Pitch) -> Key:
    """The mode the file names, if the bass does not contradict it, or the one the bass ends in.

    Programs often write `major` whatever the piece, so that word alone is not believed.
    """
    found: dict[str, PitchName] = {}
    for name in ("major", "minor", "dorian", "mixolydian", "phrygian", "lydian"):
        final = _final(signature, name)
        found[name] = final
        if name == mode and (mode != "major" or final == last.name):
            return Key(final, mode, signature)
    for name, final in found.items():
        if final == last.name:
            return Key(final, name, signature)
    return Key(found["major"], "major", signature)


def _final(signature: int, mode: str) -> PitchName:
    fifths = signature - MODES[mode]
    step = (fifths * 4) % 7
    return PitchName(step, (fifths - PitchName(step).fifths) // 7)


def _noted_keys(text: str) -> tuple[tuple[Fraction, Key], ...]:
    """Our own note of the keys, `0 *k[b-] *g:dor; 12 …`; empty if it cannot be read."""
    keys = []
    try:
        for part in text.split(";"):
            at, signature, key = part.split()
            keys.append((Fraction(at), read_key(key, read_signature(signature))))
    except (ValueError, TrainerError):
        return ()
    return tuple(keys)


def _changes(signatures: list[int]) -> list[int]:
    """Without those that repeat the one before."""
    return [now for before, now in pairwise([-8, *signatures]) if now != before]
