"""What a teacher has set a class to practise: a small TOML file, read, and compared with playing.

title = "For the second week of Advent"
until = 2026-12-06

[[piece]]
exercise = "evening-bells"   # an id of the library, or of a drill: "rising-5-6"
key = "F"                    # else the key it is written in; a drill needs one
tempo = 54                   # the rung to reach; else the piece's own tempo
hands = "2+2"                # else either
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from trainer.errors import InputError, TrainerError
from trainer.judging.take import Hands
from trainer.practice.ladder import begin, ladders
from trainer.practice.material import Material
from trainer.practice.result import PassResult, base
from trainer.theory.key import Key


@dataclass(frozen=True, slots=True)
class Assigned:
    """One piece or drill: to be secure in `key` at `tempo` beats a minute; `hands` None: either."""

    exercise: str
    key: str
    tempo: float
    hands: Hands | None = None


@dataclass(frozen=True, slots=True)
class Assignment:
    """What is to be practised `until` the end of a day."""

    title: str
    until: date
    pieces: tuple[Assigned, ...]


@dataclass(frozen=True, slots=True)
class Reached:
    """How far a player is with one assigned piece: the fastest secure tempo in its key, None for
    none yet; `last` the day it was last played."""

    assigned: Assigned
    highest: float | None
    last: date | None

    @property
    def done(self) -> bool:
        return self.highest is not None and self.highest >= self.assigned.tempo


def read_assignment(path: Path, material: Material) -> Assignment:
    """Raises InputError with file, line and remedy for a file that cannot be read, or asks for
    what is not in the library."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("is not UTF-8 text", file=path, remedy="save it as UTF-8") from None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=path) from None
    return parse_assignment(text, material, path)


def parse_assignment(text: str, material: Material, file: Path | str) -> Assignment:
    """The assignment in a text; `file` is for messages. Raises InputError."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not TOML: {error}", file=file) from None
    for name in table:
        if name not in ("title", "until", "piece"):
            raise InputError(
                f"{name} is no part of an assignment",
                file=file,
                line=_line(text, name),
                remedy="it has title, until and [[piece]] tables",
            )
    until, title = table.get("until"), table.get("title", "")
    if isinstance(until, datetime) or not isinstance(until, date):
        raise InputError(
            "does not say until when",
            file=file,
            line=_line(text, "until"),
            remedy="write until = 2026-12-06",
        )
    if not isinstance(title, str):
        raise InputError("title is a text", file=file, line=_line(text, "title"))
    pieces = table.get("piece", [])
    if not isinstance(pieces, list) or not pieces:
        raise InputError("asks for nothing", file=file, remedy="write [[piece]] tables")
    heads = [n for n, line in enumerate(text.splitlines(), 1) if line.strip() == "[[piece]]"]
    assigned = []
    for number, piece in enumerate(pieces):
        try:
            assigned.append(_assigned(piece, material))
        except TrainerError as error:
            line = heads[number] if number < len(heads) else None
            raise InputError(error.what, file=file, line=line, remedy=error.remedy) from None
    return Assignment(title or Path(file).stem, until, tuple(assigned))


def reached(assignment: Assignment, results: Iterable[PassResult]) -> tuple[Reached, ...]:
    """How far a player's passes, in order, have come with each piece of an assignment."""
    played = tuple(results)
    return tuple(_reached(one, played) for one in assignment.pieces)


def _reached(one: Assigned, played: Iterable[PassResult]) -> Reached:
    here = [
        result
        for result in played
        if (base(result.exercise_id), result.key) == (one.exercise, one.key)
    ]
    ours = [result for result in here if one.hands in (None, result.hands)]
    known = ladders(ours, {one.exercise: one.tempo})
    tempi = [ladder.highest for ladder in known.values() if ladder.highest is not None]
    last = max((result.at.date() for result in here), default=None)
    return Reached(one, max(tempi, default=None), last)


def _assigned(piece: Any, material: Material) -> Assigned:
    if not isinstance(piece, Mapping):
        raise InputError("a piece is a table", remedy="write [[piece]] and its entries below")
    for name in piece:
        if name not in ("exercise", "key", "tempo", "hands"):
            raise InputError(
                f"{name} is no part of a piece", remedy="it has exercise, key, tempo and hands"
            )
    id, key, tempo = piece.get("exercise"), piece.get("key"), piece.get("tempo")
    hands = piece.get("hands")
    if not isinstance(id, str) or id not in material.wholes:
        raise InputError(
            f"there is no exercise {id!r} in the library",
            remedy="put its file into a folder of your own (`settings set exercises FOLDER`)",
        )
    if key is not None and not isinstance(key, str):
        raise InputError(f"{key!r} is not a key", remedy='write key = "G"')
    if hands not in (None, "1+3", "2+2"):
        raise InputError(f"hands cannot be {hands!r}", remedy="write 1+3 or 2+2")
    own = material.wholes[id].tempo
    if tempo is not None and (isinstance(tempo, bool) or not isinstance(tempo, int | float)):
        raise InputError(f"{tempo!r} is not a tempo", remedy="write beats a minute")
    begin(id, "", "1+3", own if tempo is None else float(tempo))  # raises for an impossible one
    return Assigned(id, _key(id, key, material), float(tempo or own), hands)


def _key(id: str, key: str | None, material: Material) -> str:
    if id in material.pieces:
        own = material.pieces[id].key
        if key is None:
            return str(own)
        if " " not in key.strip():  # a final alone keeps the mode
            return str(Key.of(Key.parse(key).final, own.mode))
        return str(Key.parse(key))
    if key is None:
        raise InputError(f"{id} is a drill and needs a key", remedy='write key = "G" or key = "g"')
    return str(Key.parse(key))


def _line(text: str, name: str) -> int | None:
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip().startswith(name):
            return number
    return None
