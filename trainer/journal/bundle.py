"""One player's log as one file that can be carried: written, and read trusting nothing.

A bundle is gzip over UTF-8 lines, a JSON object each:

    {"format": "mittelstimme-log", "version": 2, "playing": true,
     "player": {"id": "…", "name": "…", "named": 1772474400.0}}
    {"text": "<SHA-256 of the source>", "source": "<exercise as played, native format>"}
    {"take": {"id", "exercise", "text", "conditions", "origin", "started", "port", "rules",
              "pauses", "state", "seconds", "events", "markings"}}
    {"end": {"texts": 1, "takes": 1}}

A text comes before the first take that names it. `events` is base64 over the zlib-compressed
events of `packing.py`, or null where the playing was left out. `markings` holds
{"rules", "made", "verdict"}, verdicts as `plain.py` writes them. In version 1 no key says on what
manual it lies; else it is the same. Takes are in order of id, so the
same takes make the same bytes.
"""

from __future__ import annotations

import base64
import binascii
import gzip
import hashlib
import json
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, NoReturn

from trainer.errors import LogError
from trainer.files import check_place, opened
from trainer.journal.packing import (
    COMPRESSED,
    conditions_from,
    pack_events,
    pause_from,
    unpack_events,
)
from trainer.journal.plain_verdicts import (
    items,
    number,
    table,
    text,
    verdict_of,
    verdict_plain,
    whole_number,
)
from trainer.journal.schema import STATES
from trainer.journal.whole import Said, WholeTake
from trainer.judging.take import Take

# 3: marks may name causes; an older program would leave them out and call that what was said
FORMAT, VERSION = "mittelstimme-log", 3
_READ = (1, 2, VERSION)  # versions that are read
_LONGEST = 64 * 1024 * 1024  # bytes of a line: hours of playing in one take


@dataclass(frozen=True, slots=True)
class Name:
    """A player as bundles know one; `named` is when the name was given, seconds since 1970."""

    id: str
    name: str
    named: float


def write_bundle(file: Path, player: Name, takes: Iterable[WholeTake], *, playing: bool) -> int:
    """Write the takes, which come in order of id; how many. Raises LogError; nothing is left
    half written."""
    unfinished = file.with_name(f".{file.name}.new")
    try:
        check_place(file)
        with (
            unfinished.open("wb") as raw,
            gzip.GzipFile("", "wb", 6, raw, mtime=0) as zipped,
        ):
            count = _write(zipped, player, takes, playing)
        unfinished.replace(file)
    except OSError as error:
        raise LogError(
            f"cannot be written ({error.strerror})", file=file, remedy="name another file"
        ) from None
    finally:
        unfinished.unlink(missing_ok=True)
    return count


def _write(out: gzip.GzipFile, player: Name, takes: Iterable[WholeTake], playing: bool) -> int:
    def line(value: dict[str, Any]) -> None:
        out.write(json.dumps(value, ensure_ascii=False, sort_keys=True).encode() + b"\n")

    line({"format": FORMAT, "version": VERSION, "playing": playing, "player": asdict(player)})
    texts: set[str] = set()
    count = 0
    for one in takes:
        source = one.take.exercise
        digest = hashlib.sha256(source.encode()).hexdigest()
        if digest not in texts:
            texts.add(digest)
            line({"text": digest, "source": source})
        line({"take": _take_plain(one if playing else one.without_playing, digest)})
        count += 1
    line({"end": {"texts": len(texts), "takes": count}})
    return count


def _take_plain(one: WholeTake, digest: str) -> dict[str, Any]:
    value = one.take
    events = None
    if one.playing:
        events = base64.b64encode(zlib.compress(pack_events(value.events), 6)).decode()
    return {
        "id": one.id,
        "exercise": value.exercise_id,
        "text": digest,
        "conditions": asdict(value.conditions),
        "origin": value.origin,
        "started": value.started.isoformat(),
        "port": value.port,
        "rules": value.rules,
        "pauses": [list(pause) for pause in value.pauses],
        "state": one.state,
        "seconds": one.seconds,
        "events": events,
        "markings": [
            {"rules": said.rules, "made": said.made, "verdict": verdict_plain(said.verdict)}
            for said in one.markings
        ],
    }


# ---- reading --------------------------------------------------------------------------------


def is_bundle(file: Path) -> bool:
    """Whether a file begins as gzip does."""
    with opened(file) as raw:
        return raw.read(2) == b"\x1f\x8b"


def read_bundle(file: Path) -> tuple[Name, Iterator[WholeTake]]:
    """Whose bundle it is, and its takes one after another.

    Raises LogError, at once or while the takes are read, naming the line: for what is damaged,
    cut off, foreign, or of a newer version.
    """
    lines = _lines(file)
    try:
        head = next(lines)
        player = _header(head, file)
    except StopIteration:
        raise LogError("this is not a bundle of a log: it is empty", file=file) from None
    return player, _takes(lines, player, file)


def _lines(file: Path) -> Iterator[dict[str, Any]]:
    line = 0
    try:
        with opened(file) as raw_file, gzip.GzipFile(fileobj=raw_file) as out:
            while raw := out.readline(_LONGEST):
                line += 1
                if not raw.endswith(b"\n"):
                    raise LogError("the bundle is cut off or has an endless line")
                yield table(json.loads(raw, parse_constant=_constant))
    except LogError as error:
        raise error.at(file=file, line=max(1, line)) from None
    except (EOFError, zlib.error):
        raise LogError("the bundle is cut off or damaged", file=file, line=line + 1) from None
    except (gzip.BadGzipFile, UnicodeDecodeError, ValueError, RecursionError):
        what = "the bundle is damaged" if line > 1 else "this is not a bundle of a log"
        raise LogError(what, file=file, line=max(1, line)) from None
    except OSError as error:
        raise LogError(f"cannot be read ({error.strerror})", file=file) from None


def _constant(name: str) -> NoReturn:
    raise ValueError(name)


def _header(head: dict[str, Any], file: Path) -> Name:
    if head.get("format") != FORMAT:
        raise LogError("this is not a bundle of a log", file=file, line=1)
    if head.get("version") not in _READ:
        raise LogError(
            f"this bundle was written by a newer Mittelstimme (version {head.get('version')!r})",
            file=file,
            remedy="update the program",
        )
    try:
        given = table(head.get("player"))
        name = Name(text(given.get("id"), 36), text(given.get("name")), number(given.get("named")))
        if not name.id:
            raise LogError("the player has no id")
    except LogError as error:
        raise error.at(file=file, line=1) from None
    return name


def _takes(lines: Iterator[dict[str, Any]], player: Name, file: Path) -> Iterator[WholeTake]:
    texts: dict[str, str] = {}
    count = 0
    for place, given in enumerate(lines, 2):
        try:
            if "source" in given:
                source = text(given["source"], most=4_000_000)
                digest = hashlib.sha256(source.encode()).hexdigest()
                if digest != given.get("text"):
                    raise LogError("an exercise is not what was written")
                texts[digest] = source
            elif "take" in given:
                count += 1
                yield _take(table(given["take"]), texts, player)
            elif "end" in given:
                if given["end"] != {"texts": len(texts), "takes": count}:
                    raise LogError("the bundle does not hold as many takes as it says")
                for _ in lines:
                    raise LogError("something stands behind the end of the bundle")
                return
            else:
                raise LogError("this line says nothing a bundle may say")
        except LogError as error:
            raise error.at(file=file, line=place) from None
    raise LogError("the bundle is cut off", file=file)


def _take(given: dict[str, Any], texts: dict[str, str], player: Name) -> WholeTake:
    source = texts.get(text(given.get("text")))
    state = text(given.get("state"))
    if source is None or state not in STATES[1:]:
        raise LogError("a take lacks its exercise, or has not ended")
    packed = given.get("events")
    events = () if packed is None else unpack_events(_unpacked(packed), COMPRESSED)
    try:
        pauses = tuple(map(pause_from, items(given.get("pauses"), 100_000)))
    except (ValueError, TypeError, OverflowError):
        raise LogError("a break in a take is none") from None
    value = Take(
        exercise_id=text(given.get("exercise"), most=400),
        exercise=source,
        conditions=conditions_from(json.dumps(given.get("conditions"))),
        events=events,
        origin=number(given.get("origin")),
        started=_moment_of_time(given.get("started")),
        player=player.id,
        port=text(given.get("port"), most=400),
        rules=whole_number(given.get("rules"), most=2**31 - 1),
        pauses=pauses,
    )
    markings = tuple(map(_said, items(given.get("markings"), 10_000)))
    seconds = number(given.get("seconds"))
    return WholeTake(_id(given.get("id")), value, state, seconds, packed is not None, markings)


def _said(plain: object) -> Said:
    given = table(plain)
    return Said(
        whole_number(given.get("rules"), most=2**31 - 1),
        number(given.get("made")),
        verdict_of(given.get("verdict")),
    )


def _id(plain: object) -> str:
    id = text(plain, 36)
    if len(id) < 8:
        raise LogError("a take has no id")
    return id


def _unpacked(plain: object) -> bytes:
    try:
        return base64.b64decode(text(plain, most=_LONGEST), validate=True)
    except binascii.Error:
        raise LogError("the events of a take are damaged") from None


def _moment_of_time(plain: object) -> datetime:
    try:
        value = datetime.fromisoformat(text(plain, 40))
        if value.tzinfo is None:
            raise ValueError
        value.timestamp()
    except (ValueError, OverflowError):
        raise LogError("a take has no date") from None
    return value
