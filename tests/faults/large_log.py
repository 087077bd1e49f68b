"""A log of a million chords: how long its pages take, and to verify it once and again.

    python -m tests.faults.large_log
    python -m tests.faults.large_log --chords 100000

Seconds that went by, and of computing of this process: on a busy machine the first hold what other
programs took.
"""

from __future__ import annotations

import argparse
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from tests.bench.big_log import BUSY, LAST, build
from trainer.commands.shelves import open_library
from trainer.journal.copies import keep_copy
from trainer.journal.seals import Seals
from trainer.journal.store import Journal
from trainer.journal.verify import Checked, verify
from trainer.practice.material import open_material
from trainer.review.classroom import class_page, classroom
from trainer.review.review_page import review_page


def timed(what: str, do: Callable[[], object]) -> None:
    went, computed = time.perf_counter(), time.process_time()
    do()
    went, computed = time.perf_counter() - went, time.process_time() - computed
    print(f"{what:44}{went:8.2f} s went by{computed:8.2f} s of computing", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--chords", type=int, default=1_000_000)
    parser.add_argument("--log", type=Path, help="use the log that is there, or make it there")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        log = asked.log or Path(folder) / "log.sqlite"
        if not log.exists():
            timed(f"{asked.chords} chords made", lambda: build(str(log), asked.chords))
        material = open_material(open_library())
        with Journal.open(log) as journal:
            now = datetime.now().astimezone()
            who = journal.player(BUSY)
            timed("review page of one player", lambda: review_page(journal, who, 10, now))
            timed("review page of everybody", lambda: review_page(journal, None, 10, now))
            timed("class page", lambda: class_page(classroom(journal, material, (), LAST), now))
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
