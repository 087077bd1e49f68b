"""Damaged logs, thousands of them: whether everything that can be read is kept.

    python -m tests.faults.log_damage                  2000 logs, prints the table
    python -m tests.faults.log_damage --variants 100 --seed 5
    python -m tests.faults.log_damage --only wrong_values

A log of judged takes is damaged in one of many ways (bytes, pages, the head of the file, the
write-ahead log, values of wrong types) and mended by `log verify --repair`. What could have been
read is asked of a reader that knows nothing of ours (`other_reader.py`). What it finds as it was
before the damage must be in the mended log; marks that are lost must have been made anew as they
were.
"""

from __future__ import annotations

import argparse
import io
import random
import shutil
import sqlite3
import sys
import tempfile
import traceback
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from tests.faults.damaged_logs import DAMAGES, Variant, Whole, judged, whole_log
from tests.faults.other_reader import readable
from trainer.errors import TrainerError
from trainer.journal.repair import repair
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.theory.rules import RULES_VERSION


@dataclass
class Figures:
    """What came of the damaged logs."""

    counts: Counter[str]
    amiss: list[str]


def tried(variant: Variant, folder: Path, whole: Whole, name: str, figures: Figures) -> None:
    """Damage noticed, mended, and what is then there compared with what was readable."""
    log, other = folder / "log.sqlite", folder / "other.sqlite"
    for path in (log, other):
        path.write_bytes(variant.main)
        if variant.wal:
            Path(f"{path}-wal").write_bytes(variant.wal)
    could = readable(other, whole)
    begun = only_begun(other)  # of a take of which nothing was played nothing is kept
    counts, before = figures.counts, len(figures.amiss)
    counts["logs"] += 1
    counts["takes readable"] += len(could.heads)
    counts["playings readable"] += len(could.playing)
    counts["marks readable"] += len(could.marks)
    try:
        done = repair(str(log), judged, RULES_VERSION)
    except TrainerError as error:
        counts["refused"] += 1
        if could.heads or "\n" in str(error) or log.read_bytes() != bytes(variant.main):
            figures.amiss.append(f"{name}: refused with {len(could.heads)} takes readable: {error}")
        return
    except Exception:
        counts["tracebacks"] += 1
        out = io.StringIO()
        traceback.print_exc(file=out)
        figures.amiss.append(f"{name}: {out.getvalue()}")
        return
    counts["repaired" if done.kept else "nothing to mend"] += 1
    counts["marks made anew"] += done.remade
    with Journal.open(log) as journal:
        left = [one for one in verify(journal).troubles if one.remedy]
        figures.amiss += [f"{name}: still {one}" for one in left]
        kept = {one.id: verdict for one, _, verdict in journal.passes()}
        counts["takes kept"] += sum(id in whole.takes for id in kept)
        figures.amiss += [f"{name}: take {id} is lost" for id in could.heads - begun - set(kept)]
        for id in set(kept) & set(whole.takes):
            take, was = journal.take(id), whole.takes[id]
            same = take.events == was.events
            counts["playings kept"] += same
            if id in could.playing and not same:
                figures.amiss.append(f"{name}: the playing of {id} is lost")
            if id in could.exercise and take.exercise != was.exercise:
                figures.amiss.append(f"{name}: the exercise of {id} is lost")
            if id in could.conditions and take.conditions != was.conditions:
                figures.amiss.append(f"{name}: the conditions of {id} are lost")
            whole_take = replace(take, port="", rules=0) == replace(was, port="", rules=0)
            marked = kept[id] == whole.verdicts[id]
            counts["marks kept or made as they were"] += marked
            if whole_take and not marked:
                figures.amiss.append(f"{name}: {id} is whole and not marked as it was")
    if len(figures.amiss) == before:
        counts["nothing lost"] += 1


def only_begun(log: Path) -> set[str]:
    """Takes that were open when the log ends, with nothing played; none where nobody can ask."""
    query = "SELECT id FROM take WHERE state = 'open' AND seq NOT IN (SELECT take_seq FROM chunk)"
    try:
        with closing(sqlite3.connect(log)) as raw:
            return {str(id) for (id,) in raw.execute(query)}
    except sqlite3.Error:
        return set()


def run(variants: int, seed: int, only: str = "") -> Figures:
    """Damage and mend so many logs, if asked for in one way `only`; how it went."""
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None
    figures = Figures(Counter(), [])
    with tempfile.TemporaryDirectory(dir=memory, prefix="mittelstimme-damage-") as name:
        folder = Path(name)
        whole = whole_log(folder)
        for number in range(variants):
            chance = random.Random(f"{seed} {number}")
            damage = DAMAGES[number % len(DAMAGES)]
            if only not in ("", damage.__name__):
                continue
            variant = Variant(bytearray(whole.main), bytearray(whole.wal))
            damage(variant, chance)
            here = folder / str(number)
            here.mkdir()
            tried(variant, here, whole, f"{damage.__name__} {number}", figures)
            shutil.rmtree(here)
    return figures


FIGURES = (
    *("logs", "repaired", "nothing to mend", "refused", "tracebacks", "nothing lost"),
    *("takes readable", "takes kept", "playings readable", "playings kept"),
    *("marks readable", "marks kept or made as they were", "marks made anew"),
)


def main() -> int:
    """0 if nothing readable was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--variants", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", choices=["", *(way.__name__ for way in DAMAGES)])
    asked = parser.parse_args()
    figures = run(asked.variants, asked.seed, asked.only)
    for what in FIGURES:
        print(f"{what:34}{figures.counts[what]:8}")
    for line in figures.amiss[:20]:
        print(line)
    print(f"{'amiss':34}{len(figures.amiss):8}")
    return 1 if figures.amiss else 0


if __name__ == "__main__":
    sys.exit(main())
