"""What is said of a moment and of a pass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trainer.theory.fault import Fault
from trainer.theory.voicing import Voicing

Outcome = Literal["complete", "incomplete", "foreign", "wrong-bass", "wrong-melody", "not-played"]


@dataclass(frozen=True, slots=True)
class MomentVerdict:
    """Harmony and timing at one moment.

    `missing`, `foreign` and `additions` are intervals over the bass as figures (`3`, `b7`, `#4`).
    `voicing` is what was heard, spelled, each voice where the least faulty assignment puts it.
    `late_ms` is the onset error, positive when late, `late_beats` the same in beats; both None
    when untimed or not played. `spread_ms` is from the chord's first key to its last. `think_s`
    is the time from the moment's beginning to wait to the first key that was struck for it,
    None in tempo.
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


@dataclass(frozen=True, slots=True)
class Harmony:
    """`complete` of `judged` chord moments sound what the figuring asks, nothing foreign."""

    complete: int
    judged: int

    @property
    def share(self) -> float:
        return self.complete / self.judged if self.judged else 1.0


@dataclass(frozen=True, slots=True)
class Timing:
    """Over the moments played in tempo: `in_time` of `judged` fall within the tolerance.

    `bias_ms` is the median onset error (positive = late), `deviation_ms` 1.4826 times the median
    absolute deviation from it (the standard deviation of a normal error).
    """

    in_time: int
    judged: int
    bias_ms: float
    deviation_ms: float

    @property
    def share(self) -> float:
        return self.in_time / self.judged if self.judged else 1.0


@dataclass(frozen=True, slots=True)
class Movement:
    """Faults of movement, doubling and treatment by weight, over `successions` of chords.

    `share` is the part of the successions free of gross and weak faults.
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
class PassVerdict:
    """One pass judged: a verdict per moment played, the faults, and three figures."""

    moments: tuple[MomentVerdict, ...]
    faults: tuple[Fault, ...]
    harmony: Harmony
    timing: Timing | None  # None when untimed
    movement: Movement
    extra: tuple[ExtraChord, ...] = ()
