"""How long realizing, counting and judging take, and against music21 how many times less.

Nothing here fails on time. A solver is made anew in every round; what it may reuse from the round
before are the cached voicings of single chords (`trainer.theory.realize.reach`) and sonorities,
as in the running program; the first test of each kind clears them.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import pairwise
from statistics import median, quantiles

import pytest
from music21 import pitch
from music21.figuredBass import possibility, rules
from pytest_benchmark.fixture import BenchmarkFixture

from tests.reference.music21_rules import Music21Rules, count_as_music21, places_of
from tests.reference.test_music21_counts import BY_STEP, EXAMPLES, example
from trainer.judging.judge import Judge, Progress
from trainer.judging.take import Conditions
from trainer.score.exercise import Exercise
from trainer.score.library import Library
from trainer.theory.key import Key
from trainer.theory.realize import Solver
from trainer.theory.realize.reach import _full

MOMENTS = 40


@cache
def chorale() -> Exercise:
    """Forty moments under a melody: a shipped setting, sung as often as it takes."""
    verse = Library().find("evening-rain")
    times = -(-MOMENTS // len(verse.moments))

    def sung(voice: tuple) -> tuple:
        return tuple(
            replace(n, onset=n.onset + verse.length * i) for i in range(times) for n in voice
        )

    figures = tuple((at + verse.length * i, f) for i in range(times) for at, f in verse.figures)
    return replace(
        verse, bass=sung(verse.bass), melody=sung(verse.melody), figures=figures, alto=(), tenor=()
    )


def solver() -> Solver:
    return Solver(chorale().moments[:MOMENTS])


def cold() -> Solver:
    _full.cache_clear()
    return solver()


@pytest.mark.parametrize("made", [solver, cold])
def test_the_best_realization_of_forty_moments(
    benchmark: BenchmarkFixture, made: Callable[[], Solver]
) -> None:
    found = benchmark(lambda: made().best())
    assert len(found[0].voicings) == MOMENTS
    of_the(benchmark, 10)


@pytest.mark.parametrize("made", [solver, cold])
def test_the_ten_best_realizations_of_forty_moments(
    benchmark: BenchmarkFixture, made: Callable[[], Solver]
) -> None:
    assert len(benchmark(lambda: made().best(10))) == 10
    of_the(benchmark, 30)


@pytest.mark.parametrize("made", [solver, cold])
def test_the_number_of_all_realizations_of_forty_moments(
    benchmark: BenchmarkFixture, made: Callable[[], Solver]
) -> None:
    assert benchmark(lambda: made().count()) > 10**18
    of_the(benchmark, 10)


@pytest.mark.parametrize("name", EXAMPLES)
def test_counting_music21s_examples_as_music21_does(name: str) -> None:
    key = Key.parse(EXAMPLES[name])
    line = example(name)
    theirs = rules.Rules()
    theirs.partMovementLimits = list(BY_STEP)

    def ours() -> int:
        return count_as_music21(places_of(line, key), Music21Rules(part_movement=BY_STEP))

    def music21s() -> int:
        return line.realize(theirs).getNumSolutions()

    assert ours() == music21s()  # and both have filled their caches
    fast, slow = least(ours, 20), least(music21s, 3)
    print(f"\nexample {name}: {1e3 * slow:.0f} ms / {1e3 * fast:.2f} ms = {slow / fast:.0f} times")


def test_a_chord_is_judged(benchmark: BenchmarkFixture) -> None:
    """From the last key of a chord to all rules in four voices, along forty chords."""
    exercise = chorale()
    judge = Judge(exercise, Conditions())
    voicings = solver().best()[0].voicings
    keys = [[p.midi for p in voicing if p is not None] for voicing in voicings]
    spent: list[float] = []

    def phrase() -> None:
        progress = Progress()
        for index, chord in enumerate(keys):
            start = time.perf_counter()
            progress, _, _ = judge.chord(progress, index, chord)
            spent.append(time.perf_counter() - start)

    benchmark(phrase)
    if benchmark.disabled:
        return
    cuts = quantiles(spent, n=100)
    print(f"\na chord: median {1e3 * cuts[49]:.3f} ms, 99 of 100 within {1e3 * cuts[98]:.3f} ms")


def test_two_chords_judged_and_looked_at_by_music21() -> None:
    """The same successions of the same forty chords, both in this run: ours with harmony and every
    rule, from MIDI keys; of music21 its checks of two possibilities, consecutives, hidden ones and
    overlaps, from pitches that are made already."""
    voicings = solver().best()[0].voicings
    chords = [[p for p in one if p is not None] for one in voicings]
    keys = [sorted(p.midi for p in chord) for chord in chords]
    theirs = [tuple(pitch.Pitch(midi=p.midi) for p in chord) for chord in chords]
    judge = Judge(chorale(), Conditions())
    progress = [Progress()]
    for index, chord in enumerate(keys):
        progress.append(judge.chord(progress[-1], index, chord)[0])
    checks = (
        possibility.parallelFifths,
        possibility.parallelOctaves,
        possibility.hiddenFifth,
        possibility.hiddenOctave,
        possibility.voiceOverlap,
    )

    def judged() -> list[float]:
        return [
            _seconds(lambda i=i: judge.chord(progress[i], i, keys[i])) for i in range(1, len(keys))
        ]

    def looked_at() -> list[float]:
        return [
            _seconds(lambda a=a, b=b: [check(a, b) for check in checks])
            for a, b in pairwise(theirs)
        ]

    for once in (judged, looked_at):
        once()  # what both keep is kept
    ours, music21s = (median([t for _ in range(20) for t in f()]) for f in (judged, looked_at))
    print(f"\ntwo chords: {1e3 * ours:.3f} ms, music21 {1e3 * music21s:.3f} ms:", end=" ")
    print(f"{ours / music21s:.2f} times as long")
    found = [judge.chord(progress[i], i, keys[i])[2] for i in range(1, len(keys))]
    for faults, (before, after) in zip(found, pairwise(theirs), strict=True):
        named = {fault.rule for fault in faults}
        fifths, octaves = (check(before, after) for check in checks[:2])
        assert (fifths, octaves) == ("consecutive-fifths" in named, "consecutive-octaves" in named)


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def of_the(benchmark: BenchmarkFixture, allowed: float) -> None:
    """Put down what part of the milliseconds allowed the median takes."""
    if benchmark.disabled:
        return
    median = 1e3 * benchmark.stats.stats.median
    benchmark.extra_info[f"of_the_{allowed}_ms_allowed"] = round(median / allowed, 3)
    print(f"\n{benchmark.name}: {median:.2f} ms of {allowed} ms")


def least(work: Callable[[], object], times: int) -> float:
    """Seconds of the quickest of so many runs."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return min(spent)
