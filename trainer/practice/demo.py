"""A player made of numbers: performs a realization with human hands, and with chosen mistakes.

What it plays are key events like anybody's, sent through the very same path. The same exercise,
conditions, manner, slips and seed give the same events.

Two hands are never one: skilled players' hands differ by 10 to 30 ms, and the keys of a chord fall
within about 50 ms (common practice, no source). Times here are seconds unless named otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from random import Random
from typing import Literal

from trainer.errors import InputError
from trainer.judging.take import Conditions
from trainer.judging.task import Task, task
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Onward, Pedal
from trainer.practice.begin_again import begun_again
from trainer.practice.slips import Slip, SlipKind, foreign_key, with_wrong_notes
from trainer.score.exercise import Exercise, note_at
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing


@dataclass(frozen=True, slots=True)
class Manner:
    """How the hands move. Standard deviations in seconds: of the beat, between the hands, between
    the fingers of one hand. `bias` is how late everything is. `rolled` is the time from one key of
    a chord to the next, upward. `overlap` is how long a finger stays down into the next chord
    (negative: it leaves before). `late_by` is how late a late chord is, in beats
    (of a moment shorter than a beat: in its lengths). `think` is the
    time to think at each moment when untimed."""

    beat: float = 0.012
    hands: float = 0.008
    fingers: float = 0.004
    bias: float = 0.0
    rolled: float = 0.0
    overlap: float = 0.02
    pedal: bool = False
    late_by: float = 0.4
    think: float = 0.8


PERFECT = Manner(beat=0.0, hands=0.0, fingers=0.0, overlap=-0.01)
HUMAN = Manner()


def realization(exercise: Exercise, conditions: Conditions) -> tuple[Voicing, ...]:
    """What the demo player sets out to play: the suggested solution, else the best one there is.

    Raises NoVoicingError where a moment has none.
    """
    if exercise.alto and exercise.tenor:
        return tuple(
            Voicing(
                moment.melody,
                _sounding(exercise, "alto", index),
                _sounding(exercise, "tenor", index),
                moment.bass,
            )
            for index, moment in enumerate(exercise.moments)
        )
    from trainer.theory.realize import Solver

    solver = Solver(
        exercise.moments,
        school=conditions.school,
        hands=conditions.hands,
        struck_five_is_diminished=exercise.struck_five_is_diminished,
    )
    return tuple(solver.best(1)[0].voicings)


def perform(
    exercise: Exercise,
    conditions: Conditions,
    voicings: Sequence[Voicing],
    origin: float,
    *,
    manner: Manner = HUMAN,
    slips: Sequence[Slip] = (),
    seed: int = 0,
    first: int | None = None,
) -> tuple[KeyEvent, ...]:
    """Key events of a pass, in order of time; `voicings` has one for each moment of the exercise.

    `origin` is the clock time of the first moment of the pass (untimed: of the beginning to wait);
    `first` the moment to play from, if it is not that one. Raises InputError for a slip that cannot
    be made there.
    """
    asked = task(exercise, conditions)
    begins = asked.first if first is None else first
    stuck = next((slip.moment for slip in slips if slip.kind == "again"), -1)
    playing = partial(_played, asked, voicings, manner, slips)
    if begins >= stuck:
        return playing(origin, begins, seed)
    anew = partial(_played, asked, voicings, manner, [s for s in slips if s.moment > stuck])
    return begun_again(asked, playing, anew, origin, seed, begins, stuck)


def _played(
    asked: Task,
    voicings: Sequence[Voicing],
    manner: Manner,
    slips: Sequence[Slip],
    origin: float,
    begins: int,
    seed: int,
) -> tuple[KeyEvent, ...]:
    """From moment `begins` to the end of the pass."""
    voicings = with_wrong_notes(asked, voicings, slips)
    chance = Random(f"{seed} {asked.exercise.id} {asked.conditions.tempo}")
    times = _times(asked, origin, manner, chance, begins)
    hands = _Hands(asked, voicings, manner, chance)
    for moment in asked.moments:
        if moment.index < begins:
            continue
        here = tuple(slip.kind for slip in slips if slip.moment == moment.index)
        hands.play(moment.index, times[moment.index - asked.first], here)
    return hands.finished(times[-1])


class _Hands:
    """Keys going down and up as the moments come."""

    def __init__(
        self, asked: Task, voicings: Sequence[Voicing], manner: Manner, chance: Random
    ) -> None:
        self._task = asked
        self._voicings = voicings
        self._manner = manner
        self._chance = chance
        self._events: list[KeyEvent] = []
        self._down: dict[int, float] = {}
        self._last = 0.0

    def play(self, index: int, at: float, slips: tuple[SlipKind, ...]) -> None:
        """Strike moment `index` at about clock time `at`."""
        if "skipped" in slips:
            return
        manner, chance = self._manner, self._chance
        at += manner.bias + chance.gauss(0.0, manner.beat)
        if "late" in slips:
            at += manner.late_by * self._until_next(index)
        at = max(at, self._last + 0.03)
        keys = self._keys(index)
        strike = [key for key in keys if key not in self._down or self._again(index, key)]
        if manner.pedal:
            self._events += [Pedal(at + 0.08, False), Pedal(at + 0.14, True)]
        if not strike:
            self._let_go_except(keys, at)
            if self._task.line is None and self._task.at(index).wanted:
                at += 0.2
                self._events.append(Onward(at))
            self._last = at
            return
        self._let_go_except([key for key in keys if key not in strike], at, strike)
        if "corrected" in slips:
            at = self._slip_and_correct(index, strike, at)
        else:
            at = self._strike(strike, at)
        if "doubled" in slips:
            key = strike[-1]
            self._events += [KeyUp(at + 0.07, key), KeyDown(at + 0.1, key)]
            at += 0.1
        if "extra" in slips:
            self._stray(index, at)
        self._last = at

    def finished(self, last: float) -> tuple[KeyEvent, ...]:
        """All keys up after the last moment; the events in order of time."""
        end = max(last, self._last) + 0.6 * self._beat(self._task.last)
        self._let_go_except([], end)
        if self._manner.pedal:
            self._events.append(Pedal(end, False))
        order = {KeyUp: 0, Pedal: 1, KeyDown: 2, Onward: 3}
        return tuple(sorted(self._events, key=lambda e: (e.time, order[type(e)])))

    def _keys(self, index: int) -> tuple[int, ...]:
        """Keys under the fingers at a moment, ascending."""
        voicing, supply = self._voicings[index], self._task.conditions.supply
        moment = self._task.exercise.moments[index]
        own = [voicing.alto, voicing.tenor]
        own += [voicing.bass] if "bass" not in supply else []
        own += [voicing.soprano] if "melody" not in supply or moment.melody is None else []
        return tuple(sorted({pitch.midi for pitch in own if pitch is not None}))

    def _again(self, index: int, key: int) -> bool:
        """A repeated bass or melody note is struck again; a repeated middle voice is held."""
        moment, voicing = self._task.exercise.moments[index], self._voicings[index]
        outer = [voicing.bass] if moment.bass_struck else []
        outer += [voicing.soprano] if moment.melody_struck else []
        return any(pitch is not None and pitch.midi == key for pitch in outer)

    def _strike(self, keys: Sequence[int], at: float) -> float:
        manner, chance = self._manner, self._chance
        apart = chance.gauss(0.0, manner.hands)
        last = at
        for number, key in enumerate(sorted(keys)):
            hand = apart / 2 if key < 60 else -apart / 2
            time = at + number * manner.rolled + hand + chance.gauss(0.0, manner.fingers)
            self._press(key, time)
            last = max(last, time)
        return last

    def _press(self, key: int, time: float) -> None:
        time = max(time, self._last + 0.002)
        self._events.append(KeyDown(time, key, self._chance.randint(52, 76)))
        self._down[key] = time

    def _slip_and_correct(self, index: int, keys: Sequence[int], at: float) -> float:
        """A finger on the neighbouring key, put right a moment later."""
        right = keys[len(keys) // 2]
        wrong = self._stranger(index, right)
        others = [key for key in keys if key != right]
        at = self._strike([*others, wrong], at)
        later = at + min(0.2, 0.3 * self._beat(index))
        self._events.append(KeyUp(later - 0.03, wrong))
        self._down.pop(wrong)
        self._press(right, later)
        return later

    def _stray(self, index: int, at: float) -> None:
        """Two keys that belong nowhere, half way to the next moment."""
        middle = at + 0.5 * self._until_next(index)
        used = self._keys(index)
        low = self._stranger(index, used[len(used) // 2])
        self._events += [KeyDown(middle, low), KeyUp(middle + 0.08, low)]

    def _stranger(self, index: int, near: int) -> int:
        """A key that belongs neither to a moment nor, if there is such a one, to its neighbours."""
        around = [
            i for i in (index, index - 1, index + 1) if self._task.first <= i <= self._task.last
        ]
        used = self._keys(index)
        for some in (around, around[:2], around[:1]):
            belonging = frozenset[int]().union(*(self._task.at(i).belonging for i in some))
            key = foreign_key(belonging, near, used)
            if key is not None:
                return key
        raise InputError(f"every key belongs to moment {index}")

    def _let_go_except(self, stay: Sequence[int], at: float, anew: Sequence[int] = ()) -> None:
        for key in list(self._down):
            if key in stay:
                continue
            overlap = self._manner.overlap + self._chance.gauss(0.0, self._manner.fingers)
            up = at - 0.04 if key in anew else at + overlap
            self._events.append(KeyUp(max(up, self._down.pop(key) + 0.01), key))

    def _until_next(self, index: int) -> float:
        """Seconds, at most a beat."""
        line = self._task.line
        if line is None or index == self._task.last:
            return self._beat(index)
        return min(self._beat(index), line.time(index + 1) - line.time(index))

    def _beat(self, index: int) -> float:
        line = self._task.line
        return self._manner.think if line is None else line.beat_length(index)


def _times(asked: Task, origin: float, manner: Manner, chance: Random, begins: int) -> list[float]:
    """Clock time of each moment of the pass; untimed, `origin` is when `begins` is waited for."""
    if asked.line is not None:
        return [origin + time for time in asked.line.times]
    times = []
    for awaited in asked.awaited:
        if awaited.index >= begins:
            origin += manner.think * chance.uniform(0.8, 1.4) if awaited.wanted else 0.05
        times.append(origin)
    return times


def _sounding(exercise: Exercise, part: Literal["alto", "tenor"], index: int) -> Pitch | None:
    note = note_at(
        exercise.alto if part == "alto" else exercise.tenor, exercise.moments[index].onset
    )
    return None if note is None else note.pitch
