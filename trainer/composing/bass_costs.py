"""What a figured bass costs: each chord by itself, and each step from one to the next.

Costs are whole numbers, less is better, None or FORBIDDEN is not allowed. The weights are our own
taste; what is forbidden is common practice: fifths and octaves of the outer voices, hidden ones
where the melody leaps, suspensions unprepared, sevenths and leading tones that go astray.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from trainer.composing.harmonies import Chord, Tone, closes, foreign, progressions
from trainer.score.exercise import Note
from trainer.score.syllabus import Vocabulary, bare, vocabulary
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch
from trainer.theory.realize.lattice import FORBIDDEN, Costs

CLOSEST = 11  # semitones from the bass up to the melody, at least
_CLOSE, _WIDEST = 15, 33
_COMFORT = range(41, 58)
_BEGINNERS = 12  # the last step at which every moment should leave a choice
_NO_CLOSE = 90  # a phrase that ends in no close of the tables
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Taste:
    """What to lean to, as costs added (positive) or taken away (negative).

    `leaps`: on each bass leap of a third and more. `inversions`: on each chord that is no root
    position. `colour`: on each seventh and each chord foreign to the key. `busy`: on each bass
    note divided or moving under a melody note. `novelty`: taken away where a figuring is new at
    the step. `chance`: the seed adds 0 to `chance` at each choice.
    """

    leaps: int = 0
    inversions: int = 0
    colour: int = 0
    busy: int = 0
    novelty: int = 8
    chance: int = 7


@dataclass(frozen=True, slots=True)
class Part:
    """A chord over a bass note, `beats` quarter notes long."""

    chord: Chord
    bass: Pitch
    beats: Fraction


Choice = tuple[Part, ...]


@dataclass(frozen=True)
class Setting:
    """A melody and everything known about where it stands."""

    melody: tuple[Note, ...]
    key: Key
    metre: Metre
    pickup: Fraction
    step: int
    taste: Taste

    def weight(self, onset: Fraction) -> int:
        """How strong the beat is: 3 the first of the bar, 2 its half, 1 another beat, 0 within."""
        at = (onset - self.pickup) % self.metre.bar_length / self.metre.beat_length
        if at == 0:
            return 3
        if at.denominator != 1:
            return 0
        return 2 if self.metre.beats % 2 == 0 and at * 2 == self.metre.beats else 1


def tone_of(pitch: Pitch, key: Key) -> Tone:
    return key.degree(pitch.step), pitch.alter - key.alter(pitch.step)


def own_cost(
    choice: Choice, index: int, setting: Setting, chance: random.Random, featured: bool
) -> int:
    """What a choice costs by itself; `featured` notes invite what is new at the step."""
    melody = setting.melody[index].pitch
    assert melody is not None
    novelty = setting.taste.novelty if featured else 0
    cost = chance.randint(0, setting.taste.chance)
    cost += sum(_part_cost(part, melody, setting, novelty) for part in choice)
    if len(choice) == 2:
        cost += _division_cost(*choice, setting, novelty)
    elif choice[0].chord.before:
        cost += 4
    return cost + (_opening_cost(choice[0].chord, setting) if index == 0 else 0)


def _part_cost(part: Part, melody: Pitch, setting: Setting, novelty: int) -> int:
    """One chord under the melody, wherever it stands."""
    chord, taste, new = part.chord, setting.taste, _new_at(setting.step)
    cost = _plain_cost(chord, setting.key.mode)
    if chord.shape == "sixth" or chord.bass != chord.tones[0]:
        cost += taste.inversions
    if chord.shape == "seventh" or foreign(chord, setting.key.mode):
        cost += taste.colour
    figurings = new.figurings | (new.in_minor if setting.key.is_minor else frozenset())
    if chord.figures in figurings:
        cost -= novelty
    if part.bass.midi not in _COMFORT:
        cost += 2 * min(abs(part.bass.midi - end) for end in (_COMFORT[0], _COMFORT[-1]))
    if setting.step <= _BEGINNERS and _leaves_no_choice(chord, tone_of(melody, setting.key)):
        cost += 24
    gap = melody.midi - part.bass.midi
    return cost + 6 * (gap < _CLOSE) + 2 * max(0, gap - _WIDEST)


def _division_cost(first: Part, second: Part, setting: Setting, novelty: int) -> int:
    """Two chords under one note of the melody."""
    cost = 8 + setting.taste.busy + (8 if first.beats < setting.metre.beat_length else 0)
    pair = f"{bare(first.chord.figures)}, {bare(second.chord.figures)}"
    if first.bass == second.bass and pair in _new_at(setting.step).successions:
        cost -= 2 * novelty
    cost += _or_forbidden(chords_joined(first.chord, second.chord, setting.key.mode))
    return cost + abs(second.bass.height - first.bass.height)


def _opening_cost(chord: Chord, setting: Setting) -> int:
    if chord.shape == "triad" and chord.name in ("I", "i"):
        return 0
    return 8 if chord.shape == "triad" and chord.name == "V" and setting.pickup > 0 else 70


@lru_cache(maxsize=32)
def _new_at(step: int) -> Vocabulary:
    """What the step itself brings."""
    now, before = vocabulary(step), vocabulary(step - 1) if step > 1 else None
    if before is None:
        return now
    return Vocabulary(
        now.figurings - before.figurings,
        now.in_minor - before.in_minor,
        now.successions - before.successions,
        now.any_accidental and not before.any_accidental,
        now.max_accidentals,
    )


def _leaves_no_choice(chord: Chord, tone: Tone) -> bool:
    """Sixths whose melody doubles the bass or has the leading tone: one voicing, or two."""
    return chord.shape == "sixth" and (
        tone == chord.bass or (chord.name in ("vii", "vii/V") and tone == chord.tones[0])
    )


def _plain_cost(chord: Chord, mode: str) -> int:
    cost = {"triad": 0, "sixth": 3, "seventh": 9, "six-four": 3, "suspension": 3}[chord.shape]
    if chord.shape == "seventh":
        place = chord.tones.index(chord.bass)
        if chord.name in ("V7", "VII7"):
            cost -= 4
        elif chord.name == "ii7":
            cost += (0, -2, 10, 6)[place]
        elif chord.name.startswith("V7/"):
            cost += (0, 0, 4, 2)[place]
        else:
            cost += (4, 6, 16, 10)[place]
    if chord.shape == "triad" and (chord.name == "iii" or (chord.name == "v" and mode == "minor")):
        cost += 8
    if foreign(chord, mode):
        cost += 9
    return cost


@lru_cache(maxsize=1 << 16)
def chords_joined(a: Chord, b: Chord, mode: str) -> int | None:
    """The cost of one chord after another, None where it may not be."""
    if a.before:
        resolved = b.name in (a.name, a.name + "7") and b.bass == a.bass and not b.before
        return 0 if resolved else None
    progress = _progress(a, b, mode)
    if progress is None or not _seventh_goes_on(a, b) or not _bass_goes_on(a, b):
        return None
    entry = _seventh_comes_in(a, b)
    return None if entry is None else progress + entry + _false_relations(a, b)


def _progress(a: Chord, b: Chord, mode: str) -> int | None:
    """One harmony after another, or the same again."""
    if b.name == a.name or b.name == a.name + "7":
        return None if a.seventh or (b.before and b.shape == "suspension") else 3
    if a.name == b.name + "7":
        return None
    return progressions(mode).get((a.name, b.name))


def _seventh_goes_on(a: Chord, b: Chord) -> bool:
    """The seventh falls, or waits through a six-four; in the bass it falls itself."""
    if a.seventh is None or a.falls_to is None:
        return True
    falls = any(tone[0] == a.falls_to[0] for tone in b.tones)
    waits = b.shape == "six-four" and a.seventh in b.tones
    return (falls or waits) and (a.bass != a.seventh or b.bass[0] == a.falls_to[0])


def _seventh_comes_in(a: Chord, b: Chord) -> int | None:
    """Prepared, or free, or at a price from a neighbouring note; a suspension only prepared."""
    if b.seventh is None:
        return 0
    if b.bass == b.seventh:
        return 0 if a.bass == b.bass or (a.bass[0] - b.bass[0]) % 7 == 1 else None
    if b.seventh in a.tones:
        return None if b.shape == "suspension" and b.seventh == a.seventh else 0
    if b.shape == "suspension":
        return None
    if b.free:
        return 0
    return 6 if any((tone[0] - b.seventh[0]) % 7 in (1, 6) for tone in a.tones) else None


def _false_relations(a: Chord, b: Chord) -> int:
    return 5 * sum(
        tone[0] == other[0] and tone[1] != other[1] and (tone != a.bass or other != b.bass)
        for tone in a.tones
        for other in b.tones
    )


def _bass_goes_on(a: Chord, b: Chord) -> bool:
    """Leading tones in the bass rise, lowered notes fall, unless the harmony stays."""
    if a.name.removesuffix("7") == b.name.removesuffix("7"):
        return True
    rise = (b.bass[0] - a.bass[0]) % 7
    if a.bass[1] > 0 or (a.bass == (7, 0) and a.name in ("V", "V7", "vii") and a.seventh != a.bass):
        return rise == 1
    if a.bass[1] < 0:
        return rise == 6
    return True


def step_costs(before: list[Choice], after: list[Choice], place: int, setting: Setting) -> Costs:
    """From every choice at melody note `place` to every one at the next, (before, after)."""
    note, following = setting.melody[place], setting.melody[place + 1]
    assert note.pitch is not None and following.pitch is not None
    a, b = [choice[-1] for choice in before], [choice[0] for choice in after]
    basses_a, at_a = _numbered([part.bass for part in a])
    basses_b, at_b = _numbered([part.bass for part in b])
    moved = np.array(
        [
            [_or_forbidden(_motion(p, q, note.pitch, following.pitch)) for q in basses_b]
            for p in basses_a
        ],
        np.int64,
    )
    motion = moved[at_a][:, at_b]
    chords_a, chord_a = _numbered([part.chord for part in a])
    chords_b, chord_b = _numbered([part.chord for part in b])
    if note.fermata:
        start = [{"triad": 0, "sixth": 4}.get(c.shape, 30) for c in chords_b]
        breathed = np.where(motion >= FORBIDDEN, 30, motion // 2)
        return breathed + np.array(start, np.int64)[chord_b][None, :]
    weight_after = setting.weight(following.onset)
    weights = np.array([setting.weight(following.onset - part.beats) for part in a])
    last = place + 2 == len(setting.melody)
    closing = following.fermata or last
    pairs = [[_pair(c, d, place, setting) for d in chords_b] for c in chords_a]
    harmony = np.array(pairs, np.int64)[chord_a][:, chord_b]
    same_pitch = np.array([[p == q for q in basses_b] for p in basses_a])[at_a][:, at_b]
    same_step = np.array([[p.step == q.step for q in basses_b] for p in basses_a])[at_a][:, at_b]
    leap = np.array([[abs(p.height - q.height) > 1 for q in basses_b] for p in basses_a])
    same_name = np.array([[c.name == d.name for d in chords_b] for c in chords_a])
    same_name = same_name[chord_a][:, chord_b]
    comes_before = np.array([c.before for c in chords_a])[chord_a][:, None]
    into_strong = (weights < weight_after)[:, None]
    cost = harmony + motion + np.where(leap[at_a][:, at_b], setting.taste.leaps, 0)
    repeated = same_step & ~comes_before
    cost += np.where(repeated, np.where(into_strong, 16, 6), 0)
    if note.pitch != following.pitch:
        cost += np.where(repeated & same_name, 4, 0)
    cost += np.where(~same_step & same_name & into_strong, 12, 0)
    if closing:
        prices = [[_price(c, d, setting.key.mode, last) for d in chords_b] for c in chords_a]
        price = np.array(prices, np.int64)[chord_a][:, chord_b]
        allowed = (motion < FORBIDDEN) & (harmony < FORBIDDEN)
        closed = np.where(allowed, motion // 2 + price, FORBIDDEN)
        cost = np.where(price < FORBIDDEN, closed, FORBIDDEN if last else cost + _NO_CLOSE)
    wrong = comes_before & (~same_pitch | (weights <= weight_after)[:, None])
    return np.where(wrong, FORBIDDEN, np.minimum(cost, FORBIDDEN))


def _numbered(values: list[_T]) -> tuple[list[_T], NDArray[np.intp]]:
    """The different values in order, and for each of `values` its place among them."""
    places: dict[_T, int] = {}
    for value in values:
        places.setdefault(value, len(places))
    return list(places), np.array([places[value] for value in values], np.intp)


def _or_forbidden(cost: int | None) -> int:
    return FORBIDDEN if cost is None else cost


def _pair(a: Chord, b: Chord, place: int, setting: Setting) -> int:
    note, after = setting.melody[place], setting.melody[place + 1]
    assert note.pitch is not None and after.pitch is not None
    if b.shape == "six-four" and setting.weight(after.onset) < 2:
        return FORBIDDEN
    if not _melody_treats(a, b, note.pitch, after.pitch, setting.key):
        return FORBIDDEN
    return _or_forbidden(chords_joined(a, b, setting.key.mode))


def _price(a: Chord, b: Chord, mode: str, last: bool) -> int:
    """What a close costs, FORBIDDEN if the tables have it not."""
    close = closes(mode).get((a.name, a.bass, b.name, b.bass))
    if close is None or b.shape not in ("triad", "suspension"):
        return FORBIDDEN
    return _or_forbidden(close[1] if last else close[0])


def _motion(a: Pitch, b: Pitch, melody: Pitch, after: Pitch) -> int | None:
    """The cost of the bass's motion against the melody's; None for fifths, octaves and the like."""
    own = _bass_interval(b.midi - a.midi, abs(b.height - a.height))
    if own is None:
        return None
    bass_by, melody_by = b.midi - a.midi, after.midi - melody.midi
    if bass_by == 0 or melody_by == 0:
        return own + (2 if bass_by else 0)
    alike = (bass_by > 0) == (melody_by > 0)
    now, then = (melody.midi - a.midi) % 12, (after.midi - b.midi) % 12
    if then in (0, 7):
        leaps = abs(after.height - melody.height) > 1
        if now == then or (alike and (leaps or now == 6)):
            return None
        own += 14 if alike else 0
    return own + (6 if alike else 0)


def _bass_interval(semitones: int, steps: int) -> int | None:
    """What the bass sings by itself: nothing beyond the octave, no sevenths, sixths only rising,
    no augmented interval; a diminished fifth at a price."""
    if steps > 7 or steps == 6 or (steps == 5 and semitones < 0):
        return None
    size = abs(semitones)
    augmented = (steps == 1 and size > 2) or (steps == 3 and size == 6)
    if augmented or (steps == 2 and size not in (3, 4)):
        return None
    diminished = steps == 4 and size == 6
    return {0: 0, 1: 0, 2: 5, 3: 4, 4: 4, 5: 14, 7: 10}[steps] + (10 if diminished else 0)


def _melody_treats(a: Chord, b: Chord, melody: Pitch, after: Pitch, key: Key) -> bool:
    """Whether a dissonance the melody has is prepared and falls."""
    tone, tone_after = tone_of(melody, key), tone_of(after, key)
    by = after.height - melody.height
    if tone == a.seventh and not (by == -1 or (by == 0 and b.shape == "six-four")):
        return False
    if a.shape == "six-four" and tone != a.bass and by != -1:
        return False
    if tone_after == b.seventh and b.shape != "six-four":
        if b.shape == "suspension" and by != 0:
            return False
        if not b.free and abs(by) > 1:
            return False
    # a leading tone in the melody that the harmony turns into something else
    return not (tone == (7, 0) and a.name in ("V", "V7") and b.name in ("I",) and by < -2)
