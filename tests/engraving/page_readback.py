"""Marked pages and takes, read back from the drawing and compared with the verdicts they show."""

from __future__ import annotations

import random
import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from tests.engraving.drawing_reader import Seen, read
from trainer.judging.verdict import Harmony, MomentVerdict, Movement, PassVerdict, Timing
from trainer.score.exercise import Exercise, Note
from trainer.theory.fault import Fault
from trainer.theory.pitch import Pitch
from trainer.theory.rules import RULES
from trainer.theory.voicing import VOICES, VoiceName, Voicing

# head, flags and dots of a length in quarter notes (common practice, no source)
VALUES = {
    Fraction(4): ("whole", 0, 0),
    Fraction(3): ("half", 0, 1),
    Fraction(2): ("half", 0, 0),
    Fraction(3, 2): ("black", 0, 1),
    Fraction(1): ("black", 0, 0),
    Fraction(3, 4): ("black", 1, 1),
    Fraction(1, 2): ("black", 1, 0),
    Fraction(1, 4): ("black", 2, 0),
}


@dataclass(frozen=True, order=True)
class Found:
    """A note of the page: what began when, on which staff (0 above), how long it is written."""

    moment: int
    staff: int
    pitch: str
    value: tuple[str, int, int]


def differences(
    exercise: Exercise, svgs: Iterable[str], verdicts: Sequence[MomentVerdict]
) -> tuple[int, list[str]]:
    """How many of the player's and of the printed notes were compared, and what is wrong."""
    found: Counter[Found] = Counter()
    told: list[str] = []
    printed = 0
    reached: set[int] = set()
    for svg in svgs:
        seen, figures = read(svg)
        columns = _columns(exercise, seen, figures)
        reached |= {moment for _, _, moment in columns}
        for note in seen:
            if note.source:
                printed += 1
                told += _printed_wrong(exercise, note)
        for note, moment in _by_moment(seen, columns):
            value = (note.head, note.flags, note.dots)
            found[Found(moment, note.staff, note.pitch, value)] += 1
    wanted = Counter(one for one in _wanted(exercise, verdicts) if one.moment in reached)
    told += [f"missing {one}" for one in sorted((wanted - found).elements())]
    told += [f"extra {one}" for one in sorted((found - wanted).elements())]
    missed = {v.index for v in verdicts} - reached
    told += [f"moment {index} is on no page" for index in sorted(missed)]
    return wanted.total() + printed, told


def _columns(
    exercise: Exercise, seen: Sequence[Seen], figures: Mapping[int, float]
) -> list[tuple[int, float, int]]:
    """Where the moments stand: system, left edge, moment; by printed heads, else by figures."""
    moments = {moment.onset: moment.index for moment in exercise.moments}
    columns: dict[int, tuple[int, float]] = {}
    begins: list[tuple[Fraction, int]] = []
    for note in seen:
        onset = _onset(exercise, note) if note.source else None
        if onset is not None and onset in moments:
            begins.append((onset, note.system))
            columns.setdefault(moments[onset], (note.system, note.x))
    begins.sort()
    for index, middle in figures.items():
        onset = exercise.moments[index].onset
        before = bisect_right(begins, (onset, 1 << 30)) - 1
        system = begins[max(0, before)][1]
        space = 0.59 * seen[0].space
        columns.setdefault(index, (system, middle - space))
    return [(system, x, index) for index, (system, x) in columns.items()]


def _by_moment(
    seen: Sequence[Seen], columns: Sequence[tuple[int, float, int]]
) -> Iterator[tuple[Seen, int]]:
    """The player's notes with the moment each belongs to: the column that its cluster stands in,
    of heads side by side; where a cluster reaches over two or over none, one that is so near to
    its left that only a sign stands between, else the nearest."""
    for key in {(note.system, note.staff) for note in seen}:
        own = [(x, moment) for system, x, moment in columns if system == key[0]]
        here = sorted((n for n in seen if (n.system, n.staff) == key), key=lambda n: n.x)
        clusters: list[list[Seen]] = []
        for note in here:
            wide = (1.75 if note.head == "whole" else 1.25) * note.space
            if clusters and note.x - clusters[-1][-1].x < wide:
                clusters[-1].append(note)
            else:
                clusters.append([note])
        for cluster in clusters:
            inside = {m for x, m in own if any(abs(x - n.x) < 0.2 * n.space for n in cluster)}
            for note in cluster:
                if not note.source:
                    away = [(abs(x - note.x), moment) for x, moment in own]
                    behind = [(note.x - x, m) for x, m in own if 0 < note.x - x < 2.45 * note.space]
                    nearest = min(behind or away)[1]
                    yield note, next(iter(inside)) if len(inside) == 1 else nearest


_NAME = re.compile(r"(melody|alto|tenor|bass)-(\d+)(?:-from-(\d+)-(\d+))?(-\d+)?$")


def _onset(exercise: Exercise, note: Seen) -> Fraction | None:
    """When a printed head begins, be it a note or one that goes on over a barline."""
    found = _NAME.search(note.source)
    assert found is not None, note.source
    if found[5]:
        return None  # the second of two values that are tied
    if found[3]:
        return Fraction(int(found[3]), int(found[4]))
    onset: Fraction = getattr(exercise, found[1])[int(found[2])].onset
    return onset


def _source(exercise: Exercise, note: Seen) -> Note | None:
    """The printed note that begins with this head; None where one only goes on."""
    found = _NAME.search(note.source)
    assert found is not None, note.source
    source: Note = getattr(exercise, found[1])[int(found[2])]
    return None if found[3] or found[5] or source.tied else source


def _printed_wrong(exercise: Exercise, note: Seen) -> Iterator[str]:
    source = _source(exercise, note)
    if source is not None and str(source.pitch) != note.pitch:
        yield f"{note.source} is {source.pitch} and reads {note.pitch}"


def _wanted(exercise: Exercise, verdicts: Sequence[MomentVerdict]) -> Iterator[Found]:
    staves = _tenor_staves(exercise, verdicts)
    for verdict in verdicts:
        if verdict.voicing is None:
            continue
        moment = exercise.moments[verdict.index]
        given = {"bass"} if moment.melody is None else {"soprano", "bass"}
        value = VALUES[moment.duration]
        notes = [(v, pitch) for v in VOICES if (pitch := verdict.voicing[v]) is not None]
        if len(notes) == 4 and len({pitch for _, pitch in notes}) <= 2:
            # one or two keys that the judge gave to four voices: each is written once, by the
            # lowest voice that has it, and the bass is printed
            lowest = {pitch: voice for voice, pitch in notes if voice != "bass"}
            notes = [(v, pitch) for pitch, v in lowest.items() if pitch != verdict.voicing.bass]
        for voice, pitch in notes:
            if voice not in given:
                staff = staves[verdict.index] if voice == "tenor" else 0
                # what lies more than four ledger lines away stands on the other staff
                if (staff == 0 and pitch.height < 21) or (staff == 1 and pitch.height > 35):
                    staff = 1 - staff
                yield Found(verdict.index, staff, str(pitch), value)


def _tenor_staves(exercise: Exercise, verdicts: Sequence[MomentVerdict]) -> dict[int, int]:
    """By phrase, where its first note takes fewer ledger lines; as before where as many."""
    staff = 1
    found = {}
    heard = {
        v.index: v.voicing.tenor
        for v in verdicts
        if v.voicing is not None
        and not (len({*v.voicing}) <= 2 and v.voicing.tenor == v.voicing.bass)
    }
    for phrase in exercise.phrases:
        inside = range(phrase.first, phrase.last + 1)
        heights = [pitch.height for i in inside if (pitch := heard.get(i)) is not None][:1]
        # lines below e4 and above f5, below g2 and above a3; c4 is 28
        above = sum((30 - h) // 2 if h < 30 else max(0, (h - 38) // 2) for h in heights)
        below = sum((18 - h) // 2 if h < 18 else max(0, (h - 26) // 2) for h in heights)
        if above != below:
            staff = 0 if above < below else 1
        found.update(dict.fromkeys(inside, staff))
    return found


# ---- passes to be shown -----------------------------------------------------------------------


def as_played(
    exercise: Exercise, voicings: Sequence[Voicing], chance: random.Random, *, wild: float
) -> PassVerdict:
    """A pass with these voicings; `wild` is the part of the chords in which a hand goes astray.

    Such a chord is skipped, or only its bass is heard, or it has a note moved by a step, a
    semitone, an octave, onto another voice, or left out; and faults of every rule are said of
    chords and pairs by chance.
    """
    verdicts = []
    for moment, voicing in zip(exercise.moments, voicings, strict=True):
        astray = chance.random() < wild
        late = round(chance.uniform(-0.9, 0.9), 3) if astray else None
        if astray and chance.random() < 0.15:
            verdicts.append(MomentVerdict(moment.index, "not-played"))
            continue
        heard = _astray(moment.melody is None, voicing, chance) if astray else voicing
        if astray and chance.random() < 0.1:
            heard = Voicing(voicing.bass, voicing.bass, voicing.bass, voicing.bass)
        outcome = "foreign" if astray else "complete"
        verdicts.append(
            MomentVerdict(
                moment.index,
                outcome,
                (),
                heard,
                late_ms=None if late is None else 1000 * late,
                late_beats=late,
            )
        )
    faults = tuple(_faults(verdicts, chance, wild))
    return PassVerdict(
        tuple(verdicts), faults, Harmony(1, 2), Timing(1, 2, 0.0, 1.0), Movement(1, 1, 1, 1, 2)
    )


def _astray(top_free: bool, voicing: Voicing, chance: random.Random) -> Voicing:
    free: tuple[VoiceName, ...] = VOICES[:3] if top_free else ("alto", "tenor")
    voice = chance.choice(free)
    pitch = voicing[voice]
    other = voicing[chance.choice(VOICES)]
    if pitch is None or other is None:
        return voicing
    kind = chance.randrange(6)
    if kind == 0:
        return replace(voicing, **{voice: None})
    if kind == 1:
        return replace(voicing, **{voice: other})
    step, octave, alter = pitch.step, pitch.octave, pitch.alter
    if kind == 2:
        alter = max(-2, min(2, alter + chance.choice((-1, 1))))
    elif kind == 3:
        octave += chance.choice((-1, 1))
    elif kind == 4:
        height = 7 * octave + step + chance.choice((-1, 1))
        octave, step = divmod(height, 7)
    else:
        octave, step, alter = other.octave, other.step, chance.choice((-1, 0, 1))
    return replace(voicing, **{voice: Pitch(step, alter, octave)})


def _faults(
    verdicts: Sequence[MomentVerdict], chance: random.Random, wild: float
) -> Iterator[Fault]:
    """Faults of any rule, at the notes that were heard; often several at one chord."""
    heard = [v for v in verdicts if v.voicing is not None]
    for first, second in pairwise(heard):
        while chance.random() < wild:
            rule = chance.choice(RULES)
            voices = tuple(sorted(chance.sample(VOICES, 2), key=VOICES.index))
            assert first.voicing is not None and second.voicing is not None
            notes = [first.voicing[v] for v in voices] + [second.voicing[v] for v in voices]
            if None in notes:
                continue
            pitches = tuple(note for note in notes if note is not None)
            moments = (first.index, second.index)
            if rule.id.startswith(
                ("missing", "foreign", "wrong", "doubled", "spacing", "crossing")
            ):
                pitches, moments = pitches[2:], moments[1:]
            yield Fault(rule.id, rule.weight, moments, voices, pitches, "said of this")
