"""Reads back what is engraved: every piece, realization, solution and drill, note by note.

`python -m tests.faults.engraving` prints, for each kind, how many pages and notes were compared and
how many stood displaced, missing, extra or on a wrong place (music21's reading of the MEI, the
places of verovio's drawing). `--keys N` takes each drill in N keys (default 4), `--ways N` the N
best realizations of each piece (default 3).
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Iterator

from tests.engraving.readback import differences, misplaced
from trainer.engraving.mei import Middle
from trainer.errors import NoVoicingError
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.score.patterns import POSITIONS, every_key, expand, load_patterns
from trainer.theory.realize.solver import Solver


def main(arguments: list[str] | None = None) -> int:
    """0 if nothing differs."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--keys", type=int, default=4)
    asked.add_argument("--ways", type=int, default=3)
    chosen = asked.parse_args(arguments)
    pieces = [read_exercise(path) for path in sorted(exercises_folder().glob("*.krn"))]
    drills = list(_drills(chosen.keys))
    kinds: dict[str, Iterator[tuple[Exercise, Middle]]] = {
        "pieces with an empty middle": ((piece, None) for piece in pieces),
        "suggested solutions": ((piece, "suggested") for piece in pieces if piece.alto),
        "realizations of pieces": _realized(pieces, chosen.ways),
        "realizations of drills": _realized(drills, 1),
    }
    failed = 0
    print(f"{'':<30}{'pages':>8}{'notes':>9}{'wrong':>7}")
    for kind, pages in kinds.items():
        count = notes = 0
        wrong: list[str] = []
        for exercise, middle in pages:
            compared, told = differences(exercise, middle)
            count, notes = count + 1, notes + compared
            wrong += [f"{exercise.id}: {one}" for one in (*told, *misplaced(exercise, middle))]
        print(f"{kind:<30}{count:>8}{notes:>9}{len(wrong):>7}", flush=True)
        for one in wrong[:10]:
            print(f"    {one}")
        failed += len(wrong)
    print("HOLDS" if not failed else "FAILS")
    return 1 if failed else 0


def _drills(keys: int) -> Iterator[Exercise]:
    chance = random.Random(0)
    for pattern in load_patterns(exercises_folder() / "patterns").values():
        for key in chance.sample(every_key(), keys):
            yield expand(pattern, key, chance.choice(POSITIONS))


def _realized(exercises: list[Exercise], ways: int) -> Iterator[tuple[Exercise, Middle]]:
    for exercise in exercises:
        solver = Solver(
            exercise.moments, struck_five_is_diminished=exercise.struck_five_is_diminished
        )
        try:
            solutions = solver.best(ways)
        except NoVoicingError:
            continue
        for solution in solutions:
            yield exercise, solution.voicings


if __name__ == "__main__":
    sys.exit(main())
