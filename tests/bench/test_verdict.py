"""How long a chord takes from its last key to its verdict, and what the loop costs.

The figures are printed, never failed on: run `pytest tests/bench/test_verdict.py`. The times that
matter are ratios of a frame (16.7 ms at 60 frames a second).
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from trainer.judging.judge import Judge, Progress
from trainer.judging.passes import judged
from trainer.judging.performance import perform as hear
from trainer.judging.take import Conditions
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyDown, KeyEvent
from trainer.practice.demo import perform, realization
from trainer.practice.effects import Begin, MomentJudged, Tick
from trainer.practice.session import Session, feed, start
from trainer.resources import exercises_folder
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise

FRAME_MS = 1000 / 60
TEMPO = Conditions(tempo=72.0)


@pytest.fixture(scope="module")
def piece() -> Exercise:
    return read_exercise(exercises_folder() / "evening-lamp.krn")


def events_of(piece: Exercise, origin: float) -> list[KeyEvent]:
    return list(perform(piece, TEMPO, realization(piece, TEMPO), origin, seed=1))


def before_each(
    piece: Exercise, wanted: Callable[[KeyEvent], bool]
) -> list[tuple[Session, KeyEvent]]:
    """The session as it is just before each of the events wanted."""
    session, _ = feed(start(piece, TEMPO, 0.0), Begin(), 0.0)
    assert session.origin is not None
    found = []
    now = 0.0
    for event in events_of(piece, session.origin):
        while now + 0.016 < event.time:
            now += 0.016
            session, _ = feed(session, Tick(), now)
        if wanted(event):
            found.append((session, event))
        session, _ = feed(session, event, event.time)
    return found


def share_of_a_frame(benchmark: BenchmarkFixture) -> None:
    if benchmark.stats is not None:
        median = 1000 * benchmark.stats.stats.median
        benchmark.extra_info["part of a frame"] = round(median / FRAME_MS, 4)


def test_last_key_of_a_chord_to_its_verdict_with_all_rules(
    benchmark: BenchmarkFixture, piece: Exercise
) -> None:
    judge = Judge(piece, TEMPO)
    keys = [
        tuple(sorted({pitch.midi for pitch in voicing if pitch is not None}))
        for voicing in realization(piece, TEMPO)
    ]
    progress = [Progress()]
    for index, chord in enumerate(keys):
        progress.append(judge.chord(progress[-1], index, chord)[0])

    def all_chords() -> None:
        for index, chord in enumerate(keys):
            judge.chord(progress[index], index, chord)

    benchmark(all_chords)
    if benchmark.stats is not None:
        each = 1000 * benchmark.stats.stats.median / len(keys)
        benchmark.extra_info["ms a chord"] = round(each, 4)
        benchmark.extra_info["part of a frame"] = round(each / FRAME_MS, 4)


def test_a_key_down_to_the_figure_lens(benchmark: BenchmarkFixture, piece: Exercise) -> None:
    session, event = before_each(piece, lambda e: isinstance(e, KeyDown))[20]
    benchmark(feed, session, event, event.time)
    share_of_a_frame(benchmark)


def test_a_frame_in_which_nothing_happens(benchmark: BenchmarkFixture, piece: Exercise) -> None:
    session, event = before_each(piece, lambda e: isinstance(e, KeyDown))[20]
    benchmark(feed, session, Tick(), event.time - 0.001)
    share_of_a_frame(benchmark)


def test_a_frame_that_judges_a_moment(benchmark: BenchmarkFixture, piece: Exercise) -> None:
    """The chord finds its moment, is judged with all rules, and the effects are made."""
    session, _ = feed(start(piece, TEMPO, 0.0), Begin(), 0.0)
    assert session.origin is not None
    ahead = events_of(piece, session.origin)
    now, caught = 0.0, None
    while caught is None:
        now += 0.016
        while ahead and ahead[0].time <= now:
            event = ahead.pop(0)
            session, _ = feed(session, event, event.time)
        after, effects = feed(session, Tick(), now)
        if any(isinstance(e, MomentJudged) for e in effects) and session.current > 6:
            caught = session
        else:
            session = after
    benchmark(feed, caught, Tick(), now)
    share_of_a_frame(benchmark)


def test_a_whole_pass_judged_again_from_its_events(
    benchmark: BenchmarkFixture, piece: Exercise
) -> None:
    session = start(piece, TEMPO, 0.0)
    events = tuple(events_of(piece, 5.0))

    def judged_again() -> PassVerdict:
        task, judge = session.task, session.judge
        return judged(task, judge, hear(task, events, 5.0, (), judge.complete), 5.0, ())

    verdict = benchmark(judged_again)
    assert verdict.harmony.complete == verdict.harmony.judged
    if benchmark.stats is not None:
        each = 1000 * benchmark.stats.stats.median / len(piece.moments)
        benchmark.extra_info["ms a moment"] = round(each, 4)
