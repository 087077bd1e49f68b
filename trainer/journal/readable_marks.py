"""What can be read of marks whose rows are damaged: all of it or nothing, or what is left.

Nothing here raises for whatever stands in a row.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from trainer.journal.packing import causes_from, marks_digest, verdict_from
from trainer.journal.plain_verdicts import verdict_of, verdict_plain
from trainer.journal.readable import SENSELESS, Found
from trainer.judging.verdict import Cause, PassVerdict


def readable_verdict(
    row: Found, moments: Sequence[Found], faults: Sequence[Found]
) -> PassVerdict | None:
    """What was said of a pass, if it is word for word what was stored."""
    verdict = readable_marks(row, moments, faults)
    try:
        sound = verdict is not None and marks_digest(row["rules"], verdict) == row["digest"]
    except SENSELESS:
        return None
    return verdict if sound else None


def readable_marks(
    row: Found, moments: Sequence[Found], faults: Sequence[Found]
) -> PassVerdict | None:
    """What was said of a pass, if it makes sense."""
    try:
        return verdict_from(row, _by("position", moments), _by("number", faults))
    except SENSELESS:
        return None


def _by(name: str, rows: Sequence[Found]) -> list[Found]:
    """The rows in order, of several of one number the first."""
    first: dict[int, Found] = {}
    for row in rows:
        first.setdefault(row[name], row)
    return [first[place] for place in sorted(first)]


def what_is_left(
    row: Found, moments: Sequence[Found], faults: Sequence[Found]
) -> PassVerdict | None:
    """What can still be read of the marks of a take that cannot be judged again: the figures of
    the pass, every moment and fault whose row makes sense, and the causes of those faults."""
    figures = {**row, "causes": None}
    try:
        said = verdict_from(figures, (), ())
        plain = verdict_plain(said)
        verdict = verdict_of(plain)
    except SENSELESS:
        return None
    for one in moments:
        verdict = _with(verdict, figures, [one], [])
    numbers: dict[int, int] = {}  # of a fault, as it was stored -> its place among those left
    for one in faults:
        before = len(verdict.faults)
        verdict = _with(verdict, figures, [], [one])
        if len(verdict.faults) > before:
            numbers.setdefault(one["number"], before)
    return replace(verdict, causes=_causes_left(row.get("causes"), numbers))


def _causes_left(given: object, numbers: Mapping[int, int]) -> tuple[Cause, ...]:
    """The causes of which a fault is left that they explain."""
    try:
        found = causes_from(None if given is None else str(given))
    except SENSELESS:
        return ()
    left = (
        replace(
            one,
            explains=tuple(numbers[n] for n in one.explains if n in numbers),
            follow=tuple(numbers[n] for n in one.follow if n in numbers),
        )
        for one in found
    )
    return tuple(one for one in left if one.explains)


def _with(
    verdict: PassVerdict, row: Found, moments: list[Found], faults: list[Found]
) -> PassVerdict:
    try:
        more = verdict_of(verdict_plain(verdict_from(row, moments, faults)))
    except SENSELESS:
        return verdict
    known = {one.index for one in verdict.moments}
    new = [one for one in more.moments if one.index not in known]
    in_order = sorted((*verdict.moments, *new), key=lambda one: one.index)
    return replace(verdict, moments=tuple(in_order), faults=(*verdict.faults, *more.faults))
