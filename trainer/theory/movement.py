"""Faults of movement between two successive soundings, and of position within one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Literal

from trainer.theory import motion
from trainer.theory.fault import Finding
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VOICES, Sounding, VoiceName, Voicing

Given = frozenset[VoiceName]
NOTHING_GIVEN: Given = frozenset()

_PAIRS = tuple(combinations(range(4), 2))  # (upper, lower)
_NEIGHBOURS = ((0, 1), (1, 2), (2, 3))


def movement_faults(
    soundings: Sequence[Sounding], given: Given = NOTHING_GIVEN, last_chord: int | None = None
) -> tuple[Finding, ...]:
    """Every fault of movement from each sounding to the next.

    Faults among `given` voices alone are not the player's and are left out. `last_chord` is the
    index of the sounding with the final chord, into which contrary motion is free.
    """
    found: list[Finding] = []
    for index in range(len(soundings) - 1):
        found += succession(
            soundings[index].voicing,
            soundings[index + 1].voicing,
            (index, index + 1),
            given,
            closing=index + 1 == last_chord,
        )
    return tuple(found)


def succession(
    before: Voicing,
    after: Voicing,
    at: tuple[int, int],
    given: Given = NOTHING_GIVEN,
    *,
    closing: bool = False,
) -> Iterator[Finding]:
    """Faults of movement from one voicing to the next; a voice that rests in either is let go."""
    a = tuple(before)
    b = tuple(after)
    moved = [
        voice
        for voice in range(4)
        if a[voice] is not None and b[voice] is not None and a[voice].midi != b[voice].midi  # type: ignore[union-attr]
    ]
    for upper, lower in _PAIRS:
        if upper in moved and lower in moved:
            voices = (VOICES[upper], VOICES[lower])
            if given.issuperset(voices):
                continue
            for name in _together(a[upper], a[lower], b[upper], b[lower], upper, lower, closing):
                yield Finding(name, at, voices, _pitches(a, b, (upper, lower)))
    for upper, lower in _NEIGHBOURS:
        if upper in moved or lower in moved:
            notes = (a[lower], a[upper], b[lower], b[upper])
            if given.issuperset((VOICES[upper], VOICES[lower])) or None in notes:
                continue
            if motion.overlap(*(motion.note(n) for n in notes if n is not None)):
                voices = (VOICES[upper], VOICES[lower])
                yield Finding("overlap", at, voices, _pitches(a, b, (upper, lower)))
    for voice in moved:
        if VOICES[voice] in given:
            continue
        first, second = a[voice], b[voice]
        assert first is not None and second is not None
        step = (motion.note(first), motion.note(second))
        if motion.augmented_step(*step):
            yield Finding("augmented-step", at, (VOICES[voice],), (first, second))
        if 0 < voice < 3 and motion.middle_leap(*step):
            yield Finding("leap-in-middle-voice", at, (VOICES[voice],), (first, second))
    yield from _false_relations(a, b, at, given)


def position(
    voicing: Voicing,
    at: int,
    hands: Literal["1+3", "2+2"],
    given: Given = NOTHING_GIVEN,
) -> Iterator[Finding]:
    """Faults of spacing, crossing and height in one voicing; a given soprano may be high."""
    notes = tuple(voicing)
    for upper, lower in _NEIGHBOURS:
        high, low = notes[upper], notes[lower]
        voices = (VOICES[upper], VOICES[lower])
        if high is None or low is None or given.issuperset(voices):
            continue
        pair = (motion.note(low), motion.note(high))
        if motion.crossing(*pair):
            yield Finding("crossing", (at,), voices, (high, low))
        elif lower < 3 and motion.wide(*pair):
            yield Finding("spacing", (at,), voices, (high, low))
    soprano, alto, tenor, bass = notes
    if soprano is not None and tenor is not None and hands == "1+3":
        inside = all(
            n is None or not motion.wide(motion.note(low), motion.note(n))
            for low, n in ((tenor, alto), (alto or tenor, soprano))
        )
        if inside and motion.wide(motion.note(tenor), motion.note(soprano)):
            yield Finding("spacing", (at,), ("soprano", "tenor"), (soprano, tenor))
    for voice, pitch in zip(VOICES[:3], notes[:3], strict=True):
        if pitch is not None and voice not in given and motion.too_low(motion.note(pitch)):
            yield Finding("too-low", (at,), (voice,), (pitch,))
            break
    else:
        if (
            tenor is not None
            and bass is not None
            and motion.dense_low(motion.note(bass), motion.note(tenor))
        ):
            yield Finding("too-low", (at,), ("tenor", "bass"), (tenor, bass))
    if soprano is not None and "soprano" not in given and motion.too_high(motion.note(soprano)):
        yield Finding("too-high", (at,), ("soprano",), (soprano,))


def _together(
    high: Pitch | None,
    low: Pitch | None,
    high_after: Pitch | None,
    low_after: Pitch | None,
    upper: int,
    lower: int,
    closing: bool,
) -> Iterator[str]:
    assert high is not None and low is not None and high_after is not None
    assert low_after is not None
    notes = tuple(map(motion.note, (low, high, low_after, high_after)))
    if motion.consecutive_octaves(*notes):
        unison = low.midi == high.midi and low_after.midi == high_after.midi
        yield "consecutive-unisons" if unison else "consecutive-octaves"
    elif motion.consecutive_fifths(*notes):
        yield "consecutive-fifths"
    elif motion.by_contrary_motion(*notes):
        if not closing:
            yield "consecutives-by-contrary-motion"
    elif lower == 3:
        if motion.unequal_fifths(*notes):
            yield "unequal-fifths"
        elif upper == 0 and motion.hidden_octave(*notes):
            yield "hidden-octave"
        elif upper == 0 and motion.hidden_fifth(*notes):
            yield "hidden-fifth"


def _false_relations(
    a: tuple[Pitch | None, ...], b: tuple[Pitch | None, ...], at: tuple[int, int], given: Given
) -> Iterator[Finding]:
    """One letter with two accidentals in different voices, where no voice makes the change."""
    was = {(n.step, n.alter) for n in a if n is not None}
    for after in b:
        if after is None or (after.step, after.alter) in was:
            continue
        old = [v for v in range(4) if a[v] is not None and a[v].step == after.step]  # type: ignore[union-attr]
        if not old or any(_same_letter(a[v], b[v]) for v in old):
            continue
        new = b.index(after)
        first = a[old[0]]
        assert first is not None
        voices = (VOICES[old[0]], VOICES[new])
        if not given.issuperset(voices):
            yield Finding("false-relation", at, voices, (first, after))
        return


def _same_letter(first: Pitch | None, second: Pitch | None) -> bool:
    return first is not None and second is not None and first.step == second.step


def _pitches(
    a: tuple[Pitch | None, ...], b: tuple[Pitch | None, ...], voices: tuple[int, ...]
) -> tuple[Pitch, ...]:
    return tuple(n for notes in (a, b) for v in voices if (n := notes[v]) is not None)
