"""What the rules say of a step from one voicing to the next, over whole arrays of steps.

The predicates are those of `trainer.theory.motion`, `movement` and `dissonance`; a test holds the
two to each other. Which pairs of voices move together is looked up by who rises and who falls.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from trainer.theory import motion
from trainer.theory.realize.context import Context, Flags
from trainer.theory.realize.pairs import Pairs
from trainer.theory.realize.reach import Small
from trainer.theory.realize.rows import Bits, Table, nibble
from trainer.theory.voicing import PAIRS, VOICES

_OUTER = 1 << PAIRS.index((0, 3))
_WITH_BASS = sum(1 << PAIRS.index((upper, 3)) for upper in range(3))

STEP_RULES = (
    "consecutive-octaves",
    "consecutive-unisons",
    "consecutive-fifths",
    "consecutives-by-contrary-motion",
    "unequal-fifths",
    "hidden-octave",
    "hidden-fifth",
    "overlap",
    "augmented-step",
    "leap-in-middle-voice",
    "unprepared-suspension",
    "dissonance-by-leap",
    "unresolved-dissonance",
    "delayed-resolution",
    "tritone-astray",
    "leading-tone-astray",
)
HOLD = "hold"  # no rule of the school: at a moment without a chord the inner voices do not move


def step_faults(
    before: Table, after: Table, pairs: Pairs, context: Context
) -> Iterator[tuple[str, Flags]]:
    """HOLD and each of STEP_RULES with the pairs that break it."""
    step = _Step.of(before, after, pairs, context)
    yield HOLD, step.stirs()
    yield from step.together()
    yield from step.single()
    yield from step.dissonances()


@dataclass(frozen=True)
class _Step:
    """The pairs at hand, gathered: arrays of shape (4, pairs) or (pairs,)."""

    before: Table
    after: Table
    pairs: Pairs
    context: Context
    a: Small
    b: Small
    letters: Small  # heights after less heights before
    rising: Bits  # nibbles: a bit for each voice
    falling: Bits
    mine: range  # upper voices that are the player's

    @staticmethod
    def of(before: Table, after: Table, pairs: Pairs, context: Context) -> _Step:
        a, b = before.keys[:, pairs.before], after.keys[:, pairs.after]
        letters = after.heights[:, pairs.after] - before.heights[:, pairs.before]
        alive = before.alive[pairs.before] & after.alive[pairs.after]
        rising, falling = nibble(b > a) & alive, nibble(b < a) & alive
        mine = range(1, 3) if context.melody_given else range(3)
        return _Step(before, after, pairs, context, a, b, letters, rising, falling, mine)

    def moved(self, voice: int) -> Flags:
        moving: Flags = ((self.rising | self.falling) & 1 << voice) != 0
        return moving

    def nothing(self) -> Flags:
        return np.zeros(len(self.pairs.place), bool)

    def stirs(self) -> Flags:
        """An inner voice moves into a moment that begins no chord."""
        holds = ~self.context.chord[self.pairs.place + 1]
        if not holds.any():
            return holds
        stirring: Flags = (self.a[1] != self.b[1]) | (self.a[2] != self.b[2])
        if not self.context.melody_given:
            stirring |= self.b[0] != self.a[0]
        return holds & stirring

    def together(self) -> Iterator[tuple[str, Flags]]:
        """Rules of two voices moving."""
        i, j = self.pairs.before, self.pairs.after
        similar, contrary = _directions()
        alike, against = similar[self.rising, self.falling], contrary[self.rising, self.falling]
        if self.context.melody_given:  # what the given outer voices do is not the player's doing
            alike, against = alike & ~np.uint8(_OUTER), against & ~np.uint8(_OUTER)
        octaves = self.before.octaves[i], self.after.octaves[j]
        fifths = self.before.fifths[i], self.after.fifths[j]
        unisons = self.before.unisons[i] & self.after.unisons[j]
        eights = octaves[0] & octaves[1]
        fives = fifths[0] & fifths[1]
        yield "consecutive-octaves", (eights & alike & ~unisons) != 0
        yield "consecutive-unisons", (eights & alike & unisons) != 0
        yield "consecutive-fifths", (fives & alike) != 0
        opposite = ((eights | fives) & against) != 0
        yield (
            "consecutives-by-contrary-motion",
            opposite & ~self.context.closing[self.pairs.place],
        )
        yield "unequal-fifths", (self._unequal() & alike) != 0
        if self.context.melody_given:
            yield "hidden-octave", self.nothing()
            yield "hidden-fifth", self.nothing()
        else:
            leaps = (alike & _OUTER != 0) & (np.abs(self.letters[0]) > 1)
            yield "hidden-octave", leaps & (octaves[1] & ~octaves[0] & _OUTER != 0)
            unequal = fifths[0] | self.before.diminished[i]  # has a name of its own
            yield "hidden-fifth", leaps & (fifths[1] & ~unequal & _OUTER != 0)
        yield "overlap", self._overlap()

    def _unequal(self) -> Bits:
        """Diminished to perfect fifths with the bass, a bit for each pair of voices."""
        similar, _ = _directions()
        diminished = self.before.diminished[self.pairs.before] & np.uint8(_WITH_BASS)
        perfect = self.after.fifths[self.pairs.after]
        found: Bits = diminished & perfect & similar[self.rising, self.falling]
        return found

    def _overlap(self) -> Flags:
        bad = self.nothing()
        both_alive = self.before.alive[self.pairs.before] & self.after.alive[self.pairs.after]
        for upper, lower in self.context.lines:
            alive = (both_alive >> upper) & (both_alive >> lower) & 1 != 0
            none = np.zeros((), np.int16)  # heights do not matter here
            found = motion.overlap(
                (self.a[lower], none),
                (self.a[upper], none),
                (self.b[lower], none),
                (self.b[upper], none),
            )
            bad |= alive & found & (self.moved(upper) | self.moved(lower))
        return bad

    def single(self) -> Iterator[tuple[str, Flags]]:
        """Rules of one voice moving."""
        augmented, leaps = self.nothing(), self.nothing()
        for voice in self.mine:
            semitones, letters = np.abs(self.b[voice] - self.a[voice]), self.letters[voice]
            moved = self.moved(voice)
            still = np.zeros((), np.int16)
            augmented |= moved & motion.augmented_step((still, still), (semitones, letters))
            if voice:
                leaps |= moved & motion.middle_leap((still, still), (semitones, letters))
        yield "augmented-step", augmented
        yield "leap-in-middle-voice", leaps

    def dissonances(self) -> Iterator[tuple[str, Flags]]:
        """Preparation into the chord that begins, resolution out of the one before."""
        then = self.pairs.place + 1
        unprepared, leapt = self.nothing(), self.nothing()
        if self.context.prepared.any() or self.context.entered.any():
            for voice in self.mine:
                number = self.after.numbers[voice][self.pairs.after]
                was = (self.before.present[self.pairs.before] & 1 << voice) != 0
                kept = was & (self.a[voice] == self.b[voice])
                unprepared |= self.context.prepared[then, number] & ~kept
                far = was & (np.abs(self.letters[voice]) > 1)
                leapt |= self.context.entered[then, number] & far
        yield "unprepared-suspension", unprepared
        yield "dissonance-by-leap", leapt
        yield from self._resolutions()

    def _resolutions(self) -> Iterator[tuple[str, Flags]]:
        asked, here = self.context, self.pairs.place
        begins = asked.chord[here + 1]
        unresolved, delayed = self.nothing(), self.nothing()
        tritone, astray = self.nothing(), self.nothing()
        for voice in self.mine:
            number = self.before.numbers[voice][self.pairs.before]
            way = self.letters[voice]
            stays = (self.a[voice] == self.b[voice]) & (way == 0)
            gone = begins & ~stays & (way != -1)
            if asked.resolves.any():
                left = gone & asked.resolves[here, number]
                left &= ~(asked.same[here] & self._sounds_again(voice))
                below = self.before.heights[voice][self.pairs.before] - 1
                bass = (self._height(3) - below) % 7
                was = (self.before.heights[3][self.pairs.before] - below) % 7
                taken = (bass == 0) & (was != 0)  # under a 9 it is there already
                delayed |= left & taken
                unresolved |= left & ~taken
            if asked.closes.any():
                opened = self._unequal() >> PAIRS.index((voice, 3)) & 1 != 0  # has its own name
                tritone |= gone & (way != 0) & ~opened & asked.closes[here, number]
            if asked.opens.any():
                wrong = begins & (way != 0) & (way != 1) & asked.opens[here, number]
                tritone |= wrong & (way != -2) if voice else wrong
            if asked.rises.any():
                wrong = begins & (way != 0) & (way != 1) & asked.rises[here, number]
                astray |= wrong & (way != -2) if voice else wrong
        if asked.sixfour.any():
            unresolved |= begins & self._sixfour_stays()
        yield "unresolved-dissonance", unresolved
        yield "delayed-resolution", delayed
        yield "tritone-astray", tritone
        yield "leading-tone-astray", astray

    def _height(self, voice: int) -> Small:
        """After, of a voice; of no letter where it rests."""
        heights: Small = self.after.heights[voice][self.pairs.after]
        return heights

    def _sounds_again(self, voice: int) -> Flags:
        """Whether some voice of the next chord has the note this voice had."""
        key, height = self.a[voice], self.before.heights[voice][self.pairs.before]
        again = self.nothing()
        for other in range(len(VOICES)):
            again |= (
                (self.b[other] >= 0)
                & ((self.b[other] - key) % 12 == 0)
                & ((self._height(other) - height) % 7 == 0)
            )
        return again

    def _sixfour_stays(self) -> Flags:
        """A 6 or 4 of the player's that steps down in none of the upper voices (where a given
        melody does it, nothing is asked)."""
        bad = self.nothing()
        numbers = self.before.numbers[:, self.pairs.before]
        for member in (4, 6):
            asked = self.context.sixfour[self.pairs.place, member]
            if not asked.any():
                continue
            has, goes = self.nothing(), self.nothing()
            for voice in range(3):
                having = numbers[voice] == member
                if voice in self.mine:
                    has |= having
                down = having & (self.letters[voice] == -1)
                goes |= down if voice else down & self.context.free_top[self.pairs.place]
            bad |= asked & has & ~goes
        return bad


@lru_cache(maxsize=1)
def _directions() -> tuple[Bits, Bits]:
    """For who rises and who falls (nibbles): the pairs of voices that move alike, and against."""
    similar, contrary = np.zeros((2, 16, 16), np.uint8)
    for rising in range(16):
        for falling in range(16):
            for bit, (upper, lower) in enumerate(PAIRS):
                up = rising >> upper & 1, rising >> lower & 1
                down = falling >> upper & 1, falling >> lower & 1
                if all(up) or all(down):
                    similar[rising, falling] |= 1 << bit
                if (up[0] and down[1]) or (down[0] and up[1]):
                    contrary[rising, falling] |= 1 << bit
    return similar, contrary
