"""From a written score, whatever its staves and layers, to four voices from onset to onset.

Four lines of single notes are the four voices, from the highest to the lowest. Chords and shared
staves are taken apart by what sounds at each onset, divided among the voices as keys are.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from typing import Protocol

from trainer.errors import ExerciseError
from trainer.judging.judge import Judge
from trainer.judging.voices import Line, divisions, extend
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VOICES, Sounding, Voicing


class Written(Protocol):
    """A note, chord or rest: `tied` says for each pitch whether a tie leads into it."""

    @property
    def onset(self) -> Fraction: ...
    @property
    def end(self) -> Fraction: ...
    @property
    def pitches(self) -> tuple[Pitch, ...]: ...
    @property
    def tied(self) -> tuple[bool, ...]: ...


WrittenLine = Sequence[Written]


@dataclass(frozen=True)
class _Line:
    events: WrittenLine
    onsets: Sequence[Fraction]

    def at(self, onset: Fraction) -> Written | None:
        index = bisect_right(self.onsets, onset) - 1
        return self.events[index] if index >= 0 and onset < self.events[index].end else None

    def single(self, onset: Fraction) -> Pitch | None:
        event = self.at(onset)
        return None if event is None else next(iter(event.pitches), None)

    @property
    def height(self) -> float:
        heights = [pitch.midi for event in self.events for pitch in event.pitches]
        return sum(heights) / len(heights)


def written_soundings(judge: Judge, lines: Sequence[WrittenLine]) -> tuple[Sounding, ...]:
    """The four voices of `lines` (each in time order) at every onset of any of them.

    Raises ExerciseError where there are not four voices to be heard.
    """
    kept = [_Line(line, [e.onset for e in line]) for line in lines if any(e.pitches for e in line)]
    single = all(len(event.pitches) <= 1 for line in kept for event in line.events)
    onsets = sorted(
        {
            event.onset
            for line in kept
            for event in line.events
            if not event.pitches or not all(event.tied)
        }
    )
    if single and len(kept) == 4:
        ordered = sorted(kept, key=lambda line: line.height, reverse=True)
        voicings = [Voicing(*(line.single(onset) for line in ordered)) for onset in onsets]
    else:
        together = [_together(kept, onset) for onset in onsets]
        full = sum(len(pitches) >= 3 for pitches in together)
        if not together or 2 * full < len(together):
            raise ExerciseError(
                "there are not four voices to be heard",
                remedy="write the middle voices out, one to a part or as chords",
            )
        voicings = _divided(judge, onsets, together)
    moments = [moment.onset for moment in judge.moments]
    found: list[Sounding] = []
    for onset, voicing in zip(onsets, voicings, strict=True):
        struck = {v for v in VOICES if _begins(kept, onset, voicing[v])}
        moment = max(0, bisect_right(moments, onset) - 1)
        found.append(Sounding(onset, moment, voicing, frozenset(struck)))
    return tuple(found)


def _together(lines: Sequence[_Line], onset: Fraction) -> tuple[Pitch, ...]:
    """The different pitches that sound, ascending."""
    events = [line.at(onset) for line in lines]
    pitches = {pitch for event in events if event is not None for pitch in event.pitches}
    return tuple(sorted(pitches, key=lambda pitch: (pitch.midi, pitch.height)))


def _begins(lines: Sequence[_Line], onset: Fraction, pitch: Pitch | None) -> bool:
    return any(
        event.onset == onset and written == pitch and not tied
        for line in lines
        if (event := line.at(onset)) is not None
        for written, tied in zip(event.pitches, event.tied, strict=True)
    )


def _divided(
    judge: Judge, onsets: Sequence[Fraction], together: Sequence[tuple[Pitch, ...]]
) -> list[Voicing]:
    moments = [moment.onset for moment in judge.moments]
    line = Line()
    before: int | None = None
    for onset, pitches in zip(onsets, together, strict=True):
        index = max(0, bisect_right(moments, onset) - 1)
        choices = divisions(pitches) or (Voicing(None, None, None, None),)
        line = extend(line, choices, partial(judge.cost, before, index))
        before = index
    chain = line.best
    assert chain is not None  # there is an onset at least
    return list(chain.voicings())
