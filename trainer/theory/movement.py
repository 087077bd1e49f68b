"""Faults of movement between two successive soundings, and of position within one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from trainer.theory import motion
from trainer.theory.fault import Finding
from trainer.theory.hands import Hands, lines, stretches
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import (
    MIDDLE,
    NEIGHBOURS,
    PAIRS,
    UPPER,
    VOICES,
    Sounding,
    VoiceName,
    Voicing,
)

Given = frozenset[VoiceName]
NOTHING_GIVEN: Given = frozenset()
Notes = tuple[Pitch | None, ...]  # of the voices in the order of VOICES


def movement_faults(
    soundings: Sequence[Sounding],
    given: Given = NOTHING_GIVEN,
    last_chord: int | None = None,
    hands: Hands = "2+2",
) -> tuple[Finding, ...]:
    """Every fault of movement from each sounding to the next.

    Faults among `given` voices alone are not the player's and are left out. `last_chord` is the
    index of the sounding with the final chord, into which contrary motion is free; `hands` say
    which voices are heard as lines.
    """
    found: list[Finding] = []
    for index in range(len(soundings) - 1):
        found += succession(
            soundings[index].voicing,
            soundings[index + 1].voicing,
            (index, index + 1),
            given,
            closing=index + 1 == last_chord,
            hands=hands,
        )
    return tuple(found)


def succession(
    before: Voicing,
    after: Voicing,
    at: tuple[int, int],
    given: Given = NOTHING_GIVEN,
    *,
    closing: bool = False,
    hands: Hands = "2+2",
) -> Iterator[Finding]:
    """Faults of movement from one voicing to the next; a voice that rests in either is let go."""
    a, b = tuple(before), tuple(after)
    moved = [voice for voice in range(len(VOICES)) if _moved(a[voice], b[voice])]
    yield from _consecutives(a, b, moved, at, given, closing)
    yield from _overlaps(a, b, at, given, hands)
    for voice in moved:
        if VOICES[voice] not in given:
            yield from _leaps(a[voice], b[voice], VOICES[voice], at)
    yield from _false_relations(a, b, at, given)


def _moved(before: Pitch | None, after: Pitch | None) -> bool:
    return before is not None and after is not None and before.midi != after.midi


def _consecutives(
    a: Notes, b: Notes, moved: list[int], at: tuple[int, int], given: Given, closing: bool
) -> Iterator[Finding]:
    for upper, lower in PAIRS:
        voices = (VOICES[upper], VOICES[lower])
        if upper in moved and lower in moved and not given.issuperset(voices):
            for name in _together(a[upper], a[lower], b[upper], b[lower], upper, lower, closing):
                yield Finding(name, at, voices, _pitches(a, b, (upper, lower)))


def _overlaps(
    a: Notes, b: Notes, at: tuple[int, int], given: Given, hands: Hands
) -> Iterator[Finding]:
    """A voice moves beyond where its neighbour was, where both are heard as lines."""
    for upper, lower in lines(hands):
        voices = (VOICES[upper], VOICES[lower])
        notes = [n for n in (a[lower], a[upper], b[lower], b[upper]) if n is not None]
        if len(notes) < 4 or given.issuperset(voices):
            continue
        if motion.overlap(*map(motion.note, notes)):
            yield Finding("overlap", at, voices, _pitches(a, b, (upper, lower)))


def _leaps(
    first: Pitch | None, second: Pitch | None, voice: VoiceName, at: tuple[int, int]
) -> Iterator[Finding]:
    assert first is not None and second is not None
    step = (motion.note(first), motion.note(second))
    if motion.augmented_step(*step):
        yield Finding("augmented-step", at, (voice,), (first, second))
    if voice in MIDDLE and motion.middle_leap(*step):
        yield Finding("leap-in-middle-voice", at, (voice,), (first, second))


def position(
    voicing: Voicing, at: int, hands: Hands, given: Given = NOTHING_GIVEN
) -> Iterator[Finding]:
    """Faults of spacing, crossing and height in one voicing; a given soprano may be high."""
    yield from _neighbours(voicing, at, given)
    yield from _wide_hands(voicing, at, hands)
    yield from _low(voicing, at, given)
    soprano = voicing.soprano
    if soprano is not None and "soprano" not in given and motion.too_high(motion.note(soprano)):
        yield Finding("too-high", (at,), ("soprano",), (soprano,))


def _neighbours(voicing: Voicing, at: int, given: Given) -> Iterator[Finding]:
    notes = tuple(voicing)
    for upper, lower in NEIGHBOURS:
        high, low = notes[upper], notes[lower]
        voices = (VOICES[upper], VOICES[lower])
        if high is None or low is None or given.issuperset(voices):
            continue
        pair = (motion.note(low), motion.note(high))
        if motion.crossing(*pair):
            yield Finding("crossing", (at,), voices, (high, low))
        elif VOICES[lower] != "bass" and motion.wide(*pair):
            yield Finding("spacing", (at,), voices, (high, low))


def _wide_hands(voicing: Voicing, at: int, hands: Hands) -> Iterator[Finding]:
    """Three voices of one hand that is too wide, though no two neighbours are."""
    for highest, lowest in stretches(hands):
        notes = [n for n in tuple(voicing)[highest : lowest + 1] if n is not None]
        steps = [_wide(low, high) for high, low in pairwise(notes)]
        if notes and not any(steps) and _wide(notes[-1], notes[0]):
            outer = (VOICES[highest], VOICES[lowest])
            yield Finding("spacing", (at,), outer, (notes[0], notes[-1]))


def _wide(low: Pitch, high: Pitch) -> bool:
    return bool(motion.wide(motion.note(low), motion.note(high)))


def _low(voicing: Voicing, at: int, given: Given) -> Iterator[Finding]:
    """One voice too low for a clear chord, or else tenor and bass too close in the depth."""
    for voice in UPPER:
        pitch = voicing[voice]
        if pitch is not None and voice not in given and motion.too_low(motion.note(pitch)):
            yield Finding("too-low", (at,), (voice,), (pitch,))
            return
    tenor, bass = voicing.tenor, voicing.bass
    if tenor is None or bass is None:
        return
    if motion.dense_low(motion.note(bass), motion.note(tenor)):
        yield Finding("too-low", (at,), ("tenor", "bass"), (tenor, bass))


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


def _false_relations(a: Notes, b: Notes, at: tuple[int, int], given: Given) -> Iterator[Finding]:
    """One letter with two accidentals in different voices, where no voice makes the change."""
    was = {(n.step, n.alter) for n in a if n is not None}
    for after in b:
        if after is None or (after.step, after.alter) in was:
            continue
        old = [v for v in range(len(VOICES)) if a[v] is not None and a[v].step == after.step]  # type: ignore[union-attr]
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


def _pitches(a: Notes, b: Notes, voices: tuple[int, ...]) -> tuple[Pitch, ...]:
    return tuple(n for notes in (a, b) for v in voices if (n := notes[v]) is not None)
