"""A year of daily drills as the log keeps it, made without playing it: rows as the writer would
leave them. The player does what a plan of twenty minutes asks: questions, drills, pieces."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

from sqlalchemy import insert

from tests.bench.big_log import _Load, attack, causes, touch
from trainer.journal.packing import conditions_text
from trainer.journal.records import text_seq
from trainer.journal.schema import fault, marking, moment, player, take
from trainer.journal.store import Journal
from trainer.judging.take import Conditions
from trainer.practice.material import Material
from trainer.practice.question import items_of, question, question_id
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.score.library import Library
from trainer.score.patterns import expand

FIRST = datetime(2025, 3, 1, 18, tzinfo=UTC)
PASSES = 45  # a day
_OUTCOMES = ("complete",) * 12 + ("incomplete", "foreign")


def build(location: str, who: str, material: Material, days: int) -> datetime:
    """Make the log; the evening after its last day."""
    chance = Random(7)
    exercises = list(_exercises(material, chance))
    with Journal.open(location) as journal, journal.writing() as connection:
        connection.execute(insert(player), {"id": who, "name": who, "named": 0.0, "local": True})
        texts = [text_seq(connection, write_exercise(one)) for one in exercises]
        load, seq = _Load(connection), 0
        for day in range(days):
            at = FIRST + timedelta(days=day)
            for _ in range(PASSES):
                seq += 1
                # what is practised moves slowly through the course
                centre = len(exercises) * (day + 1) / days
                which = int(max(0, min(centre, len(exercises)) - chance.expovariate(1 / 60))) - 1
                at += timedelta(
                    seconds=_take(load, chance, seq, exercises[which], texts[which], who, at)
                )
            if day % 60 == 0:
                load.flush()
        load.flush()
    return FIRST + timedelta(days=days)


def _exercises(material: Material, chance: Random) -> Iterator[Exercise]:
    library = Library()
    for step in material.steps:
        for pattern in material.drills(step):
            for key in material.keys(pattern, step.number)[:4]:
                drill = expand(pattern, key)
                yield drill
                items = list(items_of(pattern, key))
                for item in chance.sample(items, min(4, len(items))):
                    yield replace(question(item, material), id=question_id(item))
        for id in step.pieces:
            yield library.find(id)


def _take(
    load: _Load, chance: Random, seq: int, piece: Exercise, text: int, who: str, at: datetime
) -> float:
    """One pass; the seconds until the next begins."""
    tempo = None if piece.id.startswith("question") else float(chance.randrange(44, 100, 4))
    rows = [_moment(chance, seq, m.index, tempo is not None) for m in piece.moments]
    broken = [n for n in range(1, len(rows)) if chance.random() < 0.02]
    for number, here in enumerate(broken):
        words = ("soprano,bass", "g4,c3,a4,d3", "fifths between soprano and bass", None, None)
        load.add(fault, (seq, number, "consecutive-fifths", "gross", f"{here - 1},{here}", *words))
    size = len(rows)
    complete = sum(row[2] == "complete" for row in rows)
    timed = size if tempo else None
    in_time = sum(abs(row[9] or 0) <= 0.15 for row in rows) if tempo else None
    values = (complete, size, in_time, timed, 4.0 if tempo else None, 31.0 if tempo else None)
    hands = touch(size) if tempo else None
    counts = (len(broken), 0, 0, size - 1 - len(broken), size - 1, "[]", hands, causes(broken))
    load.add(marking, (seq, seq, f"{seq:064x}", 1, 0.0, *values, *counts))
    conditions = conditions_text(Conditions(tempo=tempo))
    head = (f"take-{seq:012d}-of-the-bench", who, piece.id, text, conditions, tempo, 0.0)
    times = (at.isoformat(), at.timestamp(), at.date().isoformat(), "bench", 1, "[]")
    seconds = 3.0 * size if tempo is None else 60.0 * size / tempo
    load.add(take, (seq, *head, *times, "finished", seconds, "", at.timestamp(), seq))
    for row in rows:
        load.add(moment, row)
    return seconds + 5.0


def _moment(chance: Random, seq: int, index: int, timed: bool) -> tuple[Any, ...]:
    late = chance.gauss(0.0, 0.08) if timed else None
    think = None if timed else math.exp(chance.gauss(0.0, 0.5))
    late_ms = None if late is None else 1000 * late
    keys = bytes((43, 59, 62, chance.choice((67, 71, 74))))
    heard = (chance.choice(_OUTCOMES), keys, None, "", "", "")
    return (seq, index, *heard, late_ms, late, 9.0, think, attack(late))
