"""A log of a million chords: how long its pages take, and to verify it once and again.

    python -m tests.faults.large_log
    python -m tests.faults.large_log --chords 100000

Seconds that went by, and of computing of this process and those it waited for: on a busy machine
the first hold what other programs took. A page is made with none of its pieces engraved before, as
after ten takes of pieces that are new, and once more; and by the command itself, from its start to
its end. Each is made three times, and all three are printed: a machine shared with others may be
half as fast for a while, and only the least of them is the program's. Beside them stands how long
Python takes meanwhile to add up a million squares.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import datetime
from functools import partial
from pathlib import Path

from tests.bench.big_log import BUSY, LAST, build
from trainer.commands.shelves import open_library
from trainer.folders import HOME, cache_folder
from trainer.journal.copies import keep_copy
from trainer.journal.seals import Seals
from trainer.journal.store import Journal
from trainer.journal.verify import Checked, verify
from trainer.practice.material import open_material
from trainer.review.classroom import class_page, classroom
from trainer.review.kept_pages import engraved
from trainer.review.review_page import review_page

TIMES = 3


def timed(what: str, do: Callable[[], object]) -> None:
    went, computed = time.perf_counter(), _computed()
    do()
    went, computed = time.perf_counter() - went, _computed() - computed
    print(f"{what:44}{went:8.2f} s went by{computed:8.2f} s of computing", flush=True)


def thrice(what: str, do: Callable[[], object], *, new: bool = False) -> None:
    """The same three times; `new` with no piece engraved before."""
    times = []
    for _ in range(TIMES):
        if new:
            shutil.rmtree(cache_folder() / "engraved", ignore_errors=True)
        begun = time.perf_counter()
        do()
        times.append(time.perf_counter() - begun)
    peer = time.perf_counter()
    sum(number * number for number in range(1_000_000))
    peer = time.perf_counter() - peer
    all_of_them = ", ".join(f"{one:.2f}" for one in times)
    print(f"{what:44}{min(times):8.2f} s ({all_of_them}; {1000 * peer:.0f} ms)", flush=True)


def _computed() -> float:
    return sum(os.times()[:4])  # with children


def review(log: Path, player: str | None) -> None:
    """The page of a player's ten last takes, as another process would make it."""
    engraved.cache_clear()
    with Journal.open(log) as journal:
        who = None if player is None else journal.player(player)
        review_page(journal, who, 10, datetime.now().astimezone())


def command(*words: str) -> None:
    """The program, from its start to its end."""
    with tempfile.TemporaryDirectory() as folder:
        page = str(Path(folder) / "page.html")
        done = [sys.executable, "-m", "trainer", *words, "--html", page]
        subprocess.run(done, check=True, stdout=subprocess.DEVNULL)


def pages(log: Path) -> None:
    """Each with no piece engraved before, and again."""
    for name, player in (("one player", BUSY), ("everybody", None)):
        page = partial(review, log, player)
        thrice(f"review page of {name}, pieces new", page, new=True)
        thrice("  again", page)
    words = ("review", "--log", str(log), "--player", BUSY)
    thrice("command `review --html`, pieces new", lambda: command(*words), new=True)
    thrice("  again", lambda: command(*words))
    thrice("command `review --class --html`", lambda: command("review", "--class", *words[1:3]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--chords", type=int, default=1_000_000)
    parser.add_argument("--log", type=Path, help="use the log that is there, or make it there")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ[HOME] = folder
        log = asked.log or Path(folder) / "log.sqlite"
        if not log.exists():
            timed(f"{asked.chords} chords made", lambda: build(str(log), asked.chords))
        material = open_material(open_library())
        pages(log)
        with Journal.open(log) as journal:
            now = datetime.now().astimezone()
            thrice("class page", lambda: class_page(classroom(journal, material, (), LAST), now))
            seals = Path(folder) / "seals"
            found: list[Checked] = []

            def check() -> None:
                found.append(verify(journal, Seals(seals)))

            timed("verified for the first time", check)
            timed("verified again", check)
            print(f"{found[0].takes} takes, {found[1].known} of them known the second time")
            print(f"troubles: {len(found[0].troubles)}, {len(found[1].troubles)}")
        timed("copied", lambda: keep_copy(log, LAST, threading.Event()))


if __name__ == "__main__":
    main()
