"""Where the beats fall, and how far from them the player was.

A tempo counts tactus beats a minute; the tactus is the metre's (`Metre.beat_length`), so a change
of metre changes what a beat is, not how long it lasts. Times are seconds from the first moment
played.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import median
from typing import Literal

from trainer.errors import InputError
from trainer.judging.take import Conditions
from trainer.judging.verdict import (
    MANNERS,
    Attack,
    HandTiming,
    MomentVerdict,
    Onset,
    Timing,
    Touch,
)
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
    """When a chord was struck, seconds."""
    return struck_at(chord.first, chord.last)


def struck_at(first: float, last: float) -> float:
    """When keys were struck of which these are the first and the last, seconds: struck together
    they count from their middle (two hands are never one), a rolled chord from its first key."""
    return first + (last - first) / 2 if last - first <= TOGETHER else first


# ---- in time --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What is still in time: so much of a beat, and in fast tempi so many milliseconds at least,
    below which nobody hears a difference, or no hand can help it."""

    beats: float
    least_ms: float

    def allows(self, onset: Onset) -> bool:
        return abs(onset.ms) <= self.least_ms or abs(onset.beats or 0.0) <= self.beats


Untimely = Literal["early", "late", "apart"]

# Common practice, no source: the milliseconds are those between two hands that play as one.
LEAST_MS = 50.0  # a chord, and the left hand, to the beat; the part of the beat is the player's
APART = Tolerance(beats=0.2, least_ms=130.0)  # the right hand to the left


def to_the_beat(tolerance: float) -> Tolerance:
    """Of the left hand, and of a chord: `tolerance` is a part of a beat (`Conditions`)."""
    return Tolerance(tolerance, LEAST_MS)


def timely(late: Onset | None, attack: Attack | None, tolerance: float) -> bool:
    """Whether a chord was struck in time, both hands of it, as a `MomentVerdict` tells it.
    `tolerance` is a part of a beat."""
    timed = late is not None and late.beats is not None
    return timed and untimely(late, attack, tolerance) is None


def untimely(
    late: Onset | None, attack: Attack | None, tolerance: float
) -> tuple[Untimely, float] | None:
    """What of a chord was out of time, and by how many beats (positive when late): all of it, or,
    of hands that came apart, the one farther from the beat. None in time, and untimed."""
    if late is None or late.beats is None:
        return None
    # marks by older rules know one onset, and one measure
    beat = Tolerance(tolerance, 0.0) if attack is None else to_the_beat(tolerance)
    if not beat.allows(late):
        return "late" if late.beats > 0 else "early", late.beats
    if attack is None or hands_together(attack):
        return None
    hands = [one.beats or 0.0 for one in (attack.left, attack.right) if one is not None]
    return "apart", max(hands, key=abs)


def hands_together(attack: Attack) -> bool:
    """Whether the right hand came with the left. A rolled chord is one gesture."""
    rolled = attack.manner in ("rolled up", "rolled down")
    return rolled or attack.apart is None or APART.allows(attack.apart)


def timing(moments: Iterable[MomentVerdict], tolerance: float) -> Timing:
    """The figure for time: see `Timing`. `tolerance` is a part of a beat."""
    heard = [m for m in moments if m.late_ms is not None and m.late_beats is not None]
    errors = [m.late_ms for m in heard if m.late_ms is not None]
    if not errors:
        return Timing(0, 0, 0.0, 0.0)
    in_time = sum(timely(m.late, m.attack, tolerance) for m in heard)
    return Timing(in_time, len(errors), *_middle(errors), _touch(heard, tolerance))


def _touch(heard: Iterable[MomentVerdict], tolerance: float) -> Touch | None:
    struck = [(m.attack, m.spread_ms or 0.0) for m in heard if m.attack is not None]
    if not struck:
        return None
    beat = to_the_beat(tolerance)
    left = [(one.left, beat.allows(one.left)) for one, _ in struck if one.left is not None]
    right = [
        (one.right, beat.allows(one.right))
        if one.apart is None
        else (one.apart, hands_together(one))
        for one, _ in struck
        if one.right is not None
    ]
    counts = Counter(one.manner for one, _ in struck)
    manners = tuple((manner, counts[manner]) for manner in MANNERS if counts[manner])
    return Touch(_hand(left), _hand(right), *_middle([spread for _, spread in struck]), manners)


def _hand(onsets: Sequence[tuple[Onset, bool]]) -> HandTiming | None:
    if not onsets:
        return None
    return HandTiming(
        sum(timely for _, timely in onsets), len(onsets), *_middle([one.ms for one, _ in onsets])
    )


def _middle(numbers: Sequence[float]) -> tuple[float, float]:
    """The median, and how far the numbers lie from it, as `Timing` has it."""
    middle = median(numbers)
    return round(middle, 3), round(1.4826 * median(abs(one - middle) for one in numbers), 3)


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
