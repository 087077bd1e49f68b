"""What is said of a pass as plain objects (for JSON), and back."""

from __future__ import annotations

import math
from dataclasses import asdict
from fractions import Fraction
from typing import Any, NoReturn, get_args

from trainer.errors import LogError, PitchError
from trainer.judging.verdict import (
    MANNERS,
    WHYS,
    Attack,
    Cause,
    ExtraChord,
    HandTiming,
    Harmony,
    MomentVerdict,
    Movement,
    Onset,
    Outcome,
    PassVerdict,
    Timing,
    Touch,
)
from trainer.theory.fault import WEIGHTS, Fault
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VOICES, Voicing

Plain = dict[str, Any]
_OUTCOMES = get_args(Outcome)
_MOST = 100_000  # moments of an exercise, faults of a pass: far more than there ever are


def verdict_plain(verdict: PassVerdict) -> Plain:
    """Everything said of a pass."""
    timing, movement = verdict.timing, verdict.movement
    return {
        "harmony": asdict(verdict.harmony),
        "timing": None if timing is None else _timing_plain(timing),
        "movement": asdict(movement),
        "moments": [moment_plain(moment) for moment in verdict.moments],
        "faults": [fault_plain(fault) for fault in verdict.faults],
        "extra": [
            {"after": one.after, "at_s": one.at_s, "keys": list(one.keys)} for one in verdict.extra
        ],
        "causes": [_cause_plain(cause) for cause in verdict.causes],
    }


def _cause_plain(cause: Cause) -> Plain:
    plain = asdict(cause)
    return plain | {"explains": list(cause.explains), "follow": list(cause.follow)}


def _timing_plain(timing: Timing) -> Plain:
    plain = asdict(timing)
    if timing.touch is not None:
        plain["touch"]["manners"] = dict(timing.touch.manners)
    return plain


def moment_plain(moment: MomentVerdict) -> Plain:
    """What is said of one moment; the voicing is written bass first."""
    return {
        "index": moment.index,
        "outcome": moment.outcome,
        "keys": list(moment.keys),
        "voicing": None if moment.voicing is None else str(moment.voicing),
        "missing": list(moment.missing),
        "foreign": list(moment.foreign),
        "additions": list(moment.additions),
        "late_ms": moment.late_ms,
        "late_beats": moment.late_beats,
        "spread_ms": moment.spread_ms,
        "think_s": moment.think_s,
        "attack": None if moment.attack is None else asdict(moment.attack),
    }


def fault_plain(fault: Fault) -> Plain:
    """A fault; voicings are written bass first, score time as a fraction of quarter notes."""
    return {
        "rule": fault.rule,
        "weight": fault.weight,
        "moments": list(fault.moments),
        "voices": list(fault.voices),
        "pitches": [str(pitch) for pitch in fault.pitches],
        "text": fault.text,
        "instead": None if fault.instead is None else str(fault.instead),
        "onset": None if fault.onset is None else str(fault.onset),
    }


# ---- back, trusting nothing -----------------------------------------------------------------


def verdict_of(plain: object) -> PassVerdict:
    """The inverse of `verdict_plain`; raises LogError for anything else."""
    whole = table(plain)
    timing = whole.get("timing")
    faults = tuple(_fault(one) for one in items(whole.get("faults"), _MOST))
    return PassVerdict(
        tuple(_moment(one) for one in items(whole.get("moments"), _MOST)),
        faults,
        Harmony(*_counts(whole.get("harmony"), "complete", "judged")),
        None if timing is None else _timing(timing),
        Movement(
            *_counts(whole.get("movement"), "gross", "weak", "remark", "clean", "successions")
        ),
        tuple(_extra(one) for one in items(whole.get("extra"), _MOST)),
        # bundles written by rules before 5 have none
        tuple(_cause(one, len(faults)) for one in items(whole.get("causes", []), _MOST)),
    )


def _timing(plain: object) -> Timing:
    given = table(plain)
    touch = given.get("touch")
    return Timing(*_figures_of_time(plain), None if touch is None else _touch(touch))


def _touch(plain: object) -> Touch:
    given = table(plain)
    left, right = (given.get(hand) for hand in ("left", "right"))
    counts = table(given.get("manners"))
    if not set(counts) <= set(MANNERS):
        wrong("chords are struck in an unknown manner")
    return Touch(
        None if left is None else HandTiming(*_figures_of_time(left)),
        None if right is None else HandTiming(*_figures_of_time(right)),
        number(given.get("spread_ms")),
        number(given.get("spread_deviation_ms")),
        tuple((one, _counts(counts, one)[0]) for one in MANNERS if one in counts),
    )


def _figures_of_time(plain: object) -> tuple[int, int, float, float]:
    in_time, judged = _counts(plain, "in_time", "judged")
    given = table(plain)
    return in_time, judged, number(given.get("bias_ms")), number(given.get("deviation_ms"))


def _attack(plain: object) -> Attack:
    given = table(plain)
    manner = text(given.get("manner"))
    if manner not in MANNERS:
        wrong(f"{manner!r} is no manner of striking a chord")
    onsets = (given.get(name) for name in ("bass", "melody", "left", "right"))
    return Attack(
        manner,
        *(None if one is None else _onset(one) for one in onsets),
    )


def _onset(plain: object) -> Onset:
    given = table(plain)
    return Onset(number(given.get("ms")), _perhaps(given.get("beats")))


def _moment(plain: object) -> MomentVerdict:
    given = table(plain)
    outcome = text(given.get("outcome"))
    if outcome not in _OUTCOMES:
        wrong(f"{outcome!r} is not an outcome")
    return MomentVerdict(
        index=whole_number(given.get("index"), most=_MOST),
        outcome=outcome,  # type: ignore[arg-type]  # one of them, as just seen
        keys=_keys(given.get("keys")),
        voicing=_voicing(given.get("voicing")),
        missing=_figures(given.get("missing")),
        foreign=_figures(given.get("foreign")),
        additions=_figures(given.get("additions")),
        late_ms=_perhaps(given.get("late_ms")),
        late_beats=_perhaps(given.get("late_beats")),
        spread_ms=_perhaps(given.get("spread_ms")),
        think_s=_perhaps(given.get("think_s")),
        attack=None if given.get("attack") is None else _attack(given["attack"]),
    )


def _fault(plain: object) -> Fault:
    given = table(plain)
    weight = text(given.get("weight"))
    voices = tuple(text(one) for one in items(given.get("voices"), 8))
    if weight not in WEIGHTS or any(voice not in VOICES for voice in voices):
        wrong("a fault has an unknown weight or voice")
    return Fault(
        rule=text(given.get("rule"), most=60),
        weight=weight,
        moments=tuple(whole_number(one, most=_MOST) for one in items(given.get("moments"), 64)),
        voices=voices,  # type: ignore[arg-type]
        pitches=tuple(_pitch(one) for one in items(given.get("pitches"), 64)),
        text=text(given.get("text"), most=4000),
        instead=_voicing(given.get("instead")),
        onset=_fraction(given.get("onset")),
    )


def _cause(plain: object, faults: int) -> Cause:
    """Of a pass with so many faults."""
    given = table(plain)
    kind = text(given.get("kind"))
    if kind not in WHYS:
        wrong(f"{kind!r} is no cause of a wrong chord")
    explains, follow = (
        tuple(whole_number(one, most=faults - 1) for one in items(given.get(name), _MOST))
        for name in ("explains", "follow")
    )
    if not explains:
        wrong("a cause explains nothing")
    return Cause(
        kind,
        whole_number(given.get("moment"), most=_MOST),
        text(given.get("text"), most=4000),
        text(given.get("remedy"), most=4000),
        explains,
        follow,
    )


def _extra(plain: object) -> ExtraChord:
    given = table(plain)
    after = whole_number(given.get("after"), least=-1, most=_MOST)
    return ExtraChord(after, number(given.get("at_s")), _keys(given.get("keys")))


def _counts(plain: object, *names: str) -> list[int]:
    given = table(plain)
    return [whole_number(given.get(name), most=2**31 - 1) for name in names]


def _keys(plain: object) -> tuple[int, ...]:
    return tuple(whole_number(one, most=127) for one in items(plain, 128))


def _figures(plain: object) -> tuple[str, ...]:
    found = tuple(text(one, most=16) for one in items(plain, 32))
    if any("," in one or not one for one in found):
        wrong("a figure has a comma in it, or nothing")
    return found


def _voicing(plain: object) -> Voicing | None:
    if plain is None:
        return None
    words = text(plain, most=80).split()
    if len(words) != 4:
        wrong("a voicing has not four voices")
    bass, tenor, alto, soprano = (None if one == "-" else _pitch(one) for one in words)
    return Voicing(soprano, alto, tenor, bass)


def _pitch(plain: object) -> Pitch:
    try:
        return Pitch.parse(text(plain, most=8))
    except PitchError as error:
        raise LogError(error.what) from None


def _fraction(plain: object) -> Fraction | None:
    if plain is None:
        return None
    given = text(plain, most=24)
    try:
        return Fraction(given)
    except (ValueError, ZeroDivisionError):
        wrong("a score time is not a fraction")


def _perhaps(plain: object) -> float | None:
    return None if plain is None else number(plain)


def table(plain: object) -> Plain:
    """An object with names, or LogError."""
    return plain if isinstance(plain, dict) else wrong("an object is missing")


def items(plain: object, most: int) -> list[Any]:
    """A list of at most so many things, or LogError."""
    if not isinstance(plain, list) or len(plain) > most:
        wrong("a list is missing or too long")
    return plain


def text(plain: object, most: int = 4000) -> str:
    """A text any database can keep, or LogError."""
    if not isinstance(plain, str) or len(plain) > most or "\0" in plain:
        wrong("a text is missing, too long, or not text")
    if not plain.isascii():
        try:
            plain.encode()
        except UnicodeEncodeError:
            wrong("a text is not Unicode")
    return plain


def number(plain: object) -> float:
    """A finite number, or LogError."""
    if isinstance(plain, bool) or not isinstance(plain, int | float):
        wrong("a number is missing")
    try:
        value = float(plain)
    except OverflowError:
        wrong("a number is out of range")
    if not math.isfinite(value) or abs(value) > 1e15:
        wrong("a number is out of range")
    return value


def whole_number(plain: object, *, least: int = 0, most: int) -> int:
    """An integer in a range, or LogError."""
    if isinstance(plain, bool) or not isinstance(plain, int) or not least <= plain <= most:
        wrong("a whole number is missing or out of range")
    return plain


def wrong(what: str) -> NoReturn:
    """Raises LogError."""
    raise LogError(what)
