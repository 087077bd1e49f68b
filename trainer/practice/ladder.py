"""The tempo ladder: a piece, in a key, with a division of the hands, climbs by rungs.

Two good passes at a rung open the next, two failures lead back to the one before. Every change of
direction halves the step, so that the rungs lie close together where the player's limit is; three
rungs gained in a row double it again, because then the limit has moved.

A ladder is a fold over past results: it needs no memory of its own and is there again whatever
happened to the program.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from trainer.errors import InputError
from trainer.judging.timing import FASTEST, SLOWEST
from trainer.practice.result import PassResult, base
from trainer.theory.hands import Hands

WIDEST, NARROWEST = 0.20, 0.025  # steps, as parts of the tempo
_BEGIN = 0.6  # of the piece's own tempo
_FALSE_START = 4  # chords: a pass broken off before so many says nothing
_ELSEWHERE = 0.85  # of the tempo that is secure in another key or with other hands


@dataclass(frozen=True, slots=True)
class Criteria:
    """The shares that make a good pass: chords complete, chords in time, successions clean.

    `gross` is how many gross faults of movement are let pass.
    """

    harmony: float
    time: float
    movement: float
    gross: int


# up to this part of the piece's own tempo -> what a pass has to reach there
_CRITERIA: tuple[tuple[float, Criteria], ...] = (
    (0.65, Criteria(harmony=0.90, time=0.75, movement=0.80, gross=2)),
    (0.85, Criteria(harmony=0.92, time=0.80, movement=0.85, gross=1)),
    (math.inf, Criteria(harmony=0.95, time=0.85, movement=0.90, gross=0)),
)
TOP = _CRITERIA[-1][1]  # what is asked at the piece's own tempo


@dataclass(frozen=True, slots=True)
class Rung:
    """A tempo in beats a minute and what a pass has to reach at it."""

    tempo: float
    criteria: Criteria


Verdict = Literal["good", "failed", "no matter"]


@dataclass(frozen=True, slots=True)
class Ladder:
    """Where a player stands with one piece.

    `piece` is the id of a piece or pattern without key and position. `goal` is its own tempo, the
    top of the ladder. `good` and `failed` count passes at
    the present rung; `highest` is the fastest rung that two good passes have secured. `last` is
    the direction of the last change of rung, `gained` the rungs gained since the last fall.
    """

    piece: str
    key: str
    hands: Hands
    goal: float
    tempo: float
    step: float = WIDEST
    good: int = 0
    failed: int = 0
    highest: float | None = None
    last: Literal["", "up", "down"] = ""
    gained: int = 0

    @property
    def rung(self) -> Rung:
        """The rung to play next."""
        return Rung(self.tempo, criteria_at(self.tempo, self.goal))

    @property
    def done(self) -> bool:
        """Whether the piece's own tempo is secure."""
        return self.highest is not None and self.highest >= self.goal


def begin(piece: str, key: str, hands: Hands, goal: float) -> Ladder:
    """The foot of a ladder, at six tenths of the piece's own tempo.

    Raises InputError for a tempo no tactus can be followed at.
    """
    if not SLOWEST <= goal <= FASTEST:
        raise InputError(
            f"{piece} cannot be practised at {goal:g} beats a minute",
            remedy=f"choose a tempo from {SLOWEST:g} to {FASTEST:g}",
        )
    return Ladder(piece, key, hands, goal, _whole(max(SLOWEST, _BEGIN * goal)))


Place = tuple[str, str, Hands]  # piece, key, hands


def ladders(
    results: Iterable[PassResult],
    goals: Mapping[str, float],
    known: Mapping[Place, Ladder] | None = None,
) -> Mapping[Place, Ladder]:
    """Every ladder the log knows of, after these passes in order; `goals` are the own tempi by
    piece. What has no goal is on no ladder. `known` are the ladders as they were before."""
    found = dict(known or {})
    for result in results:
        piece = base(result.exercise_id)
        if result.tempo is not None and result.whole and piece in goals:
            place = (piece, result.key, result.hands)
            ladder = found.get(place) or taken_up(found, place, goals[piece])
            found[place] = climbed(ladder, result)
    return found


def taken_up(known: Mapping[Place, Ladder], place: Place, goal: float) -> Ladder:
    """The ladder where it was left; else a new one, begun higher if the piece is known in another
    key or with other hands."""
    if place in known:
        return known[place]
    ladder = begin(*place, goal)
    elsewhere = [
        _whole(_ELSEWHERE * one.highest)
        for (piece, _, _), one in known.items()
        if piece == place[0] and one.highest is not None
    ]
    # the tempo written for the piece may have been lowered since
    return replace(ladder, tempo=min(goal, max([ladder.tempo, *elsewhere])))


def climbed(ladder: Ladder, result: PassResult) -> Ladder:
    """The ladder after one more pass; the same ladder if the pass has no bearing on it."""
    match verdict_at(ladder, result):
        case "no matter":
            return ladder
        case "good":
            assert result.tempo is not None
            if result.tempo > ladder.tempo:  # more was shown than was asked
                ladder = replace(ladder, tempo=min(result.tempo, ladder.goal), good=0)
            good = ladder.good + 1
            return _up(ladder) if good == 2 else replace(ladder, good=good, failed=0)
        case "failed":
            failed = ladder.failed + 1
            return _down(ladder) if failed == 2 else replace(ladder, failed=failed, good=0)


def fold(ladder: Ladder, results: Iterable[PassResult]) -> Ladder:
    """The ladder after all these passes, in order."""
    for result in results:
        ladder = climbed(ladder, result)
    return ladder


def verdict_at(ladder: Ladder, result: PassResult) -> Verdict:
    """What a pass says about the present rung.

    A good pass counts at the rung's tempo or above, a failure at the rung's tempo or below: a
    failed attempt above it says nothing about the rung. Either is measured by what is asked at its
    own tempo. A pass broken off fails only if more was wrong by then than that lets pass.
    """
    same = (base(result.exercise_id), result.key, result.hands) == (
        ladder.piece,
        ladder.key,
        ladder.hands,
    )
    if not same or result.tempo is None or result.time is None or not result.whole:
        return "no matter"
    asked = criteria_at(result.tempo, ladder.goal)
    if not result.finished:
        if result.judged < _FALSE_START or result.tempo > ladder.tempo:
            return "no matter"
        right = (result.judged - result.wrong) / result.judged
        return "failed" if right < asked.harmony or result.gross > asked.gross else "no matter"
    if all(line.met for line in compared(asked, result)):
        return "good" if result.tempo >= ladder.tempo else "no matter"
    return "failed" if result.tempo <= ladder.tempo else "no matter"


@dataclass(frozen=True, slots=True)
class Line:
    """One criterion beside what was played: `needed` and `reached` are shares, or counts."""

    name: Literal["harmony", "time", "movement", "gross faults"]
    needed: float
    reached: float
    met: bool


def compared(criteria: Criteria, result: PassResult) -> tuple[Line, ...]:
    """The criteria of a rung beside a pass, one line each."""
    pairs: tuple[tuple[Literal["harmony", "time", "movement"], float, float], ...] = (
        ("harmony", criteria.harmony, result.harmony),
        ("time", criteria.time, result.time or 0.0),
        ("movement", criteria.movement, result.movement),
    )
    shares = tuple(Line(name, need, got, got >= need) for name, need, got in pairs)
    gross = Line("gross faults", criteria.gross, result.gross, result.gross <= criteria.gross)
    return (*shares, gross)


def criteria_at(tempo: float, goal: float) -> Criteria:
    """What a pass has to reach at a tempo: the nearer to the piece's own, the more."""
    return next(criteria for share, criteria in _CRITERIA if tempo <= share * goal)


def in_words(criteria: Criteria) -> str:
    """The criteria as one would announce them before a pass."""
    gross = {0: "no gross fault", 1: "at most one gross fault"}.get(
        criteria.gross, f"at most {criteria.gross} gross faults"
    )
    return (
        f"{criteria.harmony:.0%} of the chords complete, {criteria.time:.0%} in time, "
        f"{criteria.movement:.0%} of the successions clean, {gross}"
    )


def _up(ladder: Ladder) -> Ladder:
    step = _halved(ladder.step) if ladder.last == "down" else ladder.step
    gained = 1 if ladder.last == "down" else ladder.gained + 1
    if gained == 3:
        step, gained = min(WIDEST, 2 * step), 0
    highest = ladder.tempo if ladder.highest is None else max(ladder.tempo, ladder.highest)
    tempo = min(ladder.goal, max(ladder.tempo + 1, _whole(ladder.tempo * (1 + step))))
    return replace(
        ladder, tempo=tempo, step=step, good=0, failed=0, highest=highest, last="up", gained=gained
    )


def _down(ladder: Ladder) -> Ladder:
    step = _halved(ladder.step) if ladder.last == "up" else ladder.step
    tempo = max(SLOWEST, min(ladder.tempo - 1, _whole(ladder.tempo * (1 - step))))
    return replace(ladder, tempo=tempo, step=step, good=0, failed=0, last="down", gained=0)


def _halved(step: float) -> float:
    return max(NARROWEST, step / 2)


def _whole(tempo: float) -> float:
    return float(round(tempo))
