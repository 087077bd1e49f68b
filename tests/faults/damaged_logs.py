"""A log of judged takes, and the ways in which it is damaged."""

from __future__ import annotations

import contextlib
import random
import sqlite3
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any

from tests.journal.samples import STARTED
from trainer.journal.writer import Writer
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Take
from trainer.judging.verdict import PassVerdict
from trainer.practice.demo import perform, realization
from trainer.practice.slips import Slip
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
    "marking": ("complete", "extra", "rules", "made", "bias_ms", "touch", "causes", "digest"),
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
