"""What would have been right from there: the nearest legal voicing the hand could have gone to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from trainer.theory.fault import Fault
from trainer.theory.listed import listed
from trainer.theory.pitch import Pitch
from trainer.theory.realize.solver import Solver
from trainer.theory.voicing import VOICES, Voicing


@dataclass(frozen=True, slots=True)
class WayOut:
    """`voicing` for moment `moment`, and the sentence that says so to the student."""

    moment: int
    voicing: Voicing
    text: str


def way_out(solver: Solver, fault: Fault, played: Mapping[int, Voicing]) -> WayOut | None:
    """A legal voicing at the moment of the fault, nearest to what was played there.

    `played` are the voicings heard, by moment. Where the one before the fault is known and whole,
    the way leads on legally from it; it breaks the fault's own rule in no case, be it light or
    heavy, and where it can be, all the rest of the piece can still be played after it. None where
    there is no such voicing: then the trouble began earlier.
    """
    at = fault.moments[-1]
    if not 0 <= at < len(solver.moments):
        return None
    before = played.get(at - 1)
    heard = played.get(at)
    from_hand = before is not None and None not in tuple(before)
    found = solver.ways(at, before if from_hand else None, heard, fault.rule)
    if not found and len(fault.moments) == 1:  # a fault of the chord itself can be mended anyhow
        from_hand = False
        found = solver.ways(at, None, heard, fault.rule)
    if not found or found[0] == heard:
        return None
    return WayOut(at, found[0], _sentence(heard, found[0], from_hand))


def _sentence(heard: Voicing | None, better: Voicing, from_hand: bool) -> str:
    """`From your hand, alto f sharp avoids it.`"""
    wanted = dict(zip(VOICES, better, strict=True))
    had = {} if heard is None else dict(zip(VOICES, heard, strict=True))
    changed = [
        voice
        for voice, pitch in wanted.items()
        if pitch is not None and (had.get(voice) is None or had[voice] != pitch)
    ]
    if not changed:
        return ""
    words = listed([f"{voice} {_spoken(wanted[voice], had.get(voice))}" for voice in changed])
    verb = "avoids" if len(changed) == 1 else "avoid"
    start = "From your hand, " if from_hand else ""
    text = f"{start}{words} {verb} it."
    return text[0].upper() + text[1:]


def _spoken(pitch: Pitch | None, instead_of: Pitch | None) -> str:
    """The note as one says it, with its octave only where it is the same note elsewhere."""
    assert pitch is not None
    spoken = pitch.name.spoken
    if instead_of is None or instead_of.name != pitch.name:
        return spoken
    octaves = abs(pitch.octave - instead_of.octave)
    way = "higher" if pitch.midi > instead_of.midi else "lower"
    return f"{spoken} {'an octave' if octaves == 1 else f'{octaves} octaves'} {way}"
