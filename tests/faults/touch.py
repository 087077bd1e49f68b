"""Right passes with every touch: `python -m tests.faults.touch [--pieces 12] [--seed 1]`.

Twelve pieces by chance, at 40 to 160 beats a minute, fingers that stay down for 0 to 25 % of a beat
into the next chord (15 % at 120 and above), the right hand up to 15 % of a beat before or after the
bass, in turn with one and three voices in a hand and with two and two. Prints for each tempo and
overlap how many passes were not fully complete, had a fault that the same notes have not when they
are struck together and let go in time, or figures of a hand further than `CLOSE` from what was put
in. The status is 1 if any.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import cache
from random import Random

from tests.judging.touches import PIECES, Touch, conditions, grid, played, with_best
from trainer.judging.passes import judge
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.theory.hands import HANDS, Hands
from trainer.theory.voicing import Voicing

OVERLAPS = (0.0, 0.05, 0.1, 0.15, 0.2, 0.25)
APART = (-0.15, -0.07, 0.0, 0.07, 0.15)
STARTED = datetime(2026, 11, 28, tzinfo=UTC)
ORIGIN = 5.0
CLOSE = 5.0  # milliseconds


def verdict(
    exercise: Exercise, voicings: Sequence[Voicing], touch: Touch, seed: int
) -> PassVerdict:
    """What is said of it."""
    events = tuple(played(exercise, voicings, touch, ORIGIN, seed))
    text = write_exercise(exercise)
    return judge(Take(exercise.id, text, conditions(touch), events, ORIGIN, STARTED))


@cache
def _together(
    exercise: Exercise, voicings: tuple[Voicing, ...], tempo: float, hands: Hands
) -> set[str]:
    """What is said of the same notes struck together and let go in time."""
    return {
        fault.text for fault in verdict(exercise, voicings, Touch(tempo, hands=hands), 0).faults
    }


def wrong(exercise: Exercise, voicings: tuple[Voicing, ...], touch: Touch, seed: int) -> list[str]:
    """What is said of a right pass that is not true of it."""
    said = verdict(exercise, voicings, touch, seed)
    told = [f"{m.index} {m.outcome}" for m in said.moments if m.outcome != "complete"]
    usual = _together(exercise, voicings, touch.tempo, touch.hands)
    told += [fault.text for fault in said.faults if fault.text not in usual]
    return told + misheard(said, touch)


def misheard(said: PassVerdict, touch: Touch) -> list[str]:
    """The figures of the hands that are not what was put in."""
    figures = None if said.timing is None else said.timing.touch
    if figures is None:
        return ["no figures of the hands"]
    beat = 1000 * touch.beat
    put_in = ((figures.left, touch.left * beat), (figures.right, touch.right * beat))
    return [
        f"{name} hand {hand.bias_ms:.0f} ms, not {ms:.0f}"
        for name, (hand, ms) in zip(("left", "right"), put_in, strict=True)
        if hand is not None and abs(hand.bias_ms - ms) > CLOSE
    ]


def main(arguments: list[str] | None = None) -> int:
    """0 if every pass is complete."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--pieces", type=int, default=12)
    asked.add_argument("--seed", type=int, default=1)
    chosen = asked.parse_args(arguments)
    pieces = Random(chosen.seed).sample(PIECES, min(chosen.pieces, len(PIECES)))
    bad: Counter[tuple[float, float]] = Counter()
    passes: Counter[tuple[float, float]] = Counter()
    for number, path in enumerate(pieces):
        exercise, voicings = with_best(path.stem)
        for touch in grid(OVERLAPS, APART, HANDS[number % 2]):
            cell = (touch.tempo, touch.overlap)
            passes[cell] += 1
            if told := wrong(exercise, voicings, touch, chosen.seed):
                bad[cell] += 1
                print(f"{path.stem} {touch}: {told[0]}")
    print(f"passes not complete, of {sum(passes.values())}")
    print("tempo".ljust(10) + "".join(f"{overlap:>12.0%}" for overlap in OVERLAPS))
    for tempo in sorted({touch for touch, _ in passes}):
        row = ((bad[tempo, overlap], passes[tempo, overlap]) for overlap in OVERLAPS)
        words = ("" if not count else f"{failed} of {count}" for failed, count in row)
        print(f"{tempo:<10g}" + "".join(f"{word:>12}" for word in words))
    print("HOLDS" if not bad else "FAILS")
    return int(bool(bad))


if __name__ == "__main__":
    sys.exit(main())
