"""A singable melody by chance: phrases with an arch, mostly by step, leaps that turn back.

Each phrase is drawn note by note from all melodies that reach its last note, each with a
probability that its steps, leaps and its distance from the arch decide: messages run backward
from the close, the drawing runs forward. Heights count scale degrees from the final, 0.
"""

from __future__ import annotations

import random
from fractions import Fraction

from trainer.score.exercise import Note
from trainer.theory.key import Key
from trainer.theory.moment import Metre
from trainer.theory.pitch import Pitch

LOWEST, HIGHEST = 60, 77  # c4 to f5
# how likely an interval is, by the letters it moves
_INTERVALS = {0: 5, 1: 34, -1: 38, 2: 10, -2: 8, 3: 4, -3: 2, 4: 1.2, -4: 0.8}
_TURNS_BACK = 6  # how much likelier a step back is after a leap than any other way on
# where a phrase may rest, by scale degree, and how likely
_RESTS = {1: 3.0, 2: 4.0, 3: 4.0, 5: 3.0}
# a bar's note lengths in beats, and how likely; the second table for steps whose matter needs time
_BARS: dict[int, tuple[tuple[tuple[int, ...], float], ...]] = {
    4: (((1, 1, 1, 1), 6), ((2, 1, 1), 2), ((1, 1, 2), 2), ((2, 2), 1)),
    3: (((2, 1), 5), ((1, 1, 1), 3), ((3,), 0.6)),
    2: (((1, 1), 5), ((2,), 1)),
}
_BROAD: dict[int, tuple[tuple[tuple[int, ...], float], ...]] = {
    4: (((1, 1, 1, 1), 2), ((2, 1, 1), 3), ((1, 1, 2), 3), ((2, 2), 4)),
    3: (((2, 1), 6), ((1, 1, 1), 2), ((3,), 1.5)),
    2: (((1, 1), 3), ((2,), 3)),
}


def phrase_bars(metre: Metre) -> int:
    """How many bars make a phrase of about eight beats."""
    return max(1, round(8 / metre.beats)) if metre.beats != 3 else 4


def melody(
    key: Key, metre: Metre, bars: int, *, upbeat: bool, broad: bool, chance: random.Random
) -> tuple[Note, ...]:
    """`bars` full bars in phrases, each with a fermata on its last note.

    With an upbeat every phrase begins one beat before its bar and ends one beat earlier. `broad`
    asks for longer notes, under which the bass or a suspension can move.
    """
    lowest = _lowest_height(key)
    each = phrase_bars(metre)
    phrases = max(1, bars // each)
    lengths = [each] * (phrases - 1) + [bars - each * (phrases - 1)]
    notes: list[Note] = []
    onset = Fraction(0)
    before: int | None = None
    for number, length in enumerate(lengths):
        durations = _rhythm(metre, length, upbeat, broad, chance)
        last = number == phrases - 1
        heights = _heights(len(durations), key, lowest, last, before, chance)
        before = heights[-1]
        for place, (height, beats, pitch) in enumerate(
            zip(heights, durations, _spelled(heights, key), strict=True)
        ):
            assert height is not None
            duration = beats * metre.beat_length
            notes.append(Note(onset, duration, pitch, fermata=place == len(heights) - 1))
            onset += duration
    return tuple(notes)


def _rhythm(metre: Metre, bars: int, upbeat: bool, broad: bool, chance: random.Random) -> list[int]:
    table = (_BROAD if broad else _BARS)[metre.beats]
    cells = [cell for cell, _ in table]
    weights = [weight for _, weight in table]
    durations: list[int] = [1] if upbeat else []
    for _ in range(bars - 1):
        durations += chance.choices(cells, weights)[0]
    rest = metre.beats - (1 if upbeat else 0)
    close: dict[int, tuple[tuple[int, ...], ...]] = {
        1: ((1,),),
        2: ((2,), (1, 1)),
        3: ((1, 2), (1, 1, 1)) if upbeat else ((3,),),
        4: ((1, 1, 2), (2, 2)),
    }
    return durations + list(chance.choice(close[rest]))


def _lowest_height(key: Key) -> int:
    """The lowest height inside the compass, that of the final between c4 and b4 being 0."""
    final = _pitch(0, key).midi
    height = 0
    while _pitch(height - 1, key).midi >= LOWEST and height > -5:
        height -= 1
    return height if final >= LOWEST else 0


def _pitch(height: int, key: Key) -> Pitch:
    octave, step = divmod(key.final.step + height, 7)
    return Pitch(step, key.alter(step), 4 + octave)


def _heights(
    count: int, key: Key, lowest: int, last: bool, before: int | None, chance: random.Random
) -> list[int]:
    span = [h for h in range(lowest, lowest + 11) if _pitch(h, key).midi <= HIGHEST]
    ends = {h: (3.0 if h in (0, 7) else 0.0) if last else _RESTS.get(h % 7 + 1, 0.0) for h in span}
    peak = chance.uniform(0.35, 0.75) * (count - 1)
    top = chance.choice(span[len(span) // 2 :])
    low = chance.choice(span[: len(span) // 2 + 1])
    start = _start(before, span, chance)

    def arch(place: int) -> float:
        reach = peak if place < peak else count - 1 - peak
        away = abs(place - peak) / max(1.0, reach)
        return top - (top - low) * away * away

    def weight(place: int, before_last: int, a: int, b: int) -> float:
        move = b - a
        likely = float(_INTERVALS.get(move, 0.0))
        if key.is_minor and {a % 7, b % 7} == {5, 6}:
            return 0.0 if move > 0 else likely * 0.5  # no augmented second upward
        if abs(before_last) > 1:
            turned = abs(move) == 1 and (move > 0) != (before_last > 0)
            likely *= _TURNS_BACK if turned else 0.25
        if place == count - 1:  # the close is reached by step
            likely *= 1.0 if abs(move) == 1 else 0.02
        return float(likely * 2.0 ** (-abs(b - arch(place)) / 2))

    moves = sorted(_INTERVALS)
    states = [(h, m) for h in span for m in moves]
    ahead: list[dict[tuple[int, int], float]] = [{} for _ in range(count)]
    ahead[-1] = {(h, m): ends[h] for h, m in states}
    for place in range(count - 2, -1, -1):
        for h, m in states:
            ahead[place][h, m] = sum(
                weight(place + 1, m, h, h + step) * ahead[place + 1].get((h + step, step), 0.0)
                for step in moves
                if h + step in ends
            )
    heights = [start]
    move = 0
    for place in range(1, count):
        here = heights[-1]
        weights = [
            weight(place, move, here, here + step) * ahead[place].get((here + step, step), 0.0)
            if here + step in ends
            else 0.0
            for step in moves
        ]
        if not sum(weights):
            return _heights(count, key, lowest, last, None, chance)
        move = chance.choices(moves, weights)[0]
        heights.append(here + move)
    return heights


def _start(before: int | None, span: list[int], chance: random.Random) -> int:
    """A phrase begins on a note of the tonic triad, near to where the last one ended."""
    tonic = [h for h in span if h % 7 in (0, 2, 4)]
    if before is None:
        return chance.choice(tonic)
    near = sorted(tonic, key=lambda h: abs(h - before))[:3]
    return chance.choice(near)


def _spelled(heights: list[int], key: Key) -> list[Pitch]:
    """In minor and Dorian a seventh degree that rises to the final, repeated or not, is raised."""
    pitches = [_pitch(height, key) for height in heights]
    if key.mode not in ("minor", "dorian"):
        return pitches
    leading = False
    for place in range(len(heights) - 2, -1, -1):
        here, after = heights[place], heights[place + 1]
        leading = here % 7 == 6 and (after == here + 1 or (after == here and leading))
        if leading:
            pitch = pitches[place]
            pitches[place] = Pitch(pitch.step, key.leading_tone.alter, pitch.octave)
    return pitches
