"""What lies on what: every piece, gone astray and marked with many faults, at four sizes.

`python -m tests.faults.crowding` prints how many marks were set on how many pages, and how often
any two kinds of things touched. Not counted: the lines of the staves, and strokes that lead from
head to head (`tests/engraving/crowding.py`). `--ways N` takes N passes of each piece (default 2).
"""

from __future__ import annotations

import argparse
import random
import sys
from collections import Counter

from tests.engraving.crowding import overlaps
from tests.engraving.page_readback import as_played
from trainer.engraving.page import engrave
from trainer.resources import exercises_folder
from trainer.score.kern import read_exercise
from trainer.theory.realize.solver import Solver

SIZES = ((1100, 9.0), (700, 7.5), (360, 6.0), (2400, 24.0))  # width, staff space, in pixels


# kinds that may touch, and why
ARGUED = {
    ("written sign", "printed barline"): "more accidentals than there is room for after a barline",
    ("written sign", "printed clef"): "more accidentals than there is room for before a first note",
    ("written sign", "printed signature"): "more accidentals than there is room for",
    ("written sign", "printed metre"): "more accidentals than there is room for",
    ("written head", "printed tie"): "a tie bends through the places of the inner voices",
    ("written flag", "written flag"): "alto and tenor that come close between the staves",
    ("written head", "written flag"): "a tenor an octave astray beside the alto's flag",
    ("written flag", "written head"): "a tenor's flag beside an alto that stands below it",
    ("written head", "printed fermata"): "an alto that was played above the melody",
}


def main(arguments: list[str] | None = None) -> int:
    """0 if nothing lies on anything."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--ways", type=int, default=2)
    ways = asked.parse_args(arguments).ways
    found: Counter[tuple[str, str]] = Counter()
    pages = faults = late = 0
    chance = random.Random(21)
    for number, path in enumerate(sorted(exercises_folder().glob("*.krn"))):
        exercise = read_exercise(path)
        solver = Solver(
            exercise.moments, struck_five_is_diminished=exercise.struck_five_is_diminished
        )
        voicings = solver.best(1)[0].voicings
        for way in range(ways):
            verdict = as_played(exercise, voicings, chance, wild=(0.3, 0.5)[way % 2])
            faults += len(verdict.faults)
            late += sum(1 for m in verdict.moments if m.late_beats or m.outcome == "not-played")
            width, space = SIZES[(number + way) % len(SIZES)]
            for page in engrave(exercise, width, None, space_px=space):
                pages += 1
                here = overlaps(page, exercise, verdict)
                found += here
    print(f"{pages} pages, {faults} faults, {late} chords late, early or skipped")
    total = 0
    for kinds, count in found.most_common():
        reason = ARGUED.get(kinds)
        total += count if reason is None else 0
        told = "" if reason is None else f" ({reason})"
        print(f"{count:>7}  {kinds[0]} on {kinds[1]}{told}")
    print(f"{total} overlaps without a reason: {'HOLDS' if not total else 'FAILS'}")
    return 1 if total else 0


if __name__ == "__main__":
    sys.exit(main())
