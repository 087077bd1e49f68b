"""What is said of a moment and of a pass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from trainer.theory.fault import WEIGHTS, Fault
from trainer.theory.voicing import Voicing

Outcome = Literal["complete", "incomplete", "foreign", "wrong-bass", "wrong-melody", "not-played"]
# what the hand, the eye or the ear did that explains a wrong chord (`trainer.judging.why`)
Why = Literal[
    "bass-alone",  # or what is given alone: no chord was played
    "held-on",  # the chord before was not left
    "accidental-forgotten",
    "finger-beside",
    "figure-not-read",
    "bass-misread",  # the chord stands right over another bass
    "hand-shifted",
    "an-octave-away",  # a given voice over several chords (`trainer.judging.octaves`)
]
WHYS: tuple[Why, ...] = get_args(Why)
CauseKind = Why | Literal["fault"]  # the last stands for itself
# how the keys of a chord go down: at once, one after another from the bass or from the top, each
# hand at once, anyhow
Manner = Literal["together", "rolled up", "rolled down", "hands apart", "spread"]
MANNERS: tuple[Manner, ...] = get_args(Manner)


@dataclass(frozen=True, slots=True)
class Onset:
    """When something was struck: `ms` and `beats` from the time it stands for, positive when late.
    Untimed nothing stands for a time: `ms` counts from the chord's first key, `beats` is None."""

    ms: float
    beats: float | None = None


def onset_of(ms: float | None, beats: float | None) -> Onset | None:
    """The onset that these two tell of; None where nothing was struck, and untimed."""
    return None if ms is None else Onset(ms, beats)


@dataclass(frozen=True, slots=True)
class Attack:
    """How the keys struck for a moment went down, and when: the bass, the melody (the highest of
    the right hand), the left hand and the right; None for what was not struck."""

    manner: Manner
    bass: Onset | None = None
    melody: Onset | None = None
    left: Onset | None = None
    right: Onset | None = None

    @property
    def apart(self) -> Onset | None:
        """How the right hand lies to the left; None where one of them struck nothing."""
        if self.left is None or self.right is None:
            return None
        ms = round(self.right.ms - self.left.ms, 3)
        if self.left.beats is None or self.right.beats is None:
            return Onset(ms)
        return Onset(ms, round(self.right.beats - self.left.beats, 6))


@dataclass(frozen=True, slots=True)
class MomentVerdict:
    """Harmony and timing at one moment.

    `missing`, `foreign` and `additions` are intervals over the bass as figures (`3`, `b7`, `#4`).
    `voicing` is what was heard, spelled, each voice where the least faulty assignment puts it.
    `late_ms` is the onset error, positive when late, `late_beats` the same in beats; both None
    when untimed or not played. Of hands that come apart it is that of the one nearer to the beat;
    `attack` tells more (None in marks by rules before 4, and where nothing was struck).
    `spread_ms` is from the chord's first key to its last. `think_s` is the time from the moment's
    beginning to wait (a single question's first being seen) to the first key of the chord with
    which it was complete, breaks taken off; of the last attempt, if it never was. None in tempo.
    """

    index: int
    outcome: Outcome
    keys: tuple[int, ...] = ()
    voicing: Voicing | None = None
    missing: tuple[str, ...] = ()
    foreign: tuple[str, ...] = ()
    additions: tuple[str, ...] = ()
    late_ms: float | None = None
    late_beats: float | None = None
    spread_ms: float | None = None
    think_s: float | None = None
    attack: Attack | None = None

    @property
    def late(self) -> Onset | None:
        """`late_ms` and `late_beats`."""
        return onset_of(self.late_ms, self.late_beats)


@dataclass(frozen=True, slots=True)
class Harmony:
    """`complete` of `judged` chord moments sound what the figuring asks, nothing foreign."""

    complete: int
    judged: int

    @property
    def share(self) -> float:
        return self.complete / self.judged if self.judged else 1.0


@dataclass(frozen=True, slots=True)
class HandTiming:
    """Over the moments at which a hand was heard in tempo: `in_time` of `judged` fall within its
    tolerance. `bias_ms` and `deviation_ms` as in `Timing`."""

    in_time: int
    judged: int
    bias_ms: float
    deviation_ms: float


@dataclass(frozen=True, slots=True)
class Touch:
    """How the hands lie, over a pass in tempo: the `left` to the beat, the `right` to the left
    (where there was no left hand, to the beat); None where a hand was not heard. `spread_ms` is
    the median from a chord's first key to its last, `spread_deviation_ms` as in `Timing`.
    `manners` counts the chords struck in each manner, those that occur, in the order of `Manner`.
    """

    left: HandTiming | None
    right: HandTiming | None
    spread_ms: float
    spread_deviation_ms: float
    manners: tuple[tuple[Manner, int], ...]


@dataclass(frozen=True, slots=True)
class Timing:
    """Over the moments played in tempo: `in_time` of `judged` fall within the tolerance.

    `bias_ms` is the median onset error (positive = late), `deviation_ms` 1.4826 times the median
    absolute deviation from it (the standard deviation of a normal error). `touch` is None in marks
    by rules before 4, and where nothing was struck.
    """

    in_time: int
    judged: int
    bias_ms: float
    deviation_ms: float
    touch: Touch | None = None

    @property
    def share(self) -> float:
        return self.in_time / self.judged if self.judged else 1.0


@dataclass(frozen=True, slots=True)
class Movement:
    """Faults of movement, doubling and treatment by weight, over `successions` of chords.

    `share` is the part of the successions free of gross and weak faults. What only follows from a
    wrong chord (`Cause.follow`) is not counted: that chord is counted in harmony already, and a
    succession which nothing else spoils is clean.
    """

    gross: int
    weak: int
    remark: int
    clean: int
    successions: int

    @property
    def share(self) -> float:
        return self.clean / self.successions if self.successions else 1.0


@dataclass(frozen=True, slots=True)
class ExtraChord:
    """Keys struck that belong to no moment; `after` is the moment last played, -1 before all.

    `at_s` is seconds from the time of the first moment.
    """

    after: int
    at_s: float
    keys: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Cause:
    """What explains something wrong at `moment`: the sentence with its place, what to do about it
    (may be empty), and the places in the verdict's faults of those it explains (at least one), and
    of those that follow from it."""

    kind: CauseKind
    moment: int
    text: str
    remedy: str
    explains: tuple[int, ...]
    follow: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class PassVerdict:
    """One pass judged: a verdict per moment played, the faults, and three figures.

    `causes` are what explains or brings several faults at once, or one better than its rule does,
    in the order of the music. There are none in marks by rules before 5, in marks made while a pass
    went on, and of what was written at leisure, where no finger slips: every fault then stands for
    itself, as everywhere does one that no cause explains. `told` reads it so.
    """

    moments: tuple[MomentVerdict, ...]
    faults: tuple[Fault, ...]
    harmony: Harmony
    timing: Timing | None  # None when untimed
    movement: Movement
    extra: tuple[ExtraChord, ...] = ()
    causes: tuple[Cause, ...] = ()

    @property
    def told(self) -> tuple[Cause, ...]:
        """Everything wrong, once, in the order of the music: the causes, and by itself each fault
        that belongs to none."""
        taken = {number for cause in self.causes for number in (*cause.explains, *cause.follow)}
        alone = (
            Cause("fault", fault.moments[-1], fault.text, "", (number,))
            for number, fault in enumerate(self.faults)
            if number not in taken
        )
        every = (*self.causes, *alone)
        return tuple(sorted(every, key=lambda cause: (cause.moment, cause.kind == "fault")))

    @property
    def following(self) -> frozenset[int]:
        """The places of the faults that only follow from a cause."""
        return frozenset(number for cause in self.causes for number in cause.follow)

    def weightiest(self, cause: Cause) -> Fault:
        """Of the faults a cause explains; the first of several as heavy."""
        explained = [self.faults[number] for number in cause.explains]
        return min(explained, key=lambda fault: WEIGHTS.index(fault.weight))

    @property
    def drawn(self) -> tuple[Fault, ...]:
        """One fault for each that is told, its weightiest: what is marked on a page."""
        return tuple(self.weightiest(cause) for cause in self.told)
