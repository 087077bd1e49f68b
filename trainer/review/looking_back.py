"""The past of a player from the log, as today's plan needs it.

The log is the truth: the past is a fold over every pass in it. So that a year of practice need not
be read each morning, the fold up to a beginning of day is kept in the cache folder with a seal: a
digest over every take it came from (when, what, how it ended, the digest of the exercise and of
the marks that hold) and over whatever else the fold depends on. A merge that brings older takes,
marks made again, another course, another version of the program: the seal does not fit, and the
past is folded anew. Passes after the kept ones are read and added.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib import metadata
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select

import trainer
from trainer.files import text_of
from trainer.folders import cache_folder, replace_text
from trainer.journal.schema import SCHEMA_VERSION, exercise_text, marking, take
from trainer.journal.store import Journal
from trainer.practice.material import Material
from trainer.practice.past import Past, continued, nothing
from trainer.practice.plain_past import past_from, past_plain
from trainer.practice.result import PassResult
from trainer.resources import program_files
from trainer.review.results import judged, results_of
from trainer.theory.rules import RULES_VERSION

_FORMAT = 1
_LARGEST = 1 << 26  # bytes of what is kept
_WORTH = 30  # passes to add, from which on the past is kept anew
_FOLDED_BY = ("practice", "score", "theory", "review", "journal")  # packages with a part in it


@dataclass(frozen=True, slots=True)
class LookBack:
    """`before` is the past up to an instant, `since` the passes from then on, oldest first."""

    before: Past
    since: tuple[PassResult, ...]


def look_back(
    journal: Journal, player: str, material: Material, until: datetime, begin_at: int = 1
) -> LookBack:
    """The past of a player by id, folded up to `until`, which is not in the future.

    Raises LogError for a log that cannot be read. What is kept in the cache folder is used where
    it fits, and nothing is said where it does not or cannot be written: the result is the same.
    """
    path = kept_path(journal.location, player)
    with journal.reading() as connection:
        takes = _takes(connection, player)
        cut = sum(one.started_at < until.timestamp() for one in takes)
        rules = _rules(material)
        kept = _read(path, rules, takes[:cut], material, begin_at)
        before, count = kept or (nothing(material, begin_at), 0)
        results = results_of(connection, [one.seq for one in takes[count:]])
    split = sum(result.at < until for result in results)
    before = continued(before, results[:split], material, begin_at)
    if cut - count >= _WORTH:
        _write(path, rules, takes[:cut], before)
    return LookBack(before, results[split:])


def kept_path(location: str, player: str) -> Path:
    """Where the folded past of a player in a log is kept."""
    name = hashlib.sha256(f"{location}\n{player}".encode()).hexdigest()[:24]
    return cache_folder() / f"past-{name}.json"


def _takes(connection: Connection, player: str) -> Sequence[Any]:
    columns = (
        take.c.seq,
        take.c.id,
        take.c.exercise_id,
        take.c.conditions,
        take.c.started,
        take.c.started_at,
        take.c.state,
        take.c.seconds,
        exercise_text.c.digest,
        marking.c.digest,
    )
    joined = (
        select(*columns)
        .join(exercise_text, exercise_text.c.seq == take.c.text_seq)
        .join(marking, marking.c.seq == take.c.marking_seq)
    )
    return connection.execute(judged(joined, player)).all()


def _rules(material: Material) -> str:
    """What the fold depends on beside the takes."""
    steps = [(step.number, step.new_figurings, step.new_in_minor) for step in material.steps]
    versions = (_FORMAT, SCHEMA_VERSION, RULES_VERSION, trainer.__version__)
    folded_by = (metadata.version("fsrs"), program_files(*_FOLDED_BY))
    return repr((versions, folded_by, steps, dict(material.wholes)))


def _seal(rules: str, takes: Sequence[Any]) -> str:
    digest = hashlib.sha256(rules.encode())
    for one in takes:
        digest.update(repr(tuple(one)[1:]).encode())  # without its row number in this log
    return digest.hexdigest()


def _read(
    path: Path, rules: str, takes: Sequence[Any], material: Material, begin_at: int
) -> tuple[Past, int] | None:
    """What is kept and of how many takes, if it is whole and made of the first of these."""
    try:
        head, body = text_of(path, _LARGEST).split("\n", 1)
        count, seal, digest = json.loads(head)
        if count > len(takes) or digest != _digest(body) or seal != _seal(rules, takes[:count]):
            return None
        return past_from(json.loads(body), material, begin_at), count
    except (OSError, ValueError, LookupError, TypeError, AttributeError):
        return None


def _write(path: Path, rules: str, takes: Sequence[Any], past: Past) -> None:
    body = json.dumps(past_plain(past), separators=(",", ":"))
    head = json.dumps([len(takes), _seal(rules, takes), _digest(body)])
    with contextlib.suppress(OSError):  # a cache that cannot be written costs time, nothing else
        replace_text(path, f"{head}\n{body}")


def _digest(body: str) -> str:
    return hashlib.sha256(body.encode()).hexdigest()
