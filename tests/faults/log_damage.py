"""Damaged logs, thousands of them: whether everything that can be read is kept.

    python -m tests.faults.log_damage                  2000 logs, prints the table
    python -m tests.faults.log_damage --variants 100 --seed 5
    python -m tests.faults.log_damage --only wrong_values

A log of judged takes is damaged in one of many ways (bytes, pages, the head of the file, the
write-ahead log, values of wrong types) and mended by `log verify --repair`. What could have been
read is asked of a reader that knows nothing of ours: Python's sqlite3, table by table from either
end, then row by row and column by column, texts as bytes. What it finds as it was before the
damage must be in the mended log; marks that are lost must have been made anew as they were.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import random
import shutil
import sqlite3
import sys
import tempfile
import traceback
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any

from tests.journal.samples import STARTED
from trainer.errors import TrainerError
from trainer.journal.packing import conditions_text, pack_events
from trainer.journal.repair import repair
from trainer.journal.schema import metadata
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.journal.writer import Writer
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Take
from trainer.judging.verdict import PassVerdict
from trainer.practice.demo import Slip, perform, realization
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.score.library import Library
from trainer.score.transpose import transposed
from trainer.theory.rules import RULES_VERSION
from trainer.theory.voicing import Voicing

TAKES, AHEAD = 24, 8  # in the file, and in its write-ahead log only
PAGE = 4096


@dataclass(frozen=True)
class Whole:
    """The log before the damage: the bytes of its files, and what is in it by id of take."""

    main: bytes
    wal: bytes
    takes: dict[str, Take]
    verdicts: dict[str, PassVerdict]


def whole_log(folder: Path) -> Whole:
    """A log of two players who play drills and a long piece, in tempo and untimed."""
    log = folder / "whole.sqlite"
    takes: dict[str, Take] = {}
    verdicts: dict[str, PassVerdict] = {}
    writer, reader = Writer(log), sqlite3.connect(log)
    for number in range(TAKES + AHEAD):
        if number == TAKES:  # from here on somebody reads, and nothing comes into the file
            writer.flush()
            reader.execute("BEGIN")
            reader.execute("SELECT count(*) FROM take").fetchone()
        take = _played(number)
        verdict = judged(take)
        id = writer.begin(replace(take, events=()))
        writer.end(id, take, verdict)
        takes[id], verdicts[id] = take, verdict
    writer.flush()
    main, wal = log.read_bytes(), Path(f"{log}-wal").read_bytes()
    reader.close()
    writer.close()
    return Whole(main, wal, takes, verdicts)


judged = cache(judge)  # the same few takes are judged anew in every log


def _played(number: int) -> Take:
    if number % 8 == 0:
        exercise = _exercise("bellows", ("C", "G", "D")[number // 8 % 3])
    else:
        exercise = _exercise(f"cadence-4-3@{('C', 'F', 'G', 'D', 'Bb')[number % 5]}")
    conditions = Conditions(tempo=60.0 if number % 3 else None)
    voicings = _voicings(exercise, conditions)
    slips = [Slip("wrong", 1)] if number % 2 else []
    begins = 100.0 * number
    events = perform(exercise, conditions, voicings, begins, slips=slips, seed=number)
    return Take(
        exercise.id,
        write_exercise(exercise),
        conditions,
        events,
        begins,
        STARTED + timedelta(hours=number),
        player=("a" if number % 2 else "b") * 32,
        rules=RULES_VERSION,
    )


@cache
def _exercise(id: str, key: str | None = None) -> Exercise:
    found = Library().find(id)
    return found if key is None else transposed(found, key)


@cache
def _voicings(exercise: Exercise, conditions: Conditions) -> tuple[Voicing, ...]:
    return realization(exercise, conditions)


# ---- damage ---------------------------------------------------------------------------------


@dataclass
class Variant:
    """The files of a log, to be damaged."""

    main: bytearray
    wal: bytearray


Damage = Callable[[Variant, random.Random], None]


def some_bytes(log: Variant, chance: random.Random) -> None:
    """Some bytes are others, anywhere."""
    for _ in range(chance.choice([1, 1, 8, 64])):
        log.main[chance.randrange(len(log.main))] = chance.randrange(256)


def no_utf8(log: Variant, chance: random.Random) -> None:
    """A letter of a text becomes a byte that is no UTF-8."""
    letters = [at for at in range(PAGE, len(log.main)) if 65 <= log.main[at] <= 122]
    for at in chance.sample(letters, chance.choice([1, 1, 3])):
        log.main[at] = chance.choice([0x80, 0xC3, 0xFF])


def bits_of_the_log_ahead(log: Variant, chance: random.Random) -> None:
    """Some bytes of the write-ahead log are others."""
    for _ in range(chance.choice([1, 8])):
        log.wal[chance.randrange(32, len(log.wal))] ^= 1 << chance.randrange(8)


def head_of_the_log_ahead(log: Variant, chance: random.Random) -> None:
    """The head of the write-ahead log is damaged."""
    log.wal[chance.randrange(32)] ^= 0xFF


def log_ahead_cut_off(log: Variant, chance: random.Random) -> None:
    """The write-ahead log ends too early."""
    del log.wal[chance.randrange(len(log.wal)) :]


def log_ahead_gone(log: Variant, chance: random.Random) -> None:
    """There is no write-ahead log, and a byte is another."""
    log.wal.clear()
    log.main[chance.randrange(len(log.main))] = chance.randrange(256)


def page_of_zeros(log: Variant, chance: random.Random) -> None:
    """Pages, or sectors, are zero."""
    for _ in range(chance.choice([1, 1, 2, 4])):
        size = chance.choice([512, PAGE])
        at = chance.randrange(len(log.main) // size) * size
        log.main[at : at + size] = bytes(size)


def pages_swapped(log: Variant, chance: random.Random) -> None:
    """Two pages lie in each other's place."""
    one, other = (PAGE * number for number in chance.sample(range(len(log.main) // PAGE), 2))
    first, second = log.main[one : one + PAGE], log.main[other : other + PAGE]
    log.main[one : one + PAGE], log.main[other : other + PAGE] = second, first


def page_twice(log: Variant, chance: random.Random) -> None:
    """A page lies in the place of another."""
    one, other = (PAGE * number for number in chance.sample(range(len(log.main) // PAGE), 2))
    log.main[one : one + PAGE] = log.main[other : other + PAGE]


def cut_off(log: Variant, chance: random.Random) -> None:
    """The file ends too early."""
    del log.main[chance.randrange(len(log.main)) :]
    if chance.random() < 0.5:
        log.wal.clear()


def head_of_the_file(log: Variant, chance: random.Random) -> None:
    """The first hundred bytes are damaged."""
    for _ in range(chance.choice([1, 4, 16])):
        log.main[chance.randrange(100)] = chance.randrange(256)


def first_page(log: Variant, chance: random.Random) -> None:
    """What the database knows of its own tables is damaged."""
    for _ in range(chance.choice([1, 8, 64])):
        log.main[chance.randrange(100, PAGE)] = chance.randrange(256)


def head_of_a_page(log: Variant, chance: random.Random) -> None:
    """What a page says of itself is damaged."""
    at = PAGE * chance.randrange(1, len(log.main) // PAGE)
    log.main[at + chance.randrange(16)] = chance.randrange(256)


def foreign_pages(log: Variant, chance: random.Random) -> None:
    """A stretch of the file is what another file held."""
    at = PAGE * chance.randrange(1, len(log.main) // PAGE)
    log.main[at : at + PAGE] = chance.randbytes(PAGE)


def pushed_along(log: Variant, chance: random.Random) -> None:
    """Everything behind a place lies some bytes further on."""
    at = chance.randrange(PAGE, len(log.main))
    log.main[at:at] = bytes(chance.choice([1, 16, PAGE]))


WRONG: tuple[Any, ...] = (None, "", "abc", -1, 3.5, 10**15, 2**62, b"\xff\x00", "\0", float("inf"))
COLUMNS = {
    "take": ("conditions", "origin", "started", "port", "pauses", "state", "seconds", "day"),
    "marking": ("complete", "extra", "rules", "made", "bias_ms", "touch", "digest"),
    "moment": ("outcome", "keys", "voicing", "late_ms", "attack", "missing"),
    "fault": ("moments", "weight", "pitches", "instead"),
    "chunk": ("checksum", "payload", "packing"),
    "exercise_text": ("text", "digest"),
    "player": ("name", "named"),
    "played": ("takes", "seconds"),
}


def wrong_values(log: Variant, chance: random.Random) -> None:
    """Values of wrong types stand in columns."""
    with tempfile.TemporaryDirectory() as folder, contextlib.ExitStack() as after:
        path = Path(folder) / "log.sqlite"
        path.write_bytes(log.main)
        Path(f"{path}-wal").write_bytes(log.wal)
        raw = after.enter_context(contextlib.closing(sqlite3.connect(path)))
        raw.create_function("chance", 0, chance.random)
        for _ in range(chance.choice([1, 3, 10])):
            table = chance.choice(list(COLUMNS))
            column = chance.choice(COLUMNS[table])
            where = (
                f"rowid % 7 = {chance.randrange(7)}" if table == "take" else "chance() < 1 / 9.0"
            )
            with contextlib.suppress(sqlite3.Error):
                raw.execute(
                    f"UPDATE {table} SET {column} = ? WHERE {where}", (chance.choice(WRONG),)
                )
        raw.commit()
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        raw.close()
        log.main[:] = path.read_bytes()
        log.wal.clear()


DAMAGES: tuple[Damage, ...] = (
    some_bytes,
    no_utf8,
    bits_of_the_log_ahead,
    head_of_the_log_ahead,
    log_ahead_cut_off,
    log_ahead_gone,
    page_of_zeros,
    pages_swapped,
    page_twice,
    cut_off,
    head_of_the_file,
    first_page,
    head_of_a_page,
    foreign_pages,
    pushed_along,
    wrong_values,
)


# ---- the other reader -----------------------------------------------------------------------


@dataclass
class Readable:
    """What was found as it was before the damage: ids of takes, those whose playing, whose
    conditions and whose exercise can be read, and whose marks are all there."""

    heads: set[str]
    playing: set[str]
    conditions: set[str]
    exercise: set[str]
    marks: set[str]


def readable(path: Path, whole: Whole) -> Readable:
    """What Python's sqlite3 can get at."""
    found = Readable(set(), set(), set(), set(), set())
    try:
        tables = _tables(path)
    except _BROKEN:
        return found
    texts = {row.get("seq"): row.get("text") for row in tables["exercise_text"]}
    chunks = {row.get("take_seq"): row for row in tables["chunk"]}
    said = {row.get("take_seq"): row for row in tables["marking"]}
    counts = {name: Counter(row.get("marking_seq") for row in tables[name]) for name in _SAID}
    for row in tables["take"]:
        id = _text(row.get("id"))
        take = whole.takes.get(id)
        if take is None:
            continue
        found.heads.add(id)
        if row.get("conditions") == conditions_text(take.conditions).encode():
            found.conditions.add(id)
        if texts.get(row.get("text_seq")) == take.exercise.encode():
            found.exercise.add(id)
        payload = chunks.get(row.get("seq"), {}).get("payload")
        if isinstance(payload, bytes) and payload == zlib.compress(pack_events(take.events), 6):
            found.playing.add(id)
        marks = said.get(row.get("seq"), {}).get("seq")
        verdict = whole.verdicts[id]
        sizes = (len(verdict.moments), len(verdict.faults))
        if marks is not None and tuple(counts[name][marks] for name in _SAID) == sizes:
            found.marks.add(id)
    return found


# even the words in which a damaged database complains need not be Unicode
_BROKEN = (sqlite3.Error, OverflowError, UnicodeDecodeError)
_SAID = ("moment", "fault")
_READ = ("take", "exercise_text", "chunk", "marking", *_SAID)


def _text(value: object) -> str:
    return value.decode(errors="replace") if isinstance(value, bytes) else str(value)


def _tables(path: Path) -> dict[str, list[dict[str, Any]]]:
    with contextlib.closing(sqlite3.connect(path)) as raw:
        raw.text_factory = bytes
        return {name: list(_rows(raw, name)) for name in _READ}


def _rows(raw: sqlite3.Connection, table: str) -> Iterator[dict[str, Any]]:
    """Rows from either end; then those between, one by one, column by column."""
    names = [column.name for column in metadata.tables[table].columns]
    keys = names[:2] if table in ("chunk", *_SAID) else names[:1]
    seen: set[tuple[Any, ...]] = set()
    for order in ("ASC", "DESC"):
        by = ", ".join(f"{key} {order}" for key in keys)
        with contextlib.suppress(*_BROKEN):
            for row in raw.execute(f"SELECT * FROM {table} ORDER BY {by}"):
                if row[: len(keys)] not in seen:
                    seen.add(row[: len(keys)])
                    yield dict(zip(names, row, strict=True))
    if len(keys) == 1:
        for number in range(1, TAKES + AHEAD + 2):
            if (number,) not in seen:
                row = {name: _value(raw, table, name, keys[0], number) for name in names}
                if any(value is not None for value in row.values()):
                    yield row | {keys[0]: number}


def _value(raw: sqlite3.Connection, table: str, column: str, key: str, number: int) -> Any:
    with contextlib.suppress(*_BROKEN):
        query = f"SELECT {column} FROM {table} WHERE {key} = ?"
        return (raw.execute(query, (number,)).fetchone() or (None,))[0]
    return None


# ---- both compared --------------------------------------------------------------------------


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
        figures.amiss += [f"{name}: take {id} is lost" for id in could.heads - set(kept)]
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
