"""What the program plays by itself, known ahead: supplied voices and the tactus."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

OFF, ON, BEAT, ACCENT = range(4)  # what a step does; an end sorts before a start at the same time
Step = tuple[float, int, int, int]  # second, one of these, MIDI note number, velocity
LATE = 0.05  # seconds after which a beat that was missed is no beat any more
_SHORTEST = 0.001  # seconds


@dataclass(frozen=True, slots=True)
class ToneNote:
    """A note of the accompaniment; times in seconds from the track's beginning."""

    start: float
    duration: float
    key: int  # MIDI note number
    velocity: int = 64


@dataclass(frozen=True, slots=True)
class Click:
    """One beat of the tactus; the accented ones begin a bar."""

    start: float
    accent: bool = False


@dataclass(frozen=True, slots=True)
class Track:
    notes: tuple[ToneNote, ...] = ()
    clicks: tuple[Click, ...] = ()

    @property
    def length(self) -> float:
        """Seconds to the end of the last note or click."""
        ends = [note.start + note.duration for note in self.notes]
        return max([*ends, *(click.start for click in self.clicks)], default=0.0)

    @property
    def steps(self) -> tuple[Step, ...]:
        """The same as beginnings, ends and beats in their order: plain enough to be sent."""
        steps = [(note.start, ON, note.key, note.velocity) for note in self.notes]
        steps += [
            (note.start + max(note.duration, _SHORTEST), OFF, note.key, 0) for note in self.notes
        ]
        steps += [(click.start, ACCENT if click.accent else BEAT, 0, 0) for click in self.clicks]
        return tuple(sorted(steps))


def remaining(steps: Iterable[Step], second: float) -> list[Step]:
    """What is still to be done at `second`: notes that should sound by then begin there."""
    held: Counter[tuple[int, int]] = Counter()
    later = []
    for step in steps:
        at, what, key, velocity = step
        if at >= second or (what in (BEAT, ACCENT) and at > second - LATE):
            later.append(step)
        elif what == ON:
            held[key, velocity] += 1
        elif what == OFF:
            begun = next(note for note in held if note[0] == key)
            held[begun] -= 1
            held += Counter()  # without those that are over
    return [(second, ON, key, velocity) for key, velocity in held.elements()] + later
