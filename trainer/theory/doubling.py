"""Which notes of a chord may be had by two voices."""

from __future__ import annotations

from collections.abc import Iterator

from trainer.theory.fault import Finding
from trainer.theory.movement import NOTHING_GIVEN, Given
from trainer.theory.sonority import Sonority
from trainer.theory.voicing import VOICES, Voicing


def doubling(
    sonority: Sonority, voicing: Voicing, at: int, given: Given = NOTHING_GIVEN
) -> Iterator[Finding]:
    """A dissonance or leading tone in two voices is a gross fault, a raised note a weak one.

    Two voices on one key count as two. What the given voices double between them is not minded.
    """
    for member in sonority.members:
        if member.doublable and not member.raised:
            continue
        having = [
            (voice, pitch)
            for voice, pitch in zip(VOICES, voicing, strict=True)
            if pitch is not None
            and pitch.step == member.name.step
            and pitch.alter == member.name.alter
        ]
        voices = tuple(voice for voice, _ in having)
        if len(voices) < 2 or given.issuperset(voices):
            continue
        if member.leading:
            name = "doubled-leading-tone"
        elif member.dissonant:
            name = "doubled-dissonance"
        else:
            name = "doubled-raised-note"
        yield Finding(name, (at,), voices, tuple(pitch for _, pitch in having))
