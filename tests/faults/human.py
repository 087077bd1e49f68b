"""Passes as people play them, with one thing that happens in each: whether it is named first.

    python -m tests.faults.human                     600 passes
    python -m tests.faults.human --passes 60 --seed 2

Every pass has a touch of its own (tempo, legato, hands and fingers apart, late by a little) and one
incident at a place of its own, or none. The first thing said of it must be that incident, and every
chord after it must be judged as if it had not happened. Each is played into a running pass, frame
by frame; what was said while it went on must be what is said at the end.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from random import Random

from tests.practice.playing import Pass, play
from trainer.judging.judge import Judge, judge_chords
from trainer.judging.passes import judge as judged
from trainer.judging.take import Conditions
from trainer.judging.task import Task, task
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.events import KeyEvent
from trainer.practice import begin_again
from trainer.practice.demo import Manner, perform, realization
from trainer.practice.effects import BegunAgain, Effect, MomentJudged, TakenBack
from trainer.practice.mishaps import MISHAPS, somewhere
from trainer.practice.points import Point, points
from trainer.practice.slips import Slip, SlipKind
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.theory.voicing import Voicing

ORIGIN = 10.0
TIMES = ("late throughout", "stopped", "begun again", "late chord", "left out")
PUT_RIGHT = ("nothing", "corrected", "doubled")  # after which nothing is to be said
INCIDENTS = (*MISHAPS, *TIMES, *PUT_RIGHT)


@dataclass(frozen=True, slots=True)
class Happened:
    """A pass with its incident: what it was, and at which moment (None: everywhere, or nowhere; of
    a new beginning the moment one begins from). `events` are for a pass that begins at `ORIGIN`."""

    exercise: Exercise
    incident: str
    moment: int | None
    conditions: Conditions
    events: tuple[KeyEvent, ...]

    def played(self) -> Pass:
        """Played into a session frame by frame."""

        def at(origin: float) -> list[KeyEvent]:
            return [replace(e, time=e.time - ORIGIN + origin) for e in self.events]

        return play(self.exercise, self.conditions, at, every=0.03)


@cache
def pieces() -> tuple[tuple[Exercise, tuple[Voicing, ...]], ...]:
    """Those with a melody and enough moments that something can happen within, and a realization
    of which nothing is to be said."""
    found = []
    for path in sorted(exercises_folder().glob("*.krn")):
        exercise = read_exercise(path)
        if not exercise.melody or len(exercise.moments) < 12:
            continue
        voicings = realization(exercise, Conditions())
        keys = {n: [p.midi for p in one if p is not None] for n, one in enumerate(voicings)}
        if not judge_chords(exercise, Conditions(), keys).faults:
            found.append((exercise, voicings))
    return tuple(found)


TEMPI = (48.0, 60.0, 72.0, 88.0)


def happened(number: int, seed: int = 1, tempi: Sequence[float] = TEMPI) -> Happened | None:
    """Pass `number`; None where that cannot happen in its piece."""
    chance = Random(f"{seed} {number}")
    incident = INCIDENTS[number % len(INCIDENTS)]
    exercise, voicings = pieces()[number // len(INCIDENTS) % len(pieces())]
    conditions = Conditions(tempo=chance.choice(tempi))
    beat = 60 / (conditions.tempo or 60)
    manner = Manner(
        beat=0.02,
        hands=chance.choice([0.008, 0.02]),
        fingers=0.006,
        bias=chance.uniform(-0.02, 0.03),
        overlap=chance.choice([-0.05, 0.02, 0.12]) * beat,
    )
    slips: list[Slip] = []
    moment: int | None = None
    bent: Callable[[float], float] = lambda since: since  # noqa: E731
    if incident in MISHAPS:
        asked, judging = task(exercise, conditions), Judge(exercise, conditions)
        kind = next(kind for kind in MISHAPS if kind == incident)
        found = somewhere(asked, voicings, kind, chance, judging.complete)
        if found is None:
            return None
        moment, come_out = found
        voicings = (*voicings[:moment], come_out, *voicings[moment + 1 :])
    elif incident == "late throughout":
        manner = replace(manner, bias=chance.choice([0.5, 1.0, 2.0]) * beat)
    else:
        moment = _inner(exercise, voicings, chance)
        if moment is None:
            return None
    if incident == "begun again":
        assert moment is not None
        return _begun_again(exercise, conditions, voicings, manner, moment, chance)
    if incident == "stopped":
        line = task(exercise, conditions).line
        assert line is not None and moment is not None
        at, pause = line.time(moment) - 0.3 * beat, chance.choice([1.0, 1.5, 2.0, 3.0]) * beat
        bent = lambda since: since if since < at else since + pause  # noqa: E731
    kinds: dict[str, SlipKind] = {
        "late chord": "late",
        "left out": "skipped",
        "corrected": "corrected",
        "doubled": "doubled",
    }
    if incident in kinds and moment is not None:
        slips = [Slip(kinds[incident], moment)]
    events = perform(
        exercise, conditions, voicings, ORIGIN, manner=manner, slips=slips, seed=number
    )
    moved = tuple(replace(e, time=ORIGIN + bent(e.time - ORIGIN)) for e in events)
    return Happened(exercise, incident, moment, conditions, moved)


def _begun_again(
    exercise: Exercise,
    conditions: Conditions,
    voicings: Sequence[Voicing],
    manner: Manner,
    stuck: int,
    chance: Random,
) -> Happened:
    """At moment `stuck` a chord goes wrong, or it is only left; a breath, and from an earlier bar
    or phrase on everything once more."""
    asked = task(exercise, conditions)
    first = asked.wanted_from(chance.choice(beginnings(asked, stuck)))
    wrong = [Slip("wrong", stuck)] if chance.random() < 0.5 else []
    breath = chance.uniform(0.7, 4.0)

    right = _playing(exercise, conditions, voicings, manner, [])
    stuck_there = _playing(exercise, conditions, voicings, manner, wrong)
    seed = chance.randrange(1000)
    events = begin_again.begun_again(
        asked, stuck_there, right, ORIGIN, seed, asked.first, stuck, first, breath
    )
    return Happened(exercise, "begun again", first, conditions, events)


def _playing(
    exercise: Exercise,
    conditions: Conditions,
    voicings: Sequence[Voicing],
    manner: Manner,
    slips: Sequence[Slip],
) -> begin_again.Playing:
    return lambda origin, begins, seed: perform(
        exercise,
        conditions,
        voicings,
        origin,
        manner=manner,
        slips=slips,
        seed=seed,
        first=begins,
    )


def beginnings(asked: Task, stuck: int) -> list[int]:
    """Of the bar one got stuck in, of the one before, of the phrase and of the one before."""
    moments, phrases = asked.exercise.moments, asked.exercise.phrases
    bars = sorted({m.bar for m in moments if m.bar <= moments[stuck].bar})[-2:]
    here = [p.first for p in phrases if p.first <= stuck][-2:]
    firsts = {next(m.index for m in moments if m.bar == bar) for bar in bars} | set(here)
    return sorted(first for first in firsts if asked.wanted_from(first) < stuck)


def _inner(exercise: Exercise, voicings: tuple[Voicing, ...], chance: Random) -> int | None:
    """A chord that does not sound like its neighbours: which of two alike was left out or struck
    late, nobody can tell."""
    classes = [{p.midi % 12 for p in one if p is not None} for one in voicings]
    fit = [
        m.index
        for m in exercise.moments[3:-3]
        if m.chord
        and m.bass_struck
        and m.melody_struck
        and len(classes[m.index] & (classes[m.index - 1] | classes[m.index + 1])) <= 2
        and float(m.duration / m.metre.beat_length) >= 1
    ]
    return chance.choice(fit) if fit else None


def said_live(effects: Iterable[Effect]) -> dict[int, MomentVerdict]:
    """The last word on each moment while the pass went on."""
    said: dict[int, MomentVerdict] = {}
    for effect in effects:
        match effect:
            case MomentJudged(verdict):
                said[verdict.index] = verdict
            case BegunAgain() | TakenBack():
                said = {n: one for n, one in said.items() if n < effect.moment}
    return said


def otherwise(made: Pass) -> str:
    """At which moments other keys count at the end than was said live, and whether the take says
    otherwise than the pass; '' where nothing is amiss."""
    verdict, live = made.session.verdict, said_live(made.effects)
    assert verdict is not None
    other = [m.index for m in verdict.moments if m.index in live and m.keys != live[m.index].keys]
    anew = str(other) if other else ""
    told = [moment.index for moment in made.before_its_end]
    if told != sorted(set(told)):
        anew += " a moment was said twice"
    if judged(made.session.take) != verdict:
        anew += " the take says otherwise than the pass"
    return anew


def amiss(one: Happened, verdict: PassVerdict, begun_again: Sequence[int]) -> tuple[str, str]:
    """What is said first where it should be the incident, and which other chords are judged
    otherwise than right; '' where nothing is amiss."""
    said = points(Judge(one.exercise, one.conditions), verdict, (), begun_again)
    first = said[0] if said else None
    wrong = {m.index for m in verdict.moments if m.outcome != "complete"}
    if one.incident in MISHAPS or one.incident == "left out":
        wrong.discard(one.moment if one.moment is not None else -1)
    derailed = f"{sorted(wrong)} {verdict.extra}" if wrong or verdict.extra else ""
    return ("" if _is(one, first) else str(first)), derailed


def _is(one: Happened, first: Point | None) -> bool:
    if one.incident in PUT_RIGHT:
        return first is None
    if first is None:
        return False
    if one.incident in MISHAPS:
        return first.cause == one.incident and first.moments[-1] == one.moment
    if one.incident == "begun again":
        return first.kind == "again" and first.moments[0] == one.moment
    if one.incident == "left out":
        return first.kind == "skipped" and first.moments[0] == one.moment
    begins = 0 if one.incident == "late throughout" else one.moment
    return first.kind == "late" and first.moments[0] == begins


def run(passes: int, seed: int) -> tuple[Counter[str], list[str], list[str], list[str]]:
    """How often each happened; where another thing was said first; where it derailed; where the end
    says otherwise than was said live."""
    tried: Counter[str] = Counter()
    misnamed: list[str] = []
    derailed: list[str] = []
    changed: list[str] = []
    for number in range(passes):
        one = happened(number, seed)
        if one is None:
            continue
        tried[one.incident] += 1
        made = one.played()
        assert made.session.verdict is not None
        named, others = amiss(one, made.session.verdict, made.session.take.begun_again)
        anew = otherwise(made)
        where = f"{number} {one.incident} {one.exercise.id} {one.moment}"
        if named:
            misnamed.append(f"{where}: {named[:160]}")
        if others:
            derailed.append(f"{where}: {others[:160]}")
        if anew:
            changed.append(f"{where}: {anew[:160]}")
    return tried, misnamed, derailed, changed


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--passes", type=int, default=600)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    tried, *found = run(asked.passes, asked.seed)
    misnamed, derailed, _ = found
    count = sum(tried.values())
    for incident in INCIDENTS:
        print(f"{incident:24}{tried[incident]:6}")
    titles = ("misnamed", "derailed", "otherwise at the end")
    for title, lines in zip(titles, found, strict=True):
        print(f"{title}: {len(lines)} of {count}, {100 * len(lines) / count:.1f} in a hundred")
        for line in lines:
            print(f"  {line}")
    return int(len(misnamed) > 0.05 * count or len(derailed) > 0.01 * count)


if __name__ == "__main__":
    sys.exit(main())
