"""What the program plays by itself, known ahead: supplied voices and the tactus."""

from __future__ import annotations

from dataclasses import dataclass

LATE = 0.05  # seconds after which a beat that was missed is no beat any more


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
