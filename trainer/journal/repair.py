"""Making a log whole again with nothing lost that can be read.

Repair never works on the only copy: a file is copied to a dated name first. What is damaged in a
take is mended where it stands; a file whose database no longer holds together is read page by page
into a new one. Marks that are lost are made anew from the events.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, delete, select, update

from trainer.errors import LogError
from trainer.journal.beside import dated
from trainer.journal.bundle import Name
from trainer.journal.merge import put_player
from trainer.journal.opening import DamagedLogError, ForeignLogError, is_url
from trainer.journal.packing import marking_row
from trainer.journal.pages import ahead_is_broken
from trainer.journal.readable import (
    number,
    readable_events,
    readable_head,
    readable_text,
)
from trainer.journal.readable_marks import readable_marks, readable_verdict
from trainer.journal.records import choose_marking, drop_marking, put_events
from trainer.journal.remark import judge_again
from trainer.journal.salvage import salvage
from trainer.journal.schema import chunk, exercise_text, fault, marking, moment, player, sight, take
from trainer.journal.seals import Seals
from trainer.journal.store import Journal
from trainer.journal.sums import put_all_sights, recount
from trainer.journal.verify import PARENTS, STRUCTURE, Trouble, verify
from trainer.journal.whole import WholeTake, head_row
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyEvent

Progress = Callable[[str, int, int], None]  # what is being done, how many takes of how many


@dataclass(frozen=True, slots=True)
class Repaired:
    """What was amiss, where the log as it was is kept ('' if nothing was amiss), how many takes
    were judged anew, and (take id, why) of those that could not be."""

    troubles: tuple[Trouble, ...]
    kept: str
    remade: int
    unmarked: tuple[tuple[str, str], ...]


def repair(
    location: str,
    judge: Callable[[Take], PassVerdict],
    rules: int,
    seals: Seals | None = None,
    progress: Progress = lambda what, done, of: None,
) -> Repaired:
    """Make a log whole; `judge` makes marks by rule-set version `rules`.

    Raises LogError if that cannot be done; the log is then as it was.
    """
    found, kept, lost = _made_whole(location, seals, progress)
    if not lost:
        return Repaired(found, kept, 0, ())
    with Journal.open(location) as journal:
        again = judge_again(
            journal, judge, rules, _numbers(journal, lost), _in("judging", progress)
        )
    return Repaired(found, kept, again.judged, again.left)


def _in(what: str, progress: Progress) -> Callable[[int, int], None]:
    return lambda done, of: progress(what, done, of)


def _made_whole(
    location: str, seals: Seals | None, progress: Progress
) -> tuple[tuple[Trouble, ...], str, Sequence[str]]:
    """What was amiss, what is kept of it, and the ids of the takes that have lost marks."""
    try:
        if not is_url(location) and ahead_is_broken(Path(location)):
            # The database would pass over what lies behind the break, and write over it.
            raise DamagedLogError("the write-ahead log is damaged", file=location)
        with Journal.open(location) as journal:
            found = verify(journal, seals, _in("checking", progress)).troubles
            if not any(one.remedy for one in found):
                return found, "", ()
            if not any(one.what.startswith(STRUCTURE) for one in found):
                kept = "" if is_url(location) else str(_copy(journal, Path(location)))
                return found, kept, _mend(journal, found)
    except (DamagedLogError, ForeignLogError) as error:
        if is_url(location):
            raise
        found = (Trouble("", error.what, "read it into a new file"),)
        try:
            done = salvage(Path(location), _in("reading", progress))
        except LogError:
            if isinstance(error, ForeignLogError):
                raise error from None
            raise
    else:
        done = salvage(Path(location), _in("reading", progress))
    poorer = [Trouble(id, "something of it is lost", "keep what can be read") for id in done.poorer]
    return (*found, *poorer), str(done.kept), done.unmarked


def _numbers(journal: Journal, ids: Sequence[str]) -> list[int]:
    with journal.reading() as connection:
        query = select(take.c.id, take.c.seq)
        known = {row.id: row.seq for row in connection.execute(query)}
    return [known[id] for id in ids if id in known]


def _copy(journal: Journal, path: Path) -> Path:
    copy = dated(path, "before-repair")
    with journal.reading() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        raw.execute("VACUUM INTO ?", (str(copy),))
    return copy


# ---- in place -------------------------------------------------------------------------------


def _mend(journal: Journal, troubles: Sequence[Trouble]) -> list[str]:
    """Mend takes, texts, sums; the ids of the takes that have lost marks."""
    by_take: dict[str, set[str]] = {}
    for one in troubles:
        by_take.setdefault(one.take, set()).add(one.remedy)
    lost = []
    with journal.writing() as connection:
        if "keep it so" in by_take.get("", ()):
            _mend_texts(connection)
        for id, remedies in by_take.items():
            seq = connection.execute(select(take.c.seq).where(take.c.id == id)).scalar()
            if seq is not None and _mend_take(connection, seq, remedies):
                lost.append(id)
        for table, column, parent in reversed(PARENTS):
            connection.execute(delete(table).where(column.not_in(select(parent))))
        strangers = select(take.c.player_id).where(take.c.player_id.not_in(select(player.c.id)))
        for unknown in connection.execute(strangers.distinct()).scalars().all():
            put_player(connection, Name(unknown, "", 0.0))
        connection.execute(delete(sight))
        put_all_sights(connection)
        recount(connection)
    return lost


def _mend_texts(connection: Connection) -> None:
    """Put right the letter that is wrong; where there are more, keep the text as it is now."""
    for row in connection.execute(select(exercise_text)).all():
        if hashlib.sha256(row.text.encode()).hexdigest() == row.digest:
            continue
        text, sound = readable_text(row.text, row.digest)
        text = text or ""
        digest = hashlib.sha256(text.encode()).hexdigest()
        same = select(exercise_text.c.seq).where(exercise_text.c.digest == digest)
        other = connection.execute(same.where(exercise_text.c.seq != row.seq)).scalar()
        played = update(take).where(take.c.text_seq == row.seq)
        if not sound:
            connection.execute(played.where(take.c.state != "open").values(state="recovered"))
        if other is not None:
            connection.execute(played.values(text_seq=other))
            connection.execute(delete(sight).where(sight.c.text_seq == row.seq))
            connection.execute(delete(exercise_text).where(exercise_text.c.seq == row.seq))
        else:
            here = update(exercise_text).where(exercise_text.c.seq == row.seq)
            connection.execute(here.values(text=text, digest=digest))


def _mend_take(connection: Connection, seq: int, remedies: set[str]) -> bool:
    """Mend a take; whether it has lost marks that can be made anew."""
    chunks = connection.execute(
        select(chunk).where(chunk.c.take_seq == seq).order_by(chunk.c.number)
    )
    events, _ = readable_events([dict(row) for row in chunks.mappings()])
    row = connection.execute(select(take).where(take.c.seq == seq)).mappings().one()
    if "keep what can be read of it" in remedies:
        _mend_head(connection, dict(row), events)
    if "keep the events that can be read" in remedies:
        put_events(connection, seq, events)
    said = select(marking).where(marking.c.take_seq == seq)
    kept = set()
    for one in connection.execute(said).mappings().all():
        verdict = _as_stored(connection, dict(one), row["state"])
        if verdict is not None:
            kept.add(one["seq"])
            here = update(marking).where(marking.c.seq == one["seq"])
            # nothing beside what it says, and a time that is one
            made = number(one["made"]) or 0.0
            connection.execute(here.values(**marking_row(verdict), made=made))
    for marks in set(connection.execute(said.with_only_columns(marking.c.seq)).scalars()) - kept:
        drop_marking(connection, marks)
    if row["marking_seq"] not in kept:
        connection.execute(update(take).where(take.c.seq == seq).values(marking_seq=None))
    choose_marking(connection, seq)
    return bool(events) and "make them anew" in remedies


def _as_stored(connection: Connection, row: Mapping[str, object], state: str) -> PassVerdict | None:
    """Marks that are as they were stored; those of a take that is played have no seal yet."""
    moments = select(moment).where(moment.c.marking_seq == row["seq"])
    faults = select(fault).where(fault.c.marking_seq == row["seq"])
    parts = [[dict(one) for one in connection.execute(q).mappings()] for q in (moments, faults)]
    if row["digest"] is None and state == "open":
        return readable_marks(row, *parts)
    return readable_verdict(row, *parts)


def _mend_head(
    connection: Connection, row: Mapping[str, object], events: tuple[KeyEvent, ...]
) -> None:
    query = select(exercise_text.c.text).where(exercise_text.c.seq == row["text_seq"])
    text = connection.execute(query).scalar()
    ids = frozenset(connection.execute(select(player.c.id)).scalars())
    head = readable_head(row, {}, text or "", text is not None, events, ids)
    whole = WholeTake(head.id, head.take, head.state, head.seconds, bool(events), ())
    put_player(connection, Name(head.take.player, "", 0.0))
    here = update(take).where(take.c.seq == row["seq"])
    connection.execute(here.values(id=head.id, **head_row(connection, whole)))
