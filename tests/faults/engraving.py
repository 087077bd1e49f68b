"""Reads back what is engraved: every piece, realization, solution and drill, note by note.

`python -m tests.faults.engraving` prints, for each kind, how many pages and notes were compared and
how many stood displaced, missing, extra or on a wrong place. Engraving is read by music21 (its MEI)
and by the places of verovio's drawing; passes, marked pages and the review's sheets are read from
the finished drawing alone (`tests/engraving/drawing_reader.py`). `--keys N` takes each drill in N
keys (default 4), `--ways N` the N best realizations of each piece (default 3).
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Iterator
from datetime import UTC, datetime

from tests.engraving import page_readback
from tests.engraving.page_readback import as_played
from tests.engraving.readback import differences, misplaced
from trainer.engraving.marks import marked
from trainer.engraving.mei import Middle
from trainer.engraving.page import engrave
from trainer.errors import NoVoicingError
from trainer.judging.take import Conditions, Take
from trainer.resources import exercises_folder
from trainer.review.sheet import take_sheet, written_sheet
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
    print(f"{'':<38}{'pages':>8}{'notes':>9}{'wrong':>7}")
    for kind, pages in kinds.items():
        failed += _told(kind, (_engraved(exercise, middle) for exercise, middle in pages))
    for kind, read in {
        "passes on pages": _passes(_realized(pieces, chosen.ways), 0.0),
        "passes gone astray, marked": _passes(_realized(pieces, 2), 0.3),
        "passes of drills": _passes(_realized(drills, 1), 0.0),
        "passes of drills gone astray, marked": _passes(_realized(drills, 1), 0.4),
        "takes in the review": _takes(pieces),
        "written realizations, marked": _homework(pieces),
    }.items():
        failed += _told(kind, read)
    print("HOLDS" if not failed else "FAILS")
    return 1 if failed else 0


Compared = tuple[Exercise, int, list[str]]  # notes compared, and what was wrong


def _told(kind: str, read: Iterator[Compared]) -> int:
    count = notes = 0
    wrong: list[str] = []
    for exercise, compared, told in read:
        count, notes = count + 1, notes + compared
        wrong += [f"{exercise.id}: {one}" for one in told]
    print(f"{kind:<38}{count:>8}{notes:>9}{len(wrong):>7}", flush=True)
    for one in wrong[:10]:
        print(f"    {one}")
    return len(wrong)


def _engraved(exercise: Exercise, middle: Middle) -> Compared:
    compared, told = differences(exercise, middle)
    return exercise, compared, [*told, *misplaced(exercise, middle)]


SIZES = ((1100, 9.0), (700, 7.5), (520, 8.0))  # widths of pages and their staff spaces, in pixels


def _passes(realized: Iterator[tuple[Exercise, Middle]], wild: float) -> Iterator[Compared]:
    chance = random.Random(12)
    for number, (exercise, voicings) in enumerate(realized):
        assert not isinstance(voicings, str) and voicings is not None
        verdict = as_played(exercise, [v for v in voicings if v], chance, wild=wild)
        width, space = SIZES[number % len(SIZES)]
        pages = engrave(exercise, width, None, space_px=space)
        drawn = [marked(page, exercise, verdict, 0.15) for page in pages]
        compared, told = page_readback.differences(exercise, drawn, verdict.moments)
        yield exercise, compared, told


def _takes(pieces: list[Exercise]) -> Iterator[Compared]:
    chance = random.Random(13)
    for exercise, voicings in _realized(pieces, 1):
        assert not isinstance(voicings, str) and voicings is not None
        verdict = as_played(exercise, [v for v in voicings if v], chance, wild=0.3)
        take = Take(exercise.id, "", Conditions(), (), 0.0, datetime(2026, 1, 1, tzinfo=UTC))
        sheet = take_sheet("take", take, exercise, verdict)
        drawn = map(str, sheet.systems)
        compared, told = page_readback.differences(exercise, drawn, verdict.moments)
        yield exercise, compared, told


def _homework(pieces: list[Exercise]) -> Iterator[Compared]:
    chance = random.Random(14)
    for exercise, voicings in _realized([piece for piece in pieces if piece.alto], 1):
        assert not isinstance(voicings, str) and voicings is not None
        verdict = as_played(exercise, [v for v in voicings if v], chance, wild=0.3)
        sheet = written_sheet("piece", exercise, verdict)
        compared, told = page_readback.differences(exercise, map(str, sheet.systems), ())
        yield exercise, compared, told


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
