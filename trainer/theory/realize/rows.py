"""What the rules say of a voicing by itself, over whole tables of voicings.

The predicates are those of `trainer.theory.movement.position` and `doubling`; a test holds the two
to each other. Intervals between two voices are found once for each voicing and kept as six bits,
one for each pair of voices.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from trainer.theory import motion
from trainer.theory.hands import Hands, stretches
from trainer.theory.realize.context import Context, Flags
from trainer.theory.realize.pairs import Rows
from trainer.theory.realize.reach import Choices, Small
from trainer.theory.voicing import NEIGHBOURS, PAIRS, VOICES

Bits = NDArray[np.uint8]

VOICING_RULES = (
    "doubled-leading-tone",
    "doubled-dissonance",
    "doubled-raised-note",
    "crossing",
    "spacing",
    "too-low",
    "too-high",
)


@dataclass(frozen=True)
class Table:
    """Voicings as rows with what the rules need to know of each.

    `moment` is the moment of each row; `present` has a bit for each voice that sounds, `alive` for
    each whose movement is looked at, `octaves`, `unisons`, `fifths` and `diminished` a bit for
    each pair of these.
    """

    keys: Small
    heights: Small
    numbers: Small
    moment: Rows
    present: Bits
    alive: Bits
    octaves: Bits
    unisons: Bits
    fifths: Bits
    diminished: Bits

    @property
    def different_notes(self) -> Small:
        """How many different notes each row sounds; a voice that rests sounds none."""
        letters = np.bitwise_or.reduce(1 << self.numbers.astype(np.int16), axis=0) >> 1
        count: Small = np.zeros_like(letters)
        for bit in range(7):
            count = count + (letters >> bit & 1)
        return count

    def part(self, rows: Rows | slice) -> Table:
        """Some of the rows."""
        return Table(*(getattr(self, column.name)[..., rows] for column in fields(self)))


def table(keys: Small, heights: Small, numbers: Small, moment: Rows, context: Context) -> Table:
    sounds = keys >= 0
    sounds[0] &= ~context.mute_top[moment]
    sounds[1:3] &= ~context.mute[moment]
    present = nibble(sounds)
    sounds &= ~context.octaves[moment]  # of movement in octaves nothing is asked
    octaves, unisons, fifths, diminished = np.zeros((4, keys.shape[1]), np.uint8)
    for bit, (upper, lower) in enumerate(PAIRS):
        low, high = (keys[lower], heights[lower]), (keys[upper], heights[upper])
        both = sounds[upper] & sounds[lower]
        octave = both & motion.is_octave(low, high)
        octaves |= octave.astype(np.uint8) << bit
        unisons |= (octave & (keys[lower] == keys[upper])).astype(np.uint8) << bit
        fifths |= (both & motion.is_fifth(low, high)).astype(np.uint8) << bit
        if lower == 3:
            found = both & motion.is_diminished_fifth(low, high)
            diminished |= found.astype(np.uint8) << bit
    alive = nibble(sounds)
    return Table(
        keys, heights, numbers, moment, present, alive, octaves, unisons, fifths, diminished
    )


def all_rows(choices: Choices, context: Context) -> Table:
    sizes = np.diff(choices.starts)
    moment = np.repeat(np.arange(len(sizes)), sizes)
    return table(choices.keys, choices.heights, choices.numbers, moment, context)


def voicing_faults(rows: Table, context: Context, hands: Hands) -> Iterator[tuple[str, Flags]]:
    """Each of VOICING_RULES with the rows that break it."""
    keys, at = rows.keys, rows.moment
    yield from _doublings(rows, context)
    sounds = [(rows.alive & 1 << voice) != 0 for voice in range(len(VOICES))]
    notes = [(keys[voice], rows.heights[voice]) for voice in range(len(VOICES))]
    crossed = np.zeros(len(at), bool)
    apart = np.zeros(len(at), bool)
    for upper, lower in NEIGHBOURS:
        both = sounds[upper] & sounds[lower]
        crossed |= both & motion.crossing(notes[lower], notes[upper])
        if lower < 3:
            apart |= both & motion.wide(notes[lower], notes[upper])
    for highest, lowest in stretches(hands):
        if lowest - highest > 1:
            both = sounds[highest] & sounds[lowest]
            apart |= both & motion.wide(notes[lowest], notes[highest])
    yield "crossing", crossed
    yield "spacing", apart
    mine = range(1, 3) if context.melody_given else range(3)
    low = np.zeros(len(at), bool)
    for voice in mine:
        low |= sounds[voice] & motion.too_low(notes[voice])
    low |= sounds[2] & sounds[3] & motion.dense_low(notes[3], notes[2])
    yield "too-low", low
    high = np.zeros(len(at), bool)
    if not context.melody_given:
        high = sounds[0] & motion.too_high(notes[0])
    yield "too-high", high


def _doublings(rows: Table, context: Context) -> Iterator[tuple[str, Flags]]:
    """Two voices on one member, not both of them given."""
    numbers, at = rows.numbers, rows.moment
    doubled = [
        (numbers[upper], (numbers[upper] == numbers[lower]) & (numbers[upper] > 0))
        for upper, lower in PAIRS
    ]
    outer = PAIRS.index((0, 3))
    doubled[outer] = (numbers[0], doubled[outer][1] & context.free_top[at])
    for name, flags in (
        ("doubled-leading-tone", context.leading),
        ("doubled-dissonance", context.dissonant),
        ("doubled-raised-note", context.raised),
    ):
        bad = np.zeros(len(at), bool)
        if flags.any():
            for number, twice in doubled:
                bad |= twice & flags[at, number]
        yield name, bad


def nibble(flags: Flags) -> Bits:
    """Four rows of flags as one row of bits, the soprano the lowest."""
    bits = flags.astype(np.uint8)
    packed: Bits = bits[0] | bits[1] << 1 | bits[2] << 2 | bits[3] << 3
    return packed
