"""Common tones: what two chords share stays where it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from trainer.theory.doubling import doubling
from trainer.theory.fault import Finding
from trainer.theory.movement import Given, position, succession
from trainer.theory.sonority import Sonority
from trainer.theory.voicing import MIDDLE, VoiceName, Voicing


def needless_motion(
    before: Voicing,
    after: Voicing,
    sonorities: tuple[Sonority, Sonority],
    at: tuple[int, int],
    given: Given,
) -> Iterator[Finding]:
    """A middle voice left a note of the new chord that nobody took over, though keeping it would
    have been complete and broken no rule. A change of position over one sonority is free."""
    earlier, sonority = sonorities
    if earlier.names == sonority.names:
        return
    kept = {pitch.midi for pitch in after if pitch is not None}
    for voice in MIDDLE:
        pitch = before[voice]
        if pitch is None or after[voice] is None or pitch.midi in kept or voice in given:
            continue
        if pitch.name not in sonority.names:
            continue
        held = _holding(after, voice, before)
        if not _complete(held, sonority):
            continue
        faults = (
            *succession(before, held, at, given),
            *position(held, at[1], "2+2", given),
            *doubling(sonority, held, at[1], given),
        )
        if not faults:
            yield Finding("needless-motion", at, (voice,), (pitch,))


def _holding(after: Voicing, voice: VoiceName, before: Voicing) -> Voicing:
    pitch = before[voice]
    return replace(after, alto=pitch) if voice == "alto" else replace(after, tenor=pitch)


def _complete(voicing: Voicing, sonority: Sonority) -> bool:
    upper = [pitch for pitch in tuple(voicing)[:3] if pitch is not None]
    numbers = tuple(sorted(sonority.number(pitch.name) for pitch in upper))
    return numbers in sonority.completions and all(
        pitch.name in sonority.names or pitch == sonority.melody for pitch in upper
    )
