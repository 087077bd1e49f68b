"""The tables of the log, the same for SQLite and PostgreSQL.

Times of day are seconds since 1970 in UTC as floats; event times inside a take are seconds on the
clock of the machine that recorded it (`time.monotonic`) and mean nothing outside that take.

Three kinds of table: what happened (`player`, `exercise_text`, `take`, `chunk`), what was said of
it (`marking`, `moment`, `fault`), and sums of that, kept while writing so that a review of ten
million chords reads thousands of rows (`sight`, `played`, `fluency`, `fault_count`). Sums are
whole numbers, so that they come out the same in whatever order takes arrive.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
)

SCHEMA_VERSION = 5
STATES = ("open", "recovered", "stopped", "finished")  # of a take; the further on, the later
APPLICATION_ID = 0x4D697474  # "Mitt", in the header of a SQLite log

metadata = MetaData()
_SEQ = BigInteger().with_variant(Integer, "sqlite")  # SQLite numbers rows for INTEGER only

meta = Table(
    "meta",
    metadata,
    Column("name", String(40), primary_key=True),
    Column("value", Text, nullable=False),
)

# Players are told apart by id. `named` is when the name was given: the later naming holds.
# `local` players were made on this log, not merged into it.
player = Table(
    "player",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("name", Text, nullable=False),
    Column("named", Float(53), nullable=False),
    Column("local", Boolean, nullable=False),
)

# The text of an exercise as played, once however often it was played. `digest` is its SHA-256.
exercise_text = Table(
    "exercise_text",
    metadata,
    Column("seq", _SEQ, primary_key=True, autoincrement=True),
    Column("digest", String(64), nullable=False, unique=True),
    Column("text", Text, nullable=False),
)

# `state`: open (being played), finished, stopped (ended by the player before its end),
# recovered (the program died; kept to its last chord). `day` is the player's own date.
# `seconds` is the time played, pauses taken off. `marking_seq` names the marks that hold now.
take = Table(
    "take",
    metadata,
    Column("seq", _SEQ, primary_key=True, autoincrement=True),
    Column("id", String(36), nullable=False, unique=True),
    Column("player_id", String(36), ForeignKey("player.id"), nullable=False),
    Column("exercise_id", Text, nullable=False),
    Column("text_seq", _SEQ, ForeignKey("exercise_text.seq"), nullable=False),
    Column("conditions", Text, nullable=False),  # JSON
    Column("tempo", Float(53)),
    Column("origin", Float(53), nullable=False),
    Column("started", Text, nullable=False),  # ISO 8601 with zone, as recorded
    Column("started_at", Float(53), nullable=False),
    Column("day", String(10), nullable=False),
    Column("port", Text, nullable=False),
    Column("rules", Integer, nullable=False),
    Column("pauses", Text, nullable=False),  # JSON, as `Take` has them
    Column("state", String(10), nullable=False),
    Column("seconds", Float(53), nullable=False),
    Column("writer", Text, nullable=False),  # host/process of the writer while open
    Column("touched", Float(53), nullable=False),
    Column("marking_seq", _SEQ),
)
Index("take_by_player", take.c.player_id, take.c.started_at)
Index("take_by_piece", take.c.player_id, take.c.exercise_id, take.c.started_at)
Index("take_by_time", take.c.started_at)
Index("take_by_state", take.c.state)

# Raw events in the order they came, packed as `packing.py` says (since version 3 with what a key's
# manual was told to play). A take being played has a chunk for every append; when it ends they
# become one compressed chunk numbered 0.
chunk = Table(
    "chunk",
    metadata,
    Column("take_seq", _SEQ, ForeignKey("take.seq"), primary_key=True, autoincrement=False),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("packing", SmallInteger, nullable=False),
    Column("checksum", BigInteger, nullable=False),  # CRC-32 of the payload
    Column("payload", LargeBinary, nullable=False),
    sqlite_with_rowid=False,
)

# One judging of a take. `digest` is the SHA-256 of the marks, null while the take is played.
# `extra` are struck chords that belong to no moment: JSON [[after, at_s, [key, …]], …]. `touch` is
# how the hands lay over the pass, `causes` what explains its faults, JSON as `packing.py` says.
marking = Table(
    "marking",
    metadata,
    Column("seq", _SEQ, primary_key=True, autoincrement=True),
    Column("take_seq", _SEQ, ForeignKey("take.seq"), nullable=False),
    Column("digest", String(64)),
    Column("rules", Integer, nullable=False),
    Column("made", Float(53), nullable=False),
    Column("complete", Integer, nullable=False),
    Column("judged", Integer, nullable=False),
    Column("in_time", Integer),
    Column("timed", Integer),
    Column("bias_ms", Float(53)),
    Column("deviation_ms", Float(53)),
    Column("gross", Integer, nullable=False),
    Column("weak", Integer, nullable=False),
    Column("remark", Integer, nullable=False),
    Column("clean", Integer, nullable=False),
    Column("successions", Integer, nullable=False),
    Column("extra", Text, nullable=False, server_default="[]"),
    Column("touch", Text),
    Column("causes", Text),
)
Index("marking_by_take", marking.c.take_seq, marking.c.digest, unique=True)

# `keys` are MIDI note numbers, a byte each; figures are joined by commas. `attack` is when each
# hand struck, JSON as `packing.py` says.
moment = Table(
    "moment",
    metadata,
    Column("marking_seq", _SEQ, ForeignKey("marking.seq"), primary_key=True, autoincrement=False),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("outcome", String(12), nullable=False),
    Column("keys", LargeBinary, nullable=False),
    Column("voicing", Text),
    Column("missing", Text, nullable=False),
    Column("foreign", Text, nullable=False),
    Column("additions", Text, nullable=False),
    Column("late_ms", Float(53)),
    Column("late_beats", Float(53)),
    Column("spread_ms", Float(53)),
    Column("think_s", Float(53)),
    Column("attack", Text),
    sqlite_with_rowid=False,
)

fault = Table(
    "fault",
    metadata,
    Column("marking_seq", _SEQ, ForeignKey("marking.seq"), primary_key=True, autoincrement=False),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("rule", String(60), nullable=False),
    Column("weight", String(6), nullable=False),
    Column("moments", Text, nullable=False),
    Column("voices", Text, nullable=False),
    Column("pitches", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("instead", Text),
    Column("onset", String(24)),  # score time in quarter notes, a fraction such as 7/2
    sqlite_with_rowid=False,
)

# What an exercise text asks at each of its moments: the figuring relative to the signature (`-`
# for nothing, `#` for a raised third in any key), the key there, the interval number of a given
# melody over the bass (2 to 8; 0 where the top voice is free), whether harmony is judged there.
sight = Table(
    "sight",
    metadata,
    Column(
        "text_seq", _SEQ, ForeignKey("exercise_text.seq"), primary_key=True, autoincrement=False
    ),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("figuring", Text, nullable=False),
    Column("key", String(24), nullable=False),
    Column("top", SmallInteger, nullable=False),
    Column("chord", Boolean, nullable=False),
    sqlite_with_rowid=False,
)


def _count(name: str) -> Column[int]:
    return Column(name, BigInteger, nullable=False)


# Takes that have ended, by player, day, piece, key and tempo (beats a minute; 0 = untimed).
# `played_ms` in milliseconds; `bias_us` and `deviation_us` are sums over the `steady` takes with
# a timing, in microseconds.
played = Table(
    "played",
    metadata,
    Column("player_id", String(36), primary_key=True),
    Column("day", String(10), primary_key=True),
    Column("exercise_id", Text, primary_key=True),
    Column("key", String(24), primary_key=True),
    Column("tempo", Float(53), primary_key=True),
    *map(_count, ("takes", "finished", "played_ms", "complete", "judged", "in_time", "timed")),
    *map(_count, ("gross", "weak", "remark", "clean", "successions")),
    *map(_count, ("steady", "bias_us", "deviation_us")),
    sqlite_with_rowid=False,
)

# Chords by player, month, figuring, key and position of the right hand (`top`: interval number
# of the highest voice over the bass, 0 unknown), but for those that went wrong for another reason
# than their figuring (`trainer.judging.evidence`). `thought` chords have a think time; `think_log`
# sums a million times its natural logarithm (of seconds), `think_square` of that squared.
fluency = Table(
    "fluency",
    metadata,
    Column("player_id", String(36), primary_key=True),
    Column("month", String(7), primary_key=True),
    Column("figuring", Text, primary_key=True),
    Column("key", String(24), primary_key=True),
    Column("top", SmallInteger, primary_key=True, autoincrement=False),
    *map(_count, ("chords", "complete", "timed", "in_time")),
    *map(_count, ("thought", "think_log", "think_square")),
    sqlite_with_rowid=False,
)

# What was wrong by player, day, piece, rule and weight; `rule` is the kind of a cause where one
# explains the fault (once, with the weight of the weightiest it explains; what follows from it is
# not counted).
fault_count = Table(
    "fault_count",
    metadata,
    Column("player_id", String(36), primary_key=True),
    Column("day", String(10), primary_key=True),
    Column("exercise_id", Text, primary_key=True),
    Column("rule", String(60), primary_key=True),
    Column("weight", String(6), primary_key=True),
    *map(_count, ("times",)),
    sqlite_with_rowid=False,
)

SUMS = (played, fluency, fault_count)
