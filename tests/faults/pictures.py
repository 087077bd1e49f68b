"""Is the picture after pass n the picture of that pass alone?

`python -m tests.faults.pictures [--passes N] [--voicings N] [--appearances N] [--busy N]` plays N
passes (default 200) through a real MIDI port (JACK) into one program in a real window (Xvfb), with
different voicings and degrees of legato, as chance decides. Between passes the piece, the key of a
drill, the ground, the size of the text and that of the window are changed with the keys a player
has for it. Each page, before the pass and after it, is compared pixel by pixel with that of a
program freshly started for this voicing and appearance alone, and the keys of each take in the log,
read by sqlite3, with what was sent. `--busy` processes compute beside it. Prints passes, changes,
pictures, notes and differences.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, field
from itertools import pairwise, product
from pathlib import Path
from random import Random

import numpy as np

from tests.end_to_end.jack import Organ
from tests.end_to_end.jack import Server as Jack
from tests.faults.live_and_final import by_chance
from tests.faults.played_window import (
    REST,
    ROWS,
    Appearance,
    broken_off,
    exercise_named,
    keep_exercises,
    lateness,
    opened,
    sent,
    taken,
)
from tests.faults.sound import load

# of a beat by which a finger leaves late: from half a beat on it would count, and on a busy machine
# the beat is seen, and so everything played, by some frames too late
LEGATO = (-0.1, 0.0, 0.1, 0.2, 0.3)
SIZES = ((1280, 800), (1024, 640))
SCALES = (1.0, 1.2)


@dataclass
class Compared:
    """`unready` are pixels of pages before a pass and `differing` of those after it that are not
    those of the pass alone, `amiss` takes whose keys are not those that were sent, `broken` takes
    that the program broke off because the machine stood still. `changes` count what was another
    thing than at the pass before, `late` is how far the chord farthest from its time was off,
    milliseconds: from half a beat on it is marked."""

    passes: int = 0
    alone: int = 0
    notes: int = 0
    late: float = 0.0
    unready: list[int] = field(default_factory=list)
    differing: list[int] = field(default_factory=list)
    amiss: list[int] = field(default_factory=list)
    broken: list[int] = field(default_factory=list)
    changes: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True, slots=True)
class Pass:
    """`way` is the number of a realization."""

    appearance: Appearance
    way: int
    overlap: float = 0.0


Pages = tuple[np.ndarray, np.ndarray]  # before a pass and after it


def different_passes(passes: int, voicings: int, appearances: int, chance: Random) -> list[Pass]:
    """Passes of which neighbours mostly differ in what they look like; every appearance comes."""
    grounds = ("light", "dark")
    every = [Appearance(*one) for one in product(ROWS, SIZES, grounds, SCALES)]  # type: ignore[arg-type]
    chosen = chance.sample(every, min(appearances, len(every)))
    found: list[Pass] = []
    while len(found) < passes:
        for appearance in chance.sample(chosen, len(chosen)):
            found += [
                Pass(appearance, chance.randrange(voicings), chance.choice(LEGATO))
                for _ in range(chance.choice((3, 4, 5, 6)))
            ]
    return found[:passes]


def compare(plays: Sequence[Pass], organ: Organ, folder: Path, seed: int = 1) -> Compared:
    """Play and compare."""
    chance, found = Random(seed), Compared()
    keep_exercises(folder)
    pieces = {name: exercise_named(name, folder) for name in ROWS}
    ways = {
        name: [by_chance(piece, chance) for _ in range(1 + max(play.way for play in plays))]
        for name, piece in pieces.items()
    }
    alone: dict[tuple[Appearance, int], Pages] = {}
    for play in plays:
        if (play.appearance, play.way) not in alone:
            name, here = play.appearance.exercise, folder / f"alone-{len(alone)}"
            with opened(here, organ, play.appearance) as one:
                one.show(play.appearance)
                before = one.at_rest(3 * REST)
                after = one.play(pieces[name], ways[name][play.way], 0.0)
                alone[play.appearance, play.way] = before, after
    found.alone = len(alone)
    # they can be told apart
    assert len({page.tobytes() for _, page in alone.values()}) == len(alone)
    with opened(folder / "in-a-row", organ, plays[0].appearance) as playing:
        for number, play in enumerate(plays):
            same = number > 0 and plays[number - 1].appearance == play.appearance
            if same:
                playing.again()
            else:
                playing.show(play.appearance)
            before, after = alone[play.appearance, play.way]
            ready = playing.until_like(before)
            name = play.appearance.exercise
            page = playing.play(pieces[name], ways[name][play.way], play.overlap)
            found.unready.append(_differing(ready, before))
            found.differing.append(_differing(page, after))
            kept, wanted = taken(playing.home)[number], sent(ways[name][play.way])
            found.notes += sum(map(len, kept))
            if kept != wanted:
                found.amiss.append(number)
            found.passes += 1
            if found.passes % 20 == 0:
                unlike = sum(map(bool, found.unready + found.differing)), len(found.amiss)
                print(f"{found.passes} passes, differing: {unlike}", file=sys.stderr, flush=True)
        found.late, found.broken = lateness(playing.home), broken_off(playing.home)
    for one, other in pairwise(play.appearance for play in plays):
        pairs = zip(one.exercise.split("@"), other.exercise.split("@"), strict=False)
        piece, *key = [a != b for a, b in pairs]
        found.changes["piece"] += piece
        found.changes["key"] += not piece and any(key)
        found.changes["size of the window"] += one.size != other.size
        found.changes["ground"] += one.ground != other.ground
        found.changes["size of the text"] += one.scale != other.scale
    return found


def _differing(one: np.ndarray, other: np.ndarray) -> int:
    """How many pixels differ; all of them where the pages are of different sizes."""
    if one.shape != other.shape:
        return max(one[..., 0].size, other[..., 0].size)
    return int((one != other).any(axis=2).sum())


def main(arguments: list[str] | None = None) -> int:
    """0 if every page is the page of its own pass."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--passes", type=int, default=200)
    asked.add_argument("--voicings", type=int, default=2)
    asked.add_argument("--appearances", type=int, default=5)
    asked.add_argument("--busy", type=int, default=0)
    wanted = asked.parse_args(arguments)
    began = time.monotonic()
    plays = different_passes(wanted.passes, wanted.voicings, wanted.appearances, Random(1))
    with (
        load(wanted.busy),
        closing(Jack()),
        closing(Organ()) as organ,
        tempfile.TemporaryDirectory() as folder,
    ):
        found = compare(plays, organ, Path(folder))
    changes = ", ".join(f"{what} {count}" for what, count in found.changes.items())
    print(f"{found.passes} passes in one program, {found.notes} notes; changed between: {changes}")
    print(f"the chord farthest from its time was {found.late:.0f} ms off")
    print(f"compared with {found.alone} passes of programs freshly started")
    for when, pixels in (("before", found.unready), ("after", found.differing)):
        wrong = [(number, count) for number, count in enumerate(pixels) if count]
        print(f"of {len(pixels)} pages {when} a pass differ: {len(wrong)} {wrong[:10] or ''}")
    print(
        f"takes in the log that are not what was sent: {len(found.amiss)} {found.amiss[:10] or ''}"
    )
    print(f"takes broken off, as the machine stood still: {len(found.broken)} {found.broken or ''}")
    print(f"{time.monotonic() - began:.0f} s, {wanted.busy} busy processes beside it")
    holds = not (any(found.unready) or any(found.differing) or found.amiss)
    print("HOLDS" if holds else "FAILS")
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
