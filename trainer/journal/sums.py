"""The sums that make a review quick: what a take adds to them, and adding it."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, and_, delete, select, tuple_

from trainer.errors import TrainerError
from trainer.journal.dialect import upsert
from trainer.journal.packing import attack_from, causes_from, conditions_from
from trainer.journal.schema import (
    SUMS,
    exercise_text,
    fault,
    fault_count,
    fluency,
    marking,
    moment,
    played,
    sight,
    take,
)
from trainer.judging.evidence import missed, whys
from trainer.judging.timing import timely
from trainer.judging.verdict import Cause, onset_of
from trainer.score.exercise import Exercise
from trainer.score.syllabus import relative
from trainer.theory.fault import WEIGHTS, Weight
from trainer.theory.figures import Way
from trainer.theory.moment import Moment
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing

_Key = tuple[Any, ...]
_BATCH = 400  # rows a statement: SQLite allows 32766 bound values


@dataclass(frozen=True, slots=True)
class Sight:
    """What an exercise asks at one moment, as the sums need it."""

    figuring: str
    key: str
    top: int
    chord: bool


@dataclass
class Sums:
    """Rows of the three sum tables by their keys, to be added to what the log holds."""

    rows: dict[str, dict[_Key, list[int]]] = field(
        default_factory=lambda: {table.name: {} for table in SUMS}
    )

    def add(self, table: Table, key: _Key, values: Iterable[int], sign: int) -> None:
        row = self.rows[table.name].get(key)
        if row is None:
            self.rows[table.name][key] = [sign * value for value in values]
        else:
            for place, value in enumerate(values):
                row[place] += sign * value

    def write(self, connection: Connection) -> None:
        """Add everything to the log and forget it. Rows that come to nothing are taken away.

        Rows are written in the order of their keys, so that two stations writing to one server
        never wait for each other in a circle.
        """
        for table in SUMS:
            rows = self.rows[table.name]
            _write(connection, table, {k: v for k, v in rows.items() if any(v)})
            rows.clear()


def _write(connection: Connection, table: Table, rows: Mapping[_Key, list[int]]) -> None:
    keys = [column.name for column in table.primary_key]
    counts = [column.name for column in table.columns if not column.primary_key]
    if not rows:
        return
    statement = upsert(connection, table)
    statement = statement.on_conflict_do_update(
        index_elements=keys,
        set_={name: table.c[name] + statement.excluded[name] for name in counts},
    )
    values = [dict(zip([*keys, *counts], [*k, *rows[k]], strict=True)) for k in sorted(rows)]
    connection.execute(statement, values)
    lessened = [key for key in sorted(rows) if rows[key][0] < 0]
    columns = tuple_(*(table.c[name] for name in keys))
    for at in range(0, len(lessened), _BATCH):
        nothing = and_(columns.in_(lessened[at : at + _BATCH]), table.c[counts[0]] == 0)
        connection.execute(delete(table).where(nothing))


# ---- what a take adds -----------------------------------------------------------------------


def count_take(connection: Connection, seq: int, sums: Sums, sign: int = 1) -> None:
    """Add (or, with sign -1, take off) what a take that has ended stands for."""
    count_takes(connection, (seq,), sums, sign)


def count_takes(
    connection: Connection,
    seqs: Sequence[int],
    sums: Sums,
    sign: int = 1,
    sights: dict[int, dict[int, Sight]] | None = None,
) -> None:
    """The same for several takes at once; `sights` remembers exercises from call to call."""
    known = {} if sights is None else sights
    ended = select(take).where(take.c.seq.in_(seqs), take.c.state != "open")
    heads = connection.execute(ended).mappings().all()
    numbers = [row["marking_seq"] for row in heads if row["marking_seq"] is not None]
    judged = select(marking).where(marking.c.seq.in_(numbers))
    figures = {row["seq"]: dict(row) for row in connection.execute(judged).mappings()}
    by_marking: dict[int, tuple[dict[str, Any], float]] = {}
    for head in map(dict, heads):
        text = head["text_seq"]
        if text not in known:
            known[text] = sights_of(connection, text)
        marks = figures.get(head["marking_seq"])
        sums.add(played, _played_key(head, known[text]), _played_values(head, marks), sign)
        if marks is not None:
            tolerance = conditions_from(head["conditions"]).tolerance
            by_marking[marks["seq"]] = (head, tolerance)
    causes = {seq: causes_from(figures[seq]["causes"]) for seq in by_marking}
    why = {seq: whys(found) for seq, found in causes.items()}
    columns = (moment.c.marking_seq, moment.c.position, moment.c.outcome, moment.c.voicing)
    times = (moment.c.late_ms, moment.c.late_beats, moment.c.attack, moment.c.think_s)
    found = select(*columns, *times).where(moment.c.marking_seq.in_(by_marking))
    for marks, position, outcome, voicing, *late, attack, think in connection.execute(found):
        head, tolerance = by_marking[marks]
        asked = known[head["text_seq"]].get(position)
        if asked is not None and asked.chord:
            in_tempo = head["tempo"] is not None
            if outcome != "complete" and not missed(why[marks].get(position), in_tempo=in_tempo):
                continue  # it says nothing of its figuring
            top = _top_of(voicing) or asked.top
            key = (head["player_id"], head["day"][:7], asked.figuring, asked.key, top)
            onset = onset_of(*late)
            in_time = timely(onset, attack_from(attack), tolerance)
            values = _chord_values(outcome, onset is not None, in_time, think)
            sums.add(fluency, key, values, sign)
    broken = select(fault.c.marking_seq, fault.c.number, fault.c.rule, fault.c.weight)
    rows = connection.execute(broken.where(fault.c.marking_seq.in_(by_marking)))
    for said, rule, weight in _wrong(rows, causes):
        head, _ = by_marking[said]
        named = (head["player_id"], head["day"], head["exercise_id"], rule, weight)
        sums.add(fault_count, named, (1,), sign)


def _wrong(
    faults: Iterable[Any], causes: Mapping[int, Sequence[Cause]]
) -> Iterator[tuple[int, str, Weight]]:
    """What was wrong, once: by its marking, the rule that is broken and its weight; instead of the
    faults that a cause explains its kind, as heavy as the heaviest of them. What only follows is
    left out."""
    by_fault = {
        (marks, number): (place, number in cause.explains)
        for marks, ours in causes.items()
        for place, cause in enumerate(ours)
        for number in (*cause.explains, *cause.follow)
    }
    heaviest: dict[tuple[int, int], Weight] = {}
    for marks, number, rule, weight in faults:
        found = by_fault.get((marks, number))
        if found is None:
            yield marks, rule, weight
            continue
        place, explained = found
        if explained:
            before = heaviest.get((marks, place), weight)
            heaviest[marks, place] = min(before, weight, key=WEIGHTS.index)
    for (marks, place), weight in heaviest.items():
        yield marks, causes[marks][place].kind, weight


def count_all(connection: Connection, sums: Sums) -> Iterator[int]:
    """Add up every take, batch by batch; after each, how many are done."""
    seqs = connection.execute(select(take.c.seq).order_by(take.c.seq)).scalars().all()
    sights: dict[int, dict[int, Sight]] = {}
    for at in range(0, len(seqs), _BATCH):
        count_takes(connection, seqs[at : at + _BATCH], sums, 1, sights)
        yield at + _BATCH


def recount(connection: Connection) -> None:
    """Make all sums again from the takes and marks."""
    _look_again(connection)
    for table in SUMS:
        connection.execute(delete(table))
    sums = Sums()
    for _ in count_all(connection, sums):
        pass
    sums.write(connection)
    _look_again(connection)


def _look_again(connection: Connection) -> None:
    """Freshly filled tables look empty to a server's planner, which would read them whole."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("ANALYZE")


def _played_key(row: Mapping[str, Any], sights: Mapping[int, Sight]) -> _Key:
    key = sights[0].key if 0 in sights else ""
    return (row["player_id"], row["day"], row["exercise_id"], key, row["tempo"] or 0.0)


def _played_values(row: Mapping[str, Any], figures: Mapping[str, Any] | None) -> tuple[int, ...]:
    head = (1, int(row["state"] == "finished"), round(row["seconds"] * 1000))
    if figures is None:
        return (*head, *(0,) * 12)
    timed = bool(figures["timed"])
    return (
        *head,
        figures["complete"],
        figures["judged"],
        figures["in_time"] or 0,
        figures["timed"] or 0,
        *(figures[name] for name in ("gross", "weak", "remark", "clean", "successions")),
        int(timed),
        round(figures["bias_ms"] * 1000) if timed else 0,
        round(figures["deviation_ms"] * 1000) if timed else 0,
    )


def _chord_values(outcome: str, timed: bool, in_time: bool, think: float | None) -> tuple[int, ...]:
    logarithm = math.log(max(think, 0.001)) if think is not None else 0.0
    return (
        1,
        int(outcome == "complete"),
        int(timed),
        int(in_time),
        int(think is not None),
        round(1e6 * logarithm),
        round(1e6 * logarithm * logarithm),
    )


# ---- what an exercise asks ------------------------------------------------------------------


def sights_of(connection: Connection, text_seq: int) -> dict[int, Sight]:
    """What a text asks at each moment; empty where it cannot be read (`log verify` names it)."""
    query = select(sight).where(sight.c.text_seq == text_seq)
    return {
        row["position"]: Sight(row["figuring"], row["key"], row["top"], bool(row["chord"]))
        for row in connection.execute(query).mappings()
    }


def put_sights(connection: Connection, text_seq: int, text: str) -> None:
    """Store what a text asks; a text that is no exercise asks nothing.

    Another station may have been quicker.
    """
    rows = [{"text_seq": text_seq, "position": at, **asdict(one)} for at, one in asked_by(text)]
    if rows:
        connection.execute(upsert(connection, sight).on_conflict_do_nothing(), rows)


def asked_by(text: str) -> Iterator[tuple[int, Sight]]:
    """What a text asks, moment by moment; nothing where it is no exercise."""
    try:
        exercise = read_text(text)
    except TrainerError:
        return
    for m in exercise.moments:
        top = 0 if m.bass is None or m.melody is None else _interval(m.melody, m.bass)
        yield m.index, Sight(_figuring(m), str(m.key), top, m.chord)


def _figuring(moment: Moment) -> str:
    if moment.bass is None or moment.figuring.way is not Way.FIGURES:
        return str(moment.figuring)
    return relative(moment.figuring, moment.bass, moment.key)


def put_all_sights(connection: Connection) -> None:
    """Store what every text of the log asks."""
    for row in connection.execute(select(exercise_text)).all():
        put_sights(connection, row.seq, row.text)


def read_text(text: str) -> Exercise:
    """The exercise of a stored text; raises ExerciseError."""
    from trainer.score.kern import parse_exercise

    return parse_exercise(text, file="the exercise in the log")


@functools.lru_cache(maxsize=65536)
def _top_of(voicing: str | None) -> int:
    if voicing is None:
        return 0
    heard = Voicing.parse(voicing)
    top = heard.soprano or heard.alto or heard.tenor
    return 0 if top is None or heard.bass is None else _interval(top, heard.bass)


def _interval(top: Pitch, bass: Pitch) -> int:
    letters = (top.height - bass.height) % 7
    return letters + 1 if letters else 8
