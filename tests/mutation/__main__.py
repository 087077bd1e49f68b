"""Changes rooms of the program and prints what their tests noticed: `python -m tests.mutation`.

A full run ends with 0 where at least nine tenths of the changes to every room were noticed; a
sample (`--sample 10 --seed 1`: ten changes to each room) where all of them were. What is listed as
equivalent is tried too, and has to survive.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sys
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.changes import Change, changes
from tests.mutation.trials import Outcome, Trial, file_of, rehearsed, source_of, tried

HERE = Path(__file__).parent
ENOUGH = 0.90  # part of the changes to a room that has to be noticed


@dataclass(frozen=True, slots=True)
class Room:
    """Modules (dotted) that are changed, and the tests that have to notice."""

    name: str
    modules: tuple[str, ...]
    tests: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """What became of one change."""

    module: str
    change: Change
    outcome: Outcome
    reason: str  # why it makes no difference, where it is listed

    @property
    def wrong(self) -> bool:
        """Survived and not listed, or noticed though listed."""
        return (self.outcome == "survived") == (self.reason == "")

    @property
    def words(self) -> str:
        """A line for a person to go by."""
        listed = " is listed as equivalent and was noticed" if self.reason else ""
        place = f"{file_of(self.module)}:{self.change.line}: {self.change.within or 'module'}"
        return f"  {place}: {self.change.words}{listed}"


Place = tuple[str, str, str]  # module, what is around it, the change in words


def rooms() -> dict[str, Room]:
    """The rooms by name."""
    table = tomllib.loads((HERE / "rooms.toml").read_text("utf-8"))
    return {
        name: Room(name, tuple(room["modules"]), tuple(room["tests"]))
        for name, room in table.items()
    }


def equivalent() -> dict[Place, str]:
    """Why a change makes no difference, for those that make none."""
    table = tomllib.loads((HERE / "equivalent.toml").read_text("utf-8"))
    return {
        (module, one["within"], one["change"]): one["reason"]
        for module, listed in table.items()
        for one in listed
    }


def sample(
    of: Sequence[tuple[str, Change]], count: int, seed: int
) -> tuple[tuple[str, Change], ...]:
    """So many of them, picked by their own words: a change elsewhere picks no others."""

    def lot(one: tuple[str, Change]) -> bytes:
        module, change = one
        return hashlib.sha256(f"{seed} {module} {change.within} {change.words}".encode()).digest()

    picked = sorted(of, key=lot)[:count]
    return tuple(one for one in of if one in picked)


def searched(
    room: Room, of: Sequence[tuple[str, Change]], known: Mapping[Place, str], jobs: int
) -> tuple[Found, ...] | None:
    """Each change tried; None where the tests do not pass before any."""
    spent = rehearsed(room.modules, room.tests)
    if spent is None:
        return None
    trials = (((module, change), Trial(module, change.tree, room.tests)) for module, change in of)
    found = []
    for (module, change), outcome in tried(trials, round(10 + 5 * spent), jobs):
        reason = known.get((module, change.within, change.words), "")
        found.append(Found(module, change, outcome, reason))
        if found[-1].wrong:
            print(found[-1].words, flush=True)
    return tuple(found)


def main(arguments: Sequence[str]) -> int:
    """0 if enough was noticed, 1 if not, 2 for a request that makes no sense."""
    parser = argparse.ArgumentParser("python -m tests.mutation", description=__doc__)
    parser.add_argument("--room", choices=list(rooms()), action="append", help="only this room")
    parser.add_argument("--sample", type=int, metavar="N", help="only N changes to each room")
    parser.add_argument("--seed", type=int, default=1, help="which of them")
    parser.add_argument("--jobs", type=int, default=1, help="changes tried at a time")
    asked = parser.parse_args(arguments)
    if not hasattr(os, "fork"):
        print("changes are tried in forked processes; this system has none", file=sys.stderr)
        return 2
    known, enough = equivalent(), True
    print(f"{'room':<12}{'tried':>7}{'killed':>8}{'too slow':>10}{'listed':>8}{'survived':>10}")
    for name in asked.room or rooms():
        room = rooms()[name]
        every = [(module, one) for module in room.modules for one in changes(source_of(module))]
        here = every if asked.sample is None else sample(every, asked.sample, asked.seed)
        found = searched(room, here, known, asked.jobs)
        if found is None:
            print(f"{name}: its tests do not pass as things stand; mend them", file=sys.stderr)
            return 2
        enough &= _told(name, found, whole=asked.sample is None)
    return 0 if enough else 1


def _told(name: str, found: Sequence[Found], *, whole: bool) -> bool:
    """Print a room's figures; whether they are enough."""
    listed = sum(bool(one.reason) for one in found)
    slow = sum(one.outcome == "too slow" for one in found)
    survived = sum(one.outcome == "survived" and not one.reason for one in found)
    tried_, noticed = len(found), len(found) - listed - survived
    share = noticed / (tried_ - listed) if tried_ > listed else 1.0
    print(
        f"{name:<12}{tried_:>7}{noticed:>8}{slow:>10}{listed:>8}{survived:>10}{share:>9.1%}",
        flush=True,
    )
    refuted = any(one.reason and one.wrong for one in found)
    return not refuted and (share >= ENOUGH if whole else survived == 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
