"""Is what is said while a pass goes on what is said when it is over?

`python -m tests.faults.live_and_final [--passes N] [--seed N]` plays N passes (default 1000) of
pieces of the library with voicings by chance, legato of several degrees and mistakes, and compares
the marks given live with those of the end, wherever the voices were not divided anew. Prints how
many faults were compared, how many came or went at the end, at how many moments the division
changed or other keys count, whether the page names just these, how many faults of resolution
were not pending, and how many marks are gathered into one because they have one cause.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

from trainer.judging.take import Conditions
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.practice.demo import Manner, perform
from trainer.practice.effects import Begin, Effect, MomentJudged, SessionEvent, Tick
from trainer.practice.session import Session, feed, start
from trainer.practice.slips import Slip
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.theory.fault import Fault
from trainer.theory.realize.solver import Solver
from trainer.theory.voicing import Voicing

TICK = 0.05  # seconds
RESOLUTIONS = (
    "unresolved-dissonance",
    "delayed-resolution",
    "tritone-astray",
    "leading-tone-astray",
)
CONDITIONS = Conditions(tempo=80.0, hands="2+2")


@dataclass
class Compared:
    """`went` and `came` count faults by rule that only live or only the end knows; `divided` are
    moments whose voices were divided anew, `heard` those at which other keys count in the end,
    `unnamed` those of both that the session does not name and any other that it does. `resolutions`
    are faults of resolution said live, `unforeseen` those of which nothing was pending before.
    `gathered` are faults whose mark gives way to that of their cause, `causeless` the chords with a
    cause that have no mark then."""

    passes: int = 0
    faults: int = 0
    divided: int = 0
    unnamed: int = 0
    heard: int = 0
    resolutions: int = 0
    unforeseen: int = 0
    gathered: int = 0
    causeless: int = 0
    went: Counter[str] = field(default_factory=Counter)
    came: Counter[str] = field(default_factory=Counter)


def by_chance(exercise: Exercise, chance: Random) -> list[Voicing]:
    """The best realization with half of its chords exchanged for any within reach."""
    solver = Solver(
        exercise.moments,
        rules=(),
        hands="2+2",
        struck_five_is_diminished=exercise.struck_five_is_diminished,
    )
    found = list(solver.best(1)[0].voicings)
    starts = solver.choices.starts
    for moment in exercise.moments:
        count = int(starts[moment.index + 1] - starts[moment.index])
        if moment.chord and count and chance.random() < 0.5:
            found[moment.index] = solver.choices.voicing(moment.index, chance.randrange(count))
    return found


def compare(passes: int, seed: int = 1) -> Compared:
    """Play and compare."""
    chance = Random(seed)
    pieces = sorted(exercises_folder().glob("*.krn"))
    found = Compared()
    for number in range(passes):
        exercise = read_exercise(chance.choice(pieces))
        slips = []
        if number % 2:
            kinds = ("wrong", "late", "skipped", "extra")
            moments = len(exercise.moments)
            slips = [Slip(chance.choice(kinds), chance.randrange(moments)) for _ in range(2)]
        manner = Manner(overlap=chance.choice((-0.01, 0.05, 0.15, 0.25)))
        _one(exercise, by_chance(exercise, chance), manner, slips, number, found)
    return found


def _one(
    exercise: Exercise,
    voicings: Sequence[Voicing],
    manner: Manner,
    slips: Sequence[Slip],
    seed: int,
    found: Compared,
) -> None:
    session, _ = feed(start(exercise, CONDITIONS, 0.0, ways=False), Begin(), 0.0)
    assert session.origin is not None
    events: list[SessionEvent] = list(
        perform(
            exercise,
            CONDITIONS,
            voicings,
            session.origin,
            manner=manner,
            slips=slips,
            seed=seed,
        )
    )
    live: dict[int, MomentVerdict] = {}
    faults: list[Fault] = []

    def take(before: Session, effects: Sequence[Effect]) -> None:
        bound = {one.pitch for one in before.pending}
        heard = before.moments[-1].voicing if before.moments else None
        judged = [effect for effect in effects if isinstance(effect, MomentJudged)]
        for effect in judged:
            live[effect.verdict.index] = effect.verdict
            faults.extend(effect.faults)
        for fault in judged[0].faults if judged else ():
            # a note that no voice had a moment ago has one now: the division has changed
            if fault.rule in RESOLUTIONS and heard and fault.pitches[0] in heard:
                found.resolutions += 1
                found.unforeseen += fault.pitches[0] not in bound

    now = 0.0
    while session.stage != "ended":
        now += TICK
        while events and events[0].time <= now:  # type: ignore[union-attr]
            before = session
            session, effects = feed(session, events.pop(0), now)
            take(before, effects)
        before = session
        session, effects = feed(session, Tick(), now)
        take(before, effects)
    assert session.verdict is not None
    assert not session.pending
    _count(live, faults, session, session.verdict, found)


def _count(
    live: dict[int, MomentVerdict],
    faults: Sequence[Fault],
    session: Session,
    last: PassVerdict,
    found: Compared,
) -> None:
    same, anew = set(), set()
    for moment in last.moments:
        before = live.get(moment.index)
        if before is None or before.keys != moment.keys:
            if before is not None or moment.keys:
                found.heard += 1
                anew.add(moment.index)
        elif before.voicing != moment.voicing:
            found.divided += 1
            anew.add(moment.index)
        else:
            same.add(moment.index)
    found.unnamed += len(anew ^ set(session.anew))
    known = {moment.index for moment in last.moments}

    def settled(fault: Fault) -> bool:
        concerned = range(fault.moments[0], fault.moments[-1] + 1)
        return all(index in same for index in concerned if index in known)

    said = {(f.rule, f.weight, f.moments, f.voices) for f in faults if settled(f)}
    end = {(f.rule, f.weight, f.moments, f.voices) for f in last.faults if settled(f)}
    found.gathered += len(last.faults) - len(last.drawn)
    marked = {moment for fault in last.drawn for moment in fault.moments}
    found.causeless += sum(cause.moment not in marked for cause in last.causes)
    found.passes += 1
    found.faults += len(end)
    found.went.update(rule for rule, *_ in said - end)
    found.came.update(rule for rule, *_ in end - said)


def main(arguments: list[str] | None = None) -> int:
    """0 if nothing that was settled has changed, and what was divided anew is named."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--passes", type=int, default=1000)
    asked.add_argument("--seed", type=int, default=1)
    wanted = asked.parse_args(arguments)
    found = compare(wanted.passes, wanted.seed)
    print(f"{found.passes} passes, {found.faults} faults compared")
    print(f"went at the end: {dict(found.went) or 'none'}; came: {dict(found.came) or 'none'}")
    print(f"moments divided anew: {found.divided}; at which other keys count: {found.heard}")
    print(f"moments the page does not name rightly as heard anew: {found.unnamed}")
    print(f"{found.resolutions} faults of resolution, {found.unforeseen} not pending before")
    print(f"marks gathered by causes: {found.gathered}; wrong chords without: {found.causeless}")
    changed = found.went or found.came or found.heard
    holds = not (changed or found.unnamed or found.unforeseen or found.causeless)
    print("HOLDS" if holds else "FAILS")
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
