"""Where the beats fall, and how far from them the player was.

A tempo counts tactus beats a minute; the tactus is the metre's (`Metre.beat_length`), so a change
of metre changes what a beat is, not how long it lasts. Times are seconds from the first moment
played.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from statistics import median

from trainer.errors import InputError
from trainer.judging.take import Conditions
from trainer.judging.verdict import MomentVerdict, Timing
from trainer.listening.capture import TOGETHER
from trainer.listening.events import StruckChord
from trainer.score.exercise import Exercise
from trainer.theory.moment import Moment

SLOWEST, FASTEST = 10.0, 400.0  # beats a minute: beyond, no hand and no clock can follow


@dataclass(frozen=True, slots=True)
class Beat:
    """One beat of the tactus: `time` in seconds, `first` of its bar."""

    time: float
    first: bool


@dataclass(frozen=True, slots=True)
class Timeline:
    """Times of an exercise in tempo, `times[i]` of moment `first + i`; `end` of the last's end."""

    first: int
    times: tuple[float, ...]
    end: float
    beats: tuple[Beat, ...]
    beat_lengths: tuple[float, ...]  # seconds a beat lasts at each moment

    def time(self, index: int) -> float:
        """Seconds from the first moment played to moment `index`."""
        return self.times[index - self.first]

    def beat_length(self, index: int) -> float:
        """Seconds a beat lasts at moment `index`."""
        return self.beat_lengths[index - self.first]


def bounds(exercise: Exercise, conditions: Conditions) -> tuple[int, int]:
    """First and last moment played; InputError if the exercise does not have them."""
    last_of_all = len(exercise.moments) - 1
    first = 0 if conditions.first is None else conditions.first
    last = last_of_all if conditions.last is None else conditions.last
    if not 0 <= first <= last <= last_of_all:
        raise InputError(
            f"moments {first} to {last} are not in {exercise.id}",
            remedy=f"it has moments 0 to {last_of_all}",
        )
    return first, last


def played(exercise: Exercise, conditions: Conditions) -> tuple[Moment, ...]:
    """The moments of a pass."""
    first, last = bounds(exercise, conditions)
    return exercise.moments[first : last + 1]


def timeline(exercise: Exercise, conditions: Conditions) -> Timeline:
    """The times of a pass; InputError for a tempo nobody can play."""
    tempo = conditions.tempo
    if tempo is None or not SLOWEST <= tempo <= FASTEST:
        raise InputError(
            f"a tempo of {tempo:g} beats a minute cannot be played"
            if tempo is not None
            else "an untimed pass has no beats",
            remedy=f"choose one from {SLOWEST:g} to {FASTEST:g}",
        )
    moments = played(exercise, conditions)
    seconds = 0.0
    times: list[float] = []
    lengths: list[float] = []
    beats: list[Beat] = []
    for moment in moments:
        beat_length = 60.0 / (tempo * _share(conditions, moment.index))
        times.append(seconds)
        lengths.append(beat_length)
        quarter = beat_length / float(moment.metre.beat_length)
        beats += _beats_within(moment, seconds, quarter)
        seconds += float(moment.duration) * quarter
    return Timeline(moments[0].index, tuple(times), seconds, tuple(beats), tuple(lengths))


def count_in(moment: Moment, beat_length: float) -> tuple[Beat, ...]:
    """The beats before a moment, times negative: a whole bar, and the beats of the moment's own
    bar that come before it. `beat_length` in seconds."""
    metre = moment.metre
    whole = int(metre.bar_length / metre.beat_length)
    before = moment.beat - 1
    ahead = -(-before.numerator // before.denominator)  # beats of this bar, begun ones included
    late = float(before)
    return tuple(
        Beat((position - late) * beat_length, position % whole == 0)
        for position in range(-whole, ahead)
    )


def onset(chord: StruckChord) -> float:
    """When a chord was struck, seconds: keys struck together count from their middle (two hands
    are never one), a rolled chord from its first key."""
    return chord.first + chord.spread / 2 if chord.spread <= TOGETHER else chord.first


def timing(moments: Iterable[MomentVerdict], tolerance: float) -> Timing:
    """The figure for time: see `Timing`. `tolerance` is a part of a beat."""
    heard = [m for m in moments if m.late_ms is not None and m.late_beats is not None]
    errors = [m.late_ms for m in heard if m.late_ms is not None]
    if not errors:
        return Timing(0, 0, 0.0, 0.0)
    bias = median(errors)
    deviation = 1.4826 * median(abs(error - bias) for error in errors)
    in_time = sum(1 for m in heard if abs(m.late_beats or 0.0) <= tolerance)
    return Timing(in_time, len(errors), bias, deviation)


def _share(conditions: Conditions, index: int) -> float:
    shares = [part for first, last, part in conditions.slower if first <= index <= last]
    for part in shares:
        if not 0.1 <= part <= 1.0:
            raise InputError(f"{part:g} is no part of a tempo", remedy="give one from 0.1 to 1")
    return min(shares, default=1.0)


def _beats_within(moment: Moment, seconds: float, quarter: float) -> list[Beat]:
    """The beats from a moment's onset to just before its end; `quarter` in seconds."""
    tactus = moment.metre.beat_length
    into = (moment.beat - 1) % 1
    ahead = Fraction(0) if into == 0 else (1 - into) * tactus
    position = moment.beat - 1 + ahead / tactus
    whole = moment.metre.bar_length / tactus
    beats = []
    while ahead < moment.duration:
        beats.append(Beat(seconds + float(ahead) * quarter, position % whole == 0))
        ahead += tactus
        position += 1
    return beats
