"""What is written to the log, one record at a time, inside a transaction the caller holds."""

from __future__ import annotations

import hashlib
import json
import time
import uuid
import zlib
from collections.abc import Iterable, Sequence, Set
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, Table, delete, func, insert, select, update

from trainer.journal.dialect import upsert
from trainer.journal.packing import (
    COMPRESSED,
    PLAIN,
    conditions_from,
    conditions_text,
    fault_row,
    marking_row,
    marks_digest,
    moment_row,
    pack_events,
)
from trainer.journal.schema import (
    chunk,
    exercise_text,
    fault,
    marking,
    meta,
    moment,
    player,
    take,
)
from trainer.journal.sums import Sums, count_take, put_sights, sights_of
from trainer.judging.take import Conditions, Pause, Take
from trainer.judging.tally import movement, successions
from trainer.judging.timing import timing
from trainer.judging.verdict import Harmony, MomentVerdict, PassVerdict
from trainer.listening.events import KeyEvent
from trainer.theory.fault import Fault


def play_seconds(
    events: Sequence[KeyEvent], origin: float, pauses: Iterable[Sequence[float]]
) -> float:
    """Seconds from the pass's beginning to its last event, pauses taken off."""
    if not events:
        return 0.0
    begin, end = min(origin, events[0].time), events[-1].time
    paused = sum(max(0.0, min(b, end) - max(a, begin)) for a, b, *_ in pauses)
    return max(0.0, end - begin - paused)


def zoned(started: datetime) -> datetime:
    """A time without zone is taken in this machine's."""
    return started.astimezone() if started.tzinfo is None else started


# ---- players --------------------------------------------------------------------------------


def player_id(connection: Connection, given: str) -> str:
    """The id of the player meant by an id, a name or nothing; a new name makes a new player.

    A name means the player who was made on this log; merged players are meant by their ids.
    """
    if given and connection.execute(select(player.c.id).where(player.c.id == given)).scalar():
        return given
    if not given:
        return _default_player(connection)
    if _is_id(given):
        return add_player(connection, "", given)
    query = select(player.c.id).where(player.c.name == given)
    found = connection.execute(query.order_by(player.c.local.desc(), player.c.id)).scalar()
    return str(found) if found else add_player(connection, given)


def add_player(connection: Connection, name: str, id: str | None = None) -> str:
    """A new player of this log; the id."""
    new = id or str(uuid.uuid4())
    row = {"id": new, "name": name, "named": time.time() if name else 0.0, "local": True}
    connection.execute(upsert(connection, player).on_conflict_do_nothing(), row)
    return new


def name_player(connection: Connection, id: str, name: str) -> None:
    """Say what a player of this log is called; nothing changes where that is known."""
    query = select(player.c.name).where(player.c.id == id)
    known = connection.execute(query).scalar()
    if known is None:
        add_player(connection, name, id)
    elif known != name:
        values = {"name": name, "named": time.time(), "local": True}
        connection.execute(update(player).where(player.c.id == id).values(values))


def _default_player(connection: Connection) -> str:
    found = connection.execute(select(meta.c.value).where(meta.c.name == "player")).scalar()
    if found:
        return str(found)
    new = add_player(connection, "")
    connection.execute(insert(meta), {"name": "player", "value": new})
    return new


def _is_id(text: str) -> bool:
    try:
        uuid.UUID(text)
    except ValueError:
        return False
    return True


# ---- takes ----------------------------------------------------------------------------------


def text_seq(connection: Connection, text: str) -> int:
    """The number of an exercise text, stored if it is new."""
    digest = hashlib.sha256(text.encode()).hexdigest()
    query = select(exercise_text.c.seq).where(exercise_text.c.digest == digest)
    found = connection.execute(query).scalar()
    if found is not None:
        return int(found)
    row = {"digest": digest, "text": text}
    connection.execute(upsert(connection, exercise_text).on_conflict_do_nothing(), row)
    seq = int(connection.execute(query).scalar_one())
    put_sights(connection, seq, text)
    return seq


def take_row(connection: Connection, value: Take) -> dict[str, Any]:
    """The columns of `take` that come from the value itself."""
    started = zoned(value.started)
    return {
        "player_id": player_id(connection, value.player),
        "exercise_id": value.exercise_id,
        "text_seq": text_seq(connection, value.exercise),
        "conditions": conditions_text(value.conditions),
        "tempo": value.conditions.tempo,
        "origin": value.origin,
        "started": started.isoformat(),
        "started_at": started.astimezone(UTC).timestamp(),
        "day": started.date().isoformat(),
        "port": value.port,
        "rules": value.rules,
        "pauses": json.dumps([list(pause) for pause in value.pauses]),
    }


def begin_take(connection: Connection, id: str, value: Take, writer: str) -> int:
    """A take that is about to be played, with an empty marking; its number."""
    row = take_row(connection, value)
    row |= {"id": id, "state": "open", "seconds": 0.0, "writer": writer, "touched": time.time()}
    seq = _inserted(connection, take, row)
    empty = marking_row(summed_up((), (), value.conditions, set()))
    live = {"take_seq": seq, "rules": value.rules, "made": time.time(), **empty}
    marks = _inserted(connection, marking, live)
    connection.execute(update(take).where(take.c.seq == seq).values(marking_seq=marks))
    return seq


def append_events(connection: Connection, seq: int, events: Sequence[KeyEvent]) -> None:
    """The next events of a take, in order."""
    if not events:
        return
    last = connection.execute(
        select(func.max(chunk.c.number)).where(chunk.c.take_seq == seq)
    ).scalar()
    number = 1 if last is None else last + 1
    connection.execute(insert(chunk), chunk_row(seq, number, events, PLAIN))
    connection.execute(update(take).where(take.c.seq == seq).values(touched=time.time()))


def append_moment(
    connection: Connection, seq: int, verdict: MomentVerdict, faults: Sequence[Fault]
) -> None:
    """What was said of one moment while it was played; a later word on it replaces the earlier."""
    marks = connection.execute(select(take.c.marking_seq).where(take.c.seq == seq)).scalar_one()
    here = (moment.c.marking_seq == marks) & (moment.c.position == verdict.index)
    connection.execute(delete(moment).where(here))
    ends = (fault.c.moments == f"{verdict.index}") | fault.c.moments.like(f"%,{verdict.index}")
    connection.execute(delete(fault).where(fault.c.marking_seq == marks, ends))
    connection.execute(insert(moment), {"marking_seq": marks, **moment_row(verdict)})
    if faults:
        query = select(func.max(fault.c.number)).where(fault.c.marking_seq == marks)
        last = connection.execute(query).scalar()
        first = 0 if last is None else last + 1
        rows = [fault_row(n, one) for n, one in enumerate(faults, first)]
        connection.execute(insert(fault), [{"marking_seq": marks, **row} for row in rows])


def put_pauses(connection: Connection, seq: int, pauses: Sequence[Pause]) -> None:
    """Where a take that is being played was broken off and went on, so far."""
    connection.execute(update(take).where(take.c.seq == seq).values(pauses=json.dumps(pauses)))


def end_take(
    connection: Connection, seq: int, value: Take, verdict: PassVerdict | None, state: str
) -> None:
    """The take as it ended: all events in one chunk, the marks of the whole pass."""
    sums = Sums()
    count_take(connection, seq, sums, -1)  # nothing while it was open
    row = take_row(connection, value)
    row["seconds"] = play_seconds(value.events, value.origin, value.pauses)
    row |= {"state": state, "writer": "", "touched": time.time()}
    connection.execute(update(take).where(take.c.seq == seq).values(row))
    put_events(connection, seq, value.events)
    if verdict is not None:
        live = select(marking.c.seq).where(marking.c.take_seq == seq, marking.c.digest.is_(None))
        for old in connection.execute(live).scalars().all():
            drop_marking(connection, old)
        put_marking(connection, seq, value.rules, verdict, time.time())
        choose_marking(connection, seq)
    else:
        _sum_up_live(connection, seq)
    count_take(connection, seq, sums)
    sums.write(connection)


def put_events(connection: Connection, seq: int, events: Sequence[KeyEvent]) -> None:
    """Replace the chunks of a take by one compressed chunk."""
    connection.execute(delete(chunk).where(chunk.c.take_seq == seq))
    if events:
        connection.execute(insert(chunk), chunk_row(seq, 0, events, COMPRESSED))


def put_marking(
    connection: Connection, seq: int, rules: int, verdict: PassVerdict, made: float
) -> int:
    """A judging of a take; its number. One that says the same is not stored twice, the later
    time holds."""
    digest = marks_digest(rules, verdict)
    same = select(marking.c.seq, marking.c.made).where(
        marking.c.take_seq == seq, marking.c.digest == digest
    )
    found = connection.execute(same).one_or_none()
    if found is not None:
        if made > found.made:
            here = update(marking).where(marking.c.seq == found.seq)
            connection.execute(here.values(made=made))
        return int(found.seq)
    row = {"take_seq": seq, "digest": digest, "rules": rules, "made": made, **marking_row(verdict)}
    marks = _inserted(connection, marking, row)
    if verdict.moments:
        moments = [{"marking_seq": marks, **moment_row(one)} for one in verdict.moments]
        connection.execute(insert(moment), moments)
    if verdict.faults:
        faults = [fault_row(number, one) for number, one in enumerate(verdict.faults)]
        connection.execute(insert(fault), [{"marking_seq": marks, **one} for one in faults])
    return marks


def choose_marking(connection: Connection, seq: int) -> None:
    """Let the marks of the newest rules hold, of these the last made."""
    query = select(marking.c.seq).where(marking.c.take_seq == seq, marking.c.digest.is_not(None))
    order = (marking.c.rules.desc(), marking.c.made.desc(), marking.c.digest.desc())
    best = connection.execute(query.order_by(*order).limit(1)).scalar()
    if best is not None:
        connection.execute(update(take).where(take.c.seq == seq).values(marking_seq=best))


def recover_take(connection: Connection, seq: int) -> None:
    """Close a take whose program died: events to the last append, figures from the marks kept.

    Of a take of which nothing was played nothing is kept.
    """
    from trainer.journal.store import read_events

    row = connection.execute(select(take).where(take.c.seq == seq)).mappings().one()
    events = read_events(connection, seq)
    said = select(func.count()).where(moment.c.marking_seq == row["marking_seq"])
    if not events and not connection.execute(said).scalar():
        remove_take(connection, seq)
        return
    values = {
        "state": "recovered",
        "writer": "",
        "seconds": play_seconds(events, row["origin"], json.loads(row["pauses"])),
    }
    connection.execute(update(take).where(take.c.seq == seq).values(values))
    put_events(connection, seq, events)
    _sum_up_live(connection, seq)
    sums = Sums()
    count_take(connection, seq, sums)
    sums.write(connection)


def _sum_up_live(connection: Connection, seq: int) -> None:
    """Give the marks made while a take was played the figures of a pass."""
    from trainer.journal.store import read_verdict

    row = connection.execute(select(take).where(take.c.seq == seq)).mappings().one()
    marks = row["marking_seq"]
    if marks is None:
        return
    said = read_verdict(connection, marks)
    chords = {at for at, asked in sights_of(connection, row["text_seq"]).items() if asked.chord}
    conditions = conditions_from(row["conditions"])
    whole = summed_up(said.moments, said.faults, conditions, chords)
    figures = marking_row(whole) | {"digest": marks_digest(row["rules"], whole)}
    connection.execute(update(marking).where(marking.c.seq == marks).values(figures))


def summed_up(
    moments: tuple[MomentVerdict, ...],
    faults: tuple[Fault, ...],
    conditions: Conditions,
    chords: Set[int],
) -> PassVerdict:
    """The figures of a pass that was not judged as a whole, as the verdict values define them.

    `chords` are the indices of the moments at which harmony is judged.
    """
    judged = [m for m in moments if m.index in chords]
    return PassVerdict(
        moments,
        faults,
        Harmony(sum(m.outcome == "complete" for m in judged), len(judged)),
        None if conditions.tempo is None else timing(moments, conditions.tolerance),
        movement(faults, successions(chords, moments)),
    )


def remove_take(connection: Connection, seq: int) -> None:
    """Take a take out of the log with everything said of it; the caller sees to the sums."""
    said = select(marking.c.seq).where(marking.c.take_seq == seq)
    for marks in connection.execute(said).scalars().all():
        drop_marking(connection, marks)
    connection.execute(delete(chunk).where(chunk.c.take_seq == seq))
    connection.execute(delete(take).where(take.c.seq == seq))


def drop_marking(connection: Connection, marks: int) -> None:
    """Take away a provisional marking."""
    connection.execute(update(take).where(take.c.marking_seq == marks).values(marking_seq=None))
    connection.execute(delete(moment).where(moment.c.marking_seq == marks))
    connection.execute(delete(fault).where(fault.c.marking_seq == marks))
    connection.execute(delete(marking).where(marking.c.seq == marks))


def chunk_row(seq: int, number: int, events: Sequence[KeyEvent], packing: int) -> dict[str, Any]:
    payload = pack_events(events)
    payload = zlib.compress(payload, 6) if packing == COMPRESSED else payload
    return {
        "take_seq": seq,
        "number": number,
        "packing": packing,
        "checksum": zlib.crc32(payload),
        "payload": payload,
    }


def _inserted(connection: Connection, table: Table, row: dict[str, Any]) -> int:
    result = connection.execute(insert(table), row)
    key = result.inserted_primary_key
    assert key is not None
    return int(key[0])
