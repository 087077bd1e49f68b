"""Values of a take as rows and bytes of the log, and back.

Raw events are packed 11 bytes each, little-endian: the time as an IEEE double (seconds), the kind
(0 key up, 1 key down, 2 pedal, 3 the player went on) and, with a key, four times what its manual
was told to play (0 everything, 1 the bass, 2 the left hand, 3 the right hand; logs before version 3
have 0), the MIDI note number (0 for kinds 2 and 3), the velocity of a key down (1 for pedal down,
else 0). Packing 0 is that, packing 1 the same compressed with zlib.

How the hands struck a moment is [manner, bass, melody, left, right] in JSON, each of the four
[ms, beats], or null; untimed beats is null. How they lay over a pass is [left, right, spread_ms,
spread_deviation_ms, [[manner, chords], …]], a hand being [in_time, judged, bias_ms, deviation_ms]
or null. What explains its faults is [[kind, moment, text, remedy, [explained, …], [following, …]],
…], faults by their numbers, null where nothing does (`trainer.judging.verdict`).
"""

from __future__ import annotations

import hashlib
import json
import math
import struct
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, astuple, fields
from fractions import Fraction
from typing import Any

from trainer.errors import LogError
from trainer.judging.take import Conditions, Pause
from trainer.judging.verdict import (
    WHYS,
    Attack,
    Cause,
    ExtraChord,
    HandTiming,
    Harmony,
    MomentVerdict,
    Movement,
    Onset,
    PassVerdict,
    Timing,
    Touch,
)
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Onward, Pedal
from trainer.listening.manuals import Manual
from trainer.theory.fault import Fault
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing

Row = Mapping[str, Any]
PLAIN, COMPRESSED = 0, 1
_EVENT = struct.Struct("<dBBB")
_MANUALS = tuple(Manual)
_MOST = 64 * 1024 * 1024  # bytes of events in one chunk: days of playing
_LONGEST_REST = 24 * 3600.0  # seconds between two events of a take


def pack_events(events: Iterable[KeyEvent]) -> bytes:
    """Events as bytes, packing 0."""
    parts: list[bytes] = []
    for event in events:
        match event:
            case KeyDown(time, key, velocity, manual):
                parts.append(_EVENT.pack(time, 1 + 4 * manual, key, velocity))
            case KeyUp(time, key, manual):
                parts.append(_EVENT.pack(time, 4 * manual, key, 0))
            case Pedal(time, down):
                parts.append(_EVENT.pack(time, 2, 0, int(down)))
            case Onward(time):
                parts.append(_EVENT.pack(time, 3, 0, 0))
    return b"".join(parts)


def unpack_events(payload: bytes, packing: int = PLAIN) -> tuple[KeyEvent, ...]:
    """The events of one chunk; raises LogError where the bytes cannot be events."""
    if packing == COMPRESSED:
        unpacker = zlib.decompressobj()
        try:
            payload = unpacker.decompress(payload, _MOST)
        except zlib.error as error:
            raise LogError(f"the events of a take cannot be unpacked ({error})") from None
        if not unpacker.eof:
            raise LogError("the events of a take are cut off, or beyond all measure")
    elif packing != PLAIN:
        raise LogError(f"events packed in an unknown way ({packing})")
    if len(payload) % _EVENT.size:
        raise LogError("the events of a take end in the middle of one")
    return tuple(_event(*values) for values in _EVENT.iter_unpack(payload))


def event_prefix(payload: bytes, packing: int) -> tuple[KeyEvent, ...]:
    """The first events of a damaged chunk: as far as they can be unpacked and time goes on."""
    if packing == COMPRESSED:
        payload = _inflated(payload)
    events: list[KeyEvent] = []
    for values in _EVENT.iter_unpack(payload[: len(payload) // _EVENT.size * _EVENT.size]):
        try:
            event = _event(*values)
        except LogError:
            break
        if events and not events[-1].time <= event.time <= events[-1].time + _LONGEST_REST:
            break
        events.append(event)
    return tuple(events)


def _inflated(payload: bytes) -> bytes:
    """As much as can be unpacked before the first error."""
    unpacker = zlib.decompressobj()
    found = bytearray()
    for at in range(len(payload)):
        try:
            found += unpacker.decompress(payload[at : at + 1], _MOST - len(found))
        except zlib.error:
            break
        if unpacker.eof or len(found) >= _MOST:
            break
    return bytes(found)


def _event(time: float, told: int, key: int, value: int) -> KeyEvent:
    manual, kind = divmod(told, 4)
    sense = key <= 127 and value <= 127 and manual < len(_MANUALS) and math.isfinite(time)
    if not sense or (manual and kind > 1):
        raise LogError("an event of a take is not a key or a pedal")
    match kind:
        case 0:
            return KeyUp(time, key, _MANUALS[manual])
        case 1:
            return KeyDown(time, key, value, _MANUALS[manual])
        case 2:
            return Pedal(time, bool(value))
    return Onward(time)


def conditions_text(conditions: Conditions) -> str:
    """Conditions as JSON, keys in order."""
    return json.dumps(asdict(conditions), sort_keys=True)


def conditions_from(text: str) -> Conditions:
    """Raises LogError for JSON that is not conditions; unknown keys are left out."""
    try:
        given = json.loads(text)
        known = {f.name for f in fields(Conditions)}
        values = {name: _tuples(value) for name, value in given.items() if name in known}
        return Conditions(**values)
    except (ValueError, TypeError, AttributeError):
        raise LogError("the conditions of a take cannot be read") from None


def _tuples(value: Any) -> Any:
    return tuple(map(_tuples, value)) if isinstance(value, list) else value


def pauses_from(text: str) -> tuple[Pause, ...]:
    """Raises LogError for JSON that is no pauses."""
    try:
        return tuple(map(pause_from, json.loads(text)))
    except (ValueError, TypeError, OverflowError, RecursionError):
        raise LogError("the breaks of a take cannot be read") from None


def pause_from(given: Any) -> Pause:
    """Two finite numbers and perhaps a moment; raises ValueError or TypeError."""
    since, until, *first = given
    pause = float(since), float(until)
    if not all(map(math.isfinite, pause)):
        raise ValueError("a pause without a time")
    if not first:
        return pause
    (moment,) = map(int, first)
    if moment < 0:
        raise ValueError("a pause that ends nowhere")
    return (*pause, moment)


def moment_row(verdict: MomentVerdict) -> dict[str, Any]:
    """A row of `moment` without its marking."""
    return {
        "position": verdict.index,
        "outcome": verdict.outcome,
        "keys": bytes(verdict.keys),
        "voicing": None if verdict.voicing is None else str(verdict.voicing),
        "missing": ",".join(verdict.missing),
        "foreign": ",".join(verdict.foreign),
        "additions": ",".join(verdict.additions),
        "late_ms": verdict.late_ms,
        "late_beats": verdict.late_beats,
        "spread_ms": verdict.spread_ms,
        "think_s": verdict.think_s,
        "attack": None if verdict.attack is None else _attack_text(verdict.attack),
    }


def moment_from(row: Row) -> MomentVerdict:
    voicing = row["voicing"]
    return MomentVerdict(
        index=row["position"],
        outcome=row["outcome"],
        keys=tuple(row["keys"]),
        voicing=None if voicing is None else Voicing.parse(voicing),
        missing=_words(row["missing"]),
        foreign=_words(row["foreign"]),
        additions=_words(row["additions"]),
        late_ms=row["late_ms"],
        late_beats=row["late_beats"],
        spread_ms=row["spread_ms"],
        think_s=row["think_s"],
        attack=attack_from(row["attack"]),
    )


def _attack_text(attack: Attack) -> str:
    onsets = (attack.bass, attack.melody, attack.left, attack.right)
    return json.dumps([attack.manner, *(one and [one.ms, one.beats] for one in onsets)])


def attack_from(text: str | None) -> Attack | None:
    """How the hands struck a moment, from where it is stored; ValueError or TypeError for what is
    none."""
    if text is None:
        return None
    manner, *onsets = json.loads(text)
    return Attack(manner, *(one and _onset_from(*one) for one in onsets))


def _onset_from(ms: float, beats: float | None) -> Onset:
    return Onset(float(ms), None if beats is None else float(beats))


def touch_text(touch: Touch) -> str:
    """How the hands lay over a pass, as it is stored."""
    hands = [one and list(astuple(one)) for one in (touch.left, touch.right)]
    return json.dumps([*hands, touch.spread_ms, touch.spread_deviation_ms, touch.manners])


def touch_from(text: str) -> Touch:
    """ValueError or TypeError for what is none."""
    left, right, spread, deviation, manners = json.loads(text)
    return Touch(
        left and HandTiming(*left),
        right and HandTiming(*right),
        float(spread),
        float(deviation),
        tuple((manner, int(count)) for manner, count in manners),
    )


def causes_text(causes: Iterable[Cause]) -> str | None:
    """What explains the faults of a pass, as it is stored."""
    rows = [
        [one.kind, one.moment, one.text, one.remedy, list(one.explains), list(one.follow)]
        for one in causes
    ]
    return json.dumps(rows) if rows else None


def causes_from(text: str | None) -> tuple[Cause, ...]:
    """ValueError or TypeError for what is none."""
    return () if text is None else tuple(_cause_from(*row) for row in json.loads(text))


def _cause_from(
    kind: Any, moment: Any, text: Any, remedy: Any, explains: Any, follow: Any
) -> Cause:
    numbers = (moment, *explains, *follow)
    said = kind in WHYS and isinstance(text, str) and isinstance(remedy, str) and bool(explains)
    if not said or any(type(number) is not int or number < 0 for number in numbers):
        raise ValueError("this is no cause")
    return Cause(kind, moment, text, remedy, tuple(explains), tuple(follow))


def fault_row(number: int, fault: Fault) -> dict[str, Any]:
    """A row of `fault` without its marking."""
    return {
        "number": number,
        "rule": fault.rule,
        "weight": fault.weight,
        "moments": ",".join(map(str, fault.moments)),
        "voices": ",".join(fault.voices),
        "pitches": ",".join(map(str, fault.pitches)),
        "text": fault.text,
        "instead": None if fault.instead is None else str(fault.instead),
        "onset": None if fault.onset is None else str(fault.onset),
    }


def fault_from(row: Row) -> Fault:
    instead = row["instead"]
    return Fault(
        rule=row["rule"],
        weight=row["weight"],
        moments=tuple(int(word) for word in _words(row["moments"])),
        voices=_words(row["voices"]),  # type: ignore[arg-type]
        pitches=tuple(Pitch.parse(word) for word in _words(row["pitches"])),
        text=row["text"],
        instead=None if instead is None else Voicing.parse(instead),
        onset=None if row["onset"] is None else Fraction(row["onset"]),
    )


def marking_row(verdict: PassVerdict) -> dict[str, Any]:
    """The figures of a pass as a row of `marking`, without take, rules and time."""
    timing = verdict.timing
    return {
        "complete": verdict.harmony.complete,
        "judged": verdict.harmony.judged,
        "in_time": None if timing is None else timing.in_time,
        "timed": None if timing is None else timing.judged,
        "bias_ms": None if timing is None else timing.bias_ms,
        "deviation_ms": None if timing is None else timing.deviation_ms,
        "gross": verdict.movement.gross,
        "weak": verdict.movement.weak,
        "remark": verdict.movement.remark,
        "clean": verdict.movement.clean,
        "successions": verdict.movement.successions,
        "extra": json.dumps([[one.after, one.at_s, list(one.keys)] for one in verdict.extra]),
        "touch": None if timing is None or timing.touch is None else touch_text(timing.touch),
        "causes": causes_text(verdict.causes),
    }


def verdict_from(row: Row, moments: Sequence[Row], faults: Sequence[Row]) -> PassVerdict:
    """A pass verdict from its rows of `marking`, `moment` and `fault`; ValueError or TypeError for
    what is none."""
    causes = causes_from(row["causes"])
    if any(number >= len(faults) for one in causes for number in (*one.explains, *one.follow)):
        raise ValueError("a cause of no fault")
    return PassVerdict(
        moments=tuple(moment_from(one) for one in moments),
        faults=tuple(fault_from(one) for one in faults),
        harmony=Harmony(row["complete"], row["judged"]),
        timing=timing_from(row),
        movement=Movement(
            row["gross"], row["weak"], row["remark"], row["clean"], row["successions"]
        ),
        extra=tuple(
            ExtraChord(after, at_s, tuple(keys)) for after, at_s, keys in json.loads(row["extra"])
        ),
        causes=causes,
    )


def timing_from(row: Row) -> Timing | None:
    """The figure for time from a row of `marking`; None untimed."""
    if row["timed"] is None:
        return None
    touch = None if row["touch"] is None else touch_from(row["touch"])
    return Timing(row["in_time"], row["timed"], row["bias_ms"], row["deviation_ms"], touch)


def marks_digest(rules: int, verdict: PassVerdict) -> str:
    """SHA-256 over everything said of a pass: the same marks are the same anywhere."""
    moments = [moment_row(one) for one in verdict.moments]
    faults = [fault_row(number, one) for number, one in enumerate(verdict.faults)]
    return stored_digest(rules, marking_row(verdict), moments, faults)


def stored_digest(rules: int, figures: Row, moments: Iterable[Row], faults: Iterable[Row]) -> str:
    """The same from the rows as they are stored, without their marking."""
    told = dict(figures)
    # What older logs did not know counts only where it is there: their marks stay the same.
    if told["extra"] == "[]":
        del told["extra"]
    for later in ("touch", "causes"):
        if told[later] is None:
            del told[later]
    keyed = [_known({**row, "keys": list(row["keys"])}, "attack") for row in moments]
    broken = [_known(row, "onset") for row in faults]
    said = [rules, told, keyed, broken]
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def _known(row: Row, later: str) -> Row:
    """The row without a column that holds nothing, and that older logs did not have."""
    return {name: value for name, value in row.items() if name != later or value}


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split(",")) if text else ()
