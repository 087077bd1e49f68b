"""What can be read of a take whose rows are damaged: column by column, and no more than is sure.

A checksum does more than tell that something is wrong: where a single byte is, it tells which.
Nothing here raises for whatever stands in a row.
"""

from __future__ import annotations

import hashlib
import json
import math
import string
import uuid
import zlib
from collections.abc import Callable, Iterable, Mapping, Set
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, time
from typing import Any, get_args

from trainer.errors import LogError, TrainerError
from trainer.journal.packing import (
    COMPRESSED,
    PLAIN,
    event_prefix,
    pauses_from,
    unpack_events,
)
from trainer.journal.records import play_seconds, zoned
from trainer.journal.schema import STATES
from trainer.judging.take import Conditions, Part, Pause, Take
from trainer.judging.timing import FASTEST, SLOWEST
from trainer.listening.events import KeyEvent
from trainer.theory.hands import Hands
from trainer.theory.rules import School

Found = Mapping[str, Any]

NOBODY = "00000000-0000-0000-0000-000000000000"  # whose takes are where that is lost
_LONGEST = 4000  # bytes in which the wrong one is looked for: a second or two
# what comes of values that make no sense, wherever they are read
SENSELESS = (TrainerError, ValueError, TypeError, LookupError, AttributeError, ArithmeticError)
_LETTERS = string.printable[:-2].encode()


@dataclass(frozen=True, slots=True)
class Head:
    """A take with its events. `whole` is false where something of it is lost."""

    id: str
    take: Take
    state: str
    seconds: float
    whole: bool


def words(value: object) -> str | None:
    """A text, its broken letters replaced; None where there is none."""
    if isinstance(value, bytes):
        return value.decode(errors="replace").replace("\0", "\ufffd")
    return value.replace("\0", "\ufffd") if isinstance(value, str) else None


def number(value: object) -> float | None:
    """A finite number, perhaps written as a text."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return None
    try:
        found = float(value)
    except (ValueError, OverflowError):
        return None
    return found if math.isfinite(found) and abs(found) < 1e15 else None


# ---- the head -------------------------------------------------------------------------------


def readable_head(
    row: Found,
    told: Found,
    exercise: str,
    sound: bool,
    events: tuple[KeyEvent, ...],
    players: Set[str],
) -> Head:
    """A take from its row, or what is left of it.

    `told` is what is known of it beside the row, `exercise` its text and whether that is `sound`,
    `players` the ids of everybody known.
    """
    lost: list[str] = [] if sound else ["exercise"]

    def told_or_lost(name: str, found: Any, otherwise: Any) -> Any:
        if found is None:
            lost.append(name)
        return otherwise if found is None else found

    player = told_or_lost("player", _player(row, told, players), NOBODY)
    exercise_id = _plain(row.get("exercise_id")) or words(told.get("exercise_id"))
    exercise_id = told_or_lost("id", exercise_id, words(row.get("exercise_id")) or "lost")
    started = told_or_lost("started", _started(row), _about(row, told))
    conditions = told_or_lost("conditions", _conditions(row.get("conditions")), _parts(row))
    begins = events[0].time if events else 0.0
    origin = told_or_lost("origin", number(row.get("origin")), begins)
    pauses = told_or_lost("pauses", _pauses(row.get("pauses")), ())
    rules = row.get("rules")
    state = row.get("state")
    if state not in STATES:
        lost.append("state")
    seconds = number(row.get("seconds"))
    take = Take(
        exercise_id=exercise_id[:400],
        exercise=exercise,
        conditions=conditions,
        events=events,
        origin=origin,
        started=started,
        player=player,
        port=words(row.get("port")) or "",
        rules=rules if isinstance(rules, int) and 0 <= rules < 2**31 else 1,
        pauses=pauses,
    )
    if seconds is None or seconds < 0:
        seconds = play_seconds(events, origin, pauses)
    id = _plain(row.get("id")) or words(told.get("id"))
    if id is None or not 8 <= len(id) <= 36:
        id = str(uuid.uuid5(uuid.NAMESPACE_OID, f"{player} {started} {exercise_id} {events!r}"))
    # What is known whole elsewhere goes before what is not: logs that meet agree on that.
    ended = "recovered" if lost or state == "open" else str(state)
    return Head(id, take, ended, seconds, not lost)


def head_is_whole(row: Found) -> bool:
    """Whether the columns of a take make sense, and those made of others are as these say: the
    sums are kept by day and tempo."""
    conditions, started = _conditions(row["conditions"]), _started(row)
    return (
        row["state"] in STATES
        and conditions is not None
        and row["tempo"] == conditions.tempo
        and started is not None
        and row["day"] == started.date().isoformat()
        and row["started_at"] == zoned(started).timestamp()
        and _pauses(row["pauses"]) is not None
        and number(row["origin"]) is not None
        and number(row["seconds"]) is not None
        and _plain(row["player_id"]) is not None
        and _plain(row["exercise_id"]) is not None
    )


def _plain(value: object) -> str | None:
    return value if isinstance(value, str) and value and "\0" not in value else None


def _player(row: Found, told: Found, players: Set[str]) -> str | None:
    ours = [id for id in map(words, (row.get("player_id"), told.get("player_id"))) if id]
    known = [id for id in ours if id in players]
    near = [one for one in players if ours and _differ(one, ours[0]) <= 2]
    if known or len(near) == 1:
        return (known or near)[0]
    return next((id for id in ours if len(id) <= 36 and id.isprintable() and id.isascii()), None)


def _differ(one: str, other: str) -> int:
    if len(one) != len(other):
        return 99
    return sum(a != b for a, b in zip(one, other, strict=True))


def _started(row: Found) -> datetime | None:
    try:
        found = datetime.fromisoformat(str(_plain(row.get("started"))))
        found.timestamp()
    except (ValueError, OverflowError):
        return None
    return found


def _about(row: Found, told: Found) -> datetime:
    """When a take was, from what else tells of it; 1970 where nothing does."""
    for given in (row.get("started_at"), told.get("started_at"), row.get("touched")):
        at = number(given)
        if at is not None and 0 < at < 4e9:
            return datetime.fromtimestamp(at, UTC)
    try:
        day = date.fromisoformat(str(row.get("day")))
    except ValueError:
        return datetime(1970, 1, 1, tzinfo=UTC)
    return datetime.combine(day, time(12), UTC)


def _conditions(given: object) -> Conditions | None:
    try:
        plain = json.loads(str(_plain(given)))
    except (ValueError, RecursionError):
        return None
    if not isinstance(plain, dict):
        return None
    values = {}
    for one in fields(Conditions):
        if one.name in plain:
            value = _tuples(plain[one.name])
            if not _fits(one.name, value):
                return None
            values[one.name] = value
    return Conditions(**values)


def _parts(row: Found) -> Conditions:
    """The conditions that can still be read, one by one."""
    text = words(row.get("conditions")) or ""
    values: dict[str, Any] = {}
    for one in fields(Conditions):
        _, name, rest = text.partition(f'"{one.name}": ')
        try:
            value = _tuples(json.JSONDecoder().raw_decode(rest)[0]) if name else None
        except (ValueError, RecursionError):
            continue
        if name and _fits(one.name, value):
            values[one.name] = value
    tempo = number(row.get("tempo"))
    if "tempo" not in values and tempo is not None and _fits("tempo", tempo):
        values["tempo"] = tempo
    return Conditions(**values)


def _tuples(value: Any) -> Any:
    return tuple(map(_tuples, value)) if isinstance(value, list) else value


def _fits(name: str, value: Any) -> bool:
    """Whether a value is one that a condition of that name can have."""
    match name:
        case "tempo":
            return value is None or _within(value, SLOWEST, FASTEST)
        case "hands":
            return value in get_args(Hands)
        case "school":
            return value in get_args(School)
        case "supply":
            return isinstance(value, tuple) and all(one in get_args(Part) for one in value)
        case "tolerance" | "latency":
            return _within(value, -60, 60)
        case "slower":
            return isinstance(value, tuple) and all(
                isinstance(one, tuple) and len(one) == 3 and all(_within(n, 0, 1e6) for n in one)
                for one in value
            )
    if value is None:
        return name in ("first", "last")
    return type(value) is int and abs(value) < 1_000_000


def _within(value: Any, least: float, most: float) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return number and least <= value <= most


def _pauses(given: object) -> tuple[Pause, ...] | None:
    try:
        return pauses_from(str(_plain(given)))
    except LogError:
        return None


# ---- events ---------------------------------------------------------------------------------


def readable_events(chunks: Iterable[Found]) -> tuple[tuple[KeyEvent, ...], bool]:
    """The events of a take from its chunks in order, and whether all of them are as they were.

    The one chunk of a take that has ended stands for all that were written while it was played.
    """
    good: dict[int, tuple[KeyEvent, ...]] = {}
    poor: dict[int, tuple[KeyEvent, ...]] = {}
    for row in chunks:
        place = row.get("number")
        place = place if isinstance(place, int) else 2**31
        if place not in good:
            events, whole = _chunk(row)
            if whole:
                good[place] = events
            elif len(events) > len(poor.get(place, ())):
                poor[place] = events
    if 0 in good:
        return good[0], True
    live = {**poor, **good}
    ended = live.pop(0, ())
    played = tuple(event for place in sorted(live) for event in live[place])
    whole = not poor and sorted(good) == list(range(1, len(good) + 1))
    return max(ended, played, key=len), whole


def _chunk(row: Found) -> tuple[tuple[KeyEvent, ...], bool]:
    payload, checksum = row.get("payload"), row.get("checksum")
    packing = COMPRESSED if row.get("number") == 0 else PLAIN
    packings = dict.fromkeys((row.get("packing"), packing))
    if not isinstance(payload, bytes):
        return (), False
    found = _put_right(payload, lambda data: zlib.crc32(data) == checksum, bytes(range(256)))
    for way in packings:
        if isinstance(way, int):
            try:
                return unpack_events(found or payload, way), True
            except TrainerError:
                pass
    return event_prefix(payload, packing), False


def readable_text(raw: object, digest: object) -> tuple[str | None, bool]:
    """The text of an exercise, and whether it is as it was played; None where there is none."""
    data = raw.encode() if isinstance(raw, str) else raw
    if not isinstance(data, bytes):
        return None, False
    right = _put_right(data, lambda d: hashlib.sha256(d).hexdigest() == digest, _LETTERS)
    if right is not None:
        return right.decode(), True
    return words(raw), False


def _put_right(data: bytes, right: Callable[[bytes], bool], letters: bytes) -> bytes | None:
    """The data, if need be with the one byte changed that makes it right; None if none does."""
    if right(data):
        return data
    strange = [at for at, byte in enumerate(data) if byte >= 128 or byte < 9]
    if len(data) > _LONGEST:
        return None
    tried = bytearray(data)
    for at in (*strange, *range(len(data))) if len(strange) < 9 else range(len(data)):
        for byte in letters:
            tried[at] = byte
            if right(bytes(tried)):
                return bytes(tried)
        tried[at] = data[at]
    return None
