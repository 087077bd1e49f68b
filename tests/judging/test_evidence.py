"""What a wrong chord says of its figuring, in memory and on the ladder; common practice, no
source."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from random import Random

import pytest
from sqlalchemy import select

from tests.journal.samples import STARTED
from trainer.journal.schema import sight
from trainer.journal.store import Journal
from trainer.journal.writer import Writer
from trainer.judging.causes import explained
from trainer.judging.evidence import EVIDENCE, missed
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions, Take
from trainer.judging.task import task
from trainer.judging.verdict import WHYS, PassVerdict
from trainer.practice.demo import realization
from trainer.practice.ladder import begin, verdict_at
from trainer.practice.memory import Memory, first_seen, remembered
from trainer.practice.mishaps import MISHAPS, MishapKind, somewhere
from trainer.practice.result import PassResult, result_of
from trainer.review.results import pass_results
from trainer.review.standings import _Thoughts
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.score.library import Library

TEMPI = (60.0, None)
PIECES = ("cold-stove", "candle-ends", "bellows", "dundee", "blue-hour", "all-souls-lane")


@cache
def happened(kind: MishapKind, tempo: float | None) -> tuple[Exercise, Take, PassVerdict, int]:
    """A pass in which that happens at one chord under a figuring, everything else right."""
    for number in range(60):
        exercise = Library().find(PIECES[number % len(PIECES)])
        conditions = Conditions(tempo=tempo)
        judge = Judge(exercise, conditions)
        voicings = realization(exercise, conditions)
        asked = task(exercise, conditions)
        found = somewhere(asked, voicings, kind, Random(number), judge.complete)
        if found is None:
            continue
        at, come_out = found
        played = (*voicings[:at], come_out, *voicings[at + 1 :])
        keys = {n: [p.midi for p in one if p is not None] for n, one in enumerate(played)}
        verdict = explained(judge, judge.judge_chords(keys))
        if [(one.kind, one.moment) for one in verdict.causes] == [(kind, at)]:
            take = Take(exercise.id, write_exercise(exercise), conditions, (), 0.0, STARTED)
            return exercise, take, verdict, at
    raise AssertionError(f"{kind} nowhere happens alone")


def result(exercise: Exercise, take: Take, verdict: PassVerdict) -> PassResult:
    return result_of(take, verdict, exercise, finished=True, seconds=30.0)


def test_every_cause_has_its_evidence_and_its_reason() -> None:
    assert set(EVIDENCE) == set(WHYS)
    assert all(one.reason for one in EVIDENCE.values())
    assert all(one.at_leisure or not one.in_tempo for one in EVIDENCE.values())


@pytest.mark.parametrize("tempo", TEMPI, ids=["in tempo", "at leisure"])
@pytest.mark.parametrize("kind", MISHAPS)
def test_a_chord_wrong_for_another_reason_than_its_figuring_is_no_answer(
    kind: MishapKind, tempo: float | None
) -> None:
    exercise, take, verdict, _ = happened(kind, tempo)
    without = result(exercise, take, replace(verdict, causes=()))
    answers = result(exercise, take, verdict).answers
    wrong = [answer for answer in answers if not answer.right]
    if missed(kind, in_tempo=tempo is not None):
        assert len(answers) == len(without.answers) and len(wrong) == 1
    else:
        assert len(answers) == len(without.answers) - 1 and not wrong


def test_where_the_bass_is_misread_the_figuring_is_not_forgotten() -> None:
    """It was realized rightly over the bass that was read: its review is that of the other chords
    of the pass under it, if there are any."""
    exercise, take, verdict, at = happened("bass-misread", None)
    assert verdict.moments[at].outcome == "wrong-bass"
    without = result(exercise, take, replace(verdict, causes=()))
    (item,) = [answer.item for answer in without.answers if not answer.right]
    asked = Memory({item: first_seen(item, STARTED)})
    known = remembered([result(exercise, take, verdict)], {}, asked).known[item]
    singly = remembered([without], {}, asked).known[item]
    assert (known.wrong, known.slow) == (0, 0)
    assert singly.wrong + singly.slow == 1


def test_what_follows_from_a_wrong_chord_spoils_none_after_it() -> None:
    """The gross faults from it to the next chord: that was right, and its figuring known."""
    for kind in MISHAPS:
        exercise, take, verdict, at = happened(kind, 60.0)
        heavy = [
            n
            for n in verdict.following
            if verdict.faults[n].weight == "gross" and verdict.faults[n].moments[-1] > at
        ]
        if heavy:
            break
    else:
        raise AssertionError("nothing heavy follows from any of them")
    without = result(exercise, take, replace(verdict, causes=()))
    assert sum(not one.right for one in without.answers) >= 2
    assert sum(not one.right for one in result(exercise, take, verdict).answers) <= 1


def test_a_slip_does_not_cost_a_rung_by_what_follows_from_it() -> None:
    """One wrong chord among many: it is counted in harmony, and what follows from it nowhere."""
    found = set()
    for kind in MISHAPS:
        exercise, take, verdict, _ = happened(kind, 60.0)
        ladder = replace(begin(exercise.id, str(exercise.key), "1+3", 60.0), tempo=60.0)
        counted = Judge(exercise, take.conditions).pass_verdict(verdict.moments, verdict.faults)
        singly = replace(result(exercise, take, counted), time=1.0)
        once = replace(result(exercise, take, verdict), time=1.0)
        assert once.harmony == singly.harmony < 1.0
        assert once.gross <= singly.gross and once.movement >= singly.movement
        found.add((verdict_at(ladder, singly), verdict_at(ladder, once)))
    assert ("failed", "good") in found and ("good", "failed") not in found


@pytest.mark.parametrize("tempo", TEMPI, ids=["in tempo", "at leisure"])
@pytest.mark.parametrize("kind", MISHAPS)
def test_the_log_says_of_a_pass_what_it_said_when_it_ended(
    kind: MishapKind, tempo: float | None, tmp_path: Path
) -> None:
    exercise, take, verdict, _ = happened(kind, tempo)
    with Writer(tmp_path / "log.sqlite") as writer:
        writer.end(writer.begin(take), take, verdict)
    with Journal.open(tmp_path / "log.sqlite") as log:
        (one,) = pass_results(log)
        assert replace(one, seconds=30.0) == result(exercise, take, verdict)


def test_a_standing_asks_the_log_for_the_same_answers(tmp_path: Path) -> None:
    """Of untimed passes: the figurings that were answered, right or not."""
    with Writer(tmp_path / "log.sqlite") as writer:
        expected = []
        for kind in MISHAPS:
            exercise, take, verdict, _ = happened(kind, None)
            thought = tuple(replace(one, think_s=1.5) for one in verdict.moments)
            verdict = replace(verdict, moments=thought)
            writer.end(writer.begin(take), take, verdict)
            expected += [(answer.right, 1.5) for answer in result(exercise, take, verdict).answers]
    with Journal.open(tmp_path / "log.sqlite") as log:
        with log.reading() as connection:
            names = set(connection.execute(select(sight.c.figuring)).scalars())
        found = list(_Thoughts(log, log.players()[0].id, {})._answers(names))
    assert sorted(found) == sorted(expected)
    assert any(not right for right, _ in found)
