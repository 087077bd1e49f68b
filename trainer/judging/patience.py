"""Untimed: the program waits at each moment until it is played, or the player goes on.

A moment is accepted
- as soon as the chord struck for it is closed, if it is complete (nothing missing, nothing
  foreign) with as many keys as the player has voices; with fewer keys (a unison, or a hand still
  searching) once `PATIENCE` has gone by without another key;
- as it stands, when the player moves on: what is struck next fits one of the next two moments
  clearly better than this one (or all is there already, and it does not belong), or the player
  says so (`Onward`).
What is struck otherwise is another attempt at the same moment. A moment is left out, with nothing
struck for it, only where a chord comes that cannot be meant for it and fits the next one wholly. A
moment at which the player has nothing to strike is passed over.

The time to think at a moment runs from the last key of the moment before to the first key of the
chord with which it was complete (if it never was, of the last attempt); breaks are not counted.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import inf

from trainer.judging.clock import Complete, Over
from trainer.judging.heard import RECALLED, Heard, heard
from trainer.judging.task import Awaited, Task, foreignness, strangeness
from trainer.listening.capture import Capture, close
from trainer.listening.events import KeyEvent, KeyUp, Onward, StruckChord
from trainer.listening.strokes import Strokes

PATIENCE = 0.5  # seconds
CLEARLY = 0.3  # by how much the next moment must fit better, in units of `strangeness`
CERTAINLY = 0.35  # how little a chord must be like a moment for it to be left out
FITS = 0.45  # how well a chord with a mistake in it must still fit to be meant for a moment


@dataclass(frozen=True)
class Patience:
    """Waiting at moment `index` since clock time `since`; past the last moment when all is done.

    `chords` are the attempts at it, the first and the latest; `ready` is the time from which they
    are complete, inf if they are not, which was last `tried` with those strokes. `went_on` is when
    the pass last went on after a break, `rested` for how many seconds it was broken off since.
    """

    task: Task
    complete: Complete
    index: int
    since: float
    chords: tuple[StruckChord, ...] = ()
    ready: float = inf
    went_on: float = -inf
    rested: float = 0.0
    tried: Strokes | None = field(default=None, compare=False)

    @property
    def waiting(self) -> int:
        return self.index

    @property
    def part(self) -> None:
        return None

    def struck(self, chord: StruckChord, hands: Capture) -> Step:
        if self.ended(chord.last):
            return self, ()
        waiting: Patience = self
        accepted: tuple[Over, ...] = ()
        onward = self._moves_on_to(chord)
        while waiting.index < onward:
            waiting, passed = waiting._accepted(hands, chord.first)
            accepted += passed
        attempts = (*waiting.chords, chord)
        if len(attempts) > RECALLED:
            attempts = (attempts[0], *attempts[2:])
        waiting, more = replace(waiting, chords=attempts, ready=inf, tried=None)._tried(
            hands, chord.last
        )
        return waiting, accepted + more

    def so_far(self, hands: Capture, now: float) -> tuple[Heard, ...]:
        """A foreign key held over counts once `PATIENCE` has gone by with it."""
        if self.ended(now):
            return ()
        chords = (*self.chords, *close(hands)[1])
        begins = min(self.since, now)
        settles = (chords[-1].last if chords else begins) + PATIENCE
        return (heard(self.task.at(self.index), chords, hands.strokes, begins, settles, now),)

    def moved(self, event: KeyEvent, hands: Capture) -> Step:
        if isinstance(event, Onward):
            return self._asked_on(hands, event.time)
        return self._tried(hands, event.time) if isinstance(event, KeyUp) else (self, ())

    def looked(self, hands: Capture, now: float) -> Step:
        """A chord begun before patience ends is waited for."""
        ends = self.ready + PATIENCE
        if self.ready == inf or now < ends or hands.begun <= ends:
            return self, ()
        return self._tried(hands, ends)

    def current(self, now: float) -> int:
        return min(self.index, self.task.last)

    def ended(self, now: float) -> bool:
        return self.index > self.task.last

    def goes_on_from(self, broken: float) -> int:
        return self.current(broken)

    def gone_on(self, first: int, time: float, broken: float) -> Patience:
        """The break is no time to think."""
        rest = time - max(broken, self.since)
        return replace(self, since=self.since, rested=self.rested + rest, went_on=time)

    def given_up(self, hands: Capture) -> tuple[Over, ...]:
        return self._asked_on(hands, self.chords[-1].last)[1] if self.chords else ()

    def _tried(self, hands: Capture, now: float) -> Step:
        """Accept what is complete by `now`: after a chord, a key let go, or some time."""
        if not self.chords or self.ended(now) or self.tried is hands.strokes:
            return self, ()
        waiting = self
        if self.ready == inf:
            sounds = self._sounds(hands, now)
            if not self.complete(self.index, sounds.sounding):
                return replace(self, tried=hands.strokes), ()
            waiting = replace(self, ready=now)
            if len(sounds.keys) >= self.task.at(self.index).voices:
                return waiting._accepted(hands, now)
        waited = now - waiting.ready >= PATIENCE
        return waiting._accepted(hands, now) if waited else (waiting, ())

    def _asked_on(self, hands: Capture, now: float) -> Step:
        """The player goes on: what is struck counts as it is, or what is held if that is
        complete."""
        if self.ended(now):
            return self, ()
        held = _held(hands, now)
        waiting = self
        if held and self.complete(self.index, held):
            waiting = replace(self, chords=())
        after, accepted = waiting._accepted(hands, now, unstruck=held)
        return replace(after, since=now), accepted

    def _accepted(self, hands: Capture, now: float, unstruck: tuple[int, ...] = ()) -> Step:
        """On to the next moment; `unstruck` are keys that count where nothing was struck."""
        chords = self.chords
        sounds = self._sounds(hands, now) if chords else Heard(self.index, unstruck)
        think = max(0.0, self._answered - self.since - self.rested) if chords else None
        since = max(chords[-1].last, self.went_on) if chords else self.since
        rested = 0.0 if chords else self.rested
        following = self.task.wanted_from(self.index + 1)
        after = replace(
            self, index=following, since=since, rested=rested, chords=(), ready=inf, tried=None
        )
        return after, (Over(sounds, think),)

    @property
    def _answered(self) -> float:
        """The first key of the chord with which the moment was complete, or of the last one."""
        return max((c.first for c in self.chords if c.first <= self.ready), default=0.0)

    def _sounds(self, hands: Capture, now: float) -> Heard:
        begins = min(self.since, now)
        return heard(self.task.at(self.index), self.chords, hands.strokes, begins, now)

    def _moves_on_to(self, chord: StruckChord) -> int:
        """The moment a chord is for: this one, or one of the next two."""
        task, here = self.task, self.index
        following = task.wanted_from(here + 1)
        if following > task.last:
            return here
        cost = strangeness(task.at(following), chord.struck)
        after = task.wanted_from(following + 1)
        if cost > FITS and after <= task.last and strangeness(task.at(after), chord.struck) == 0.0:
            cost, following = 0.0, after
        return following if self._gone_by(chord, cost) else here

    def _gone_by(self, chord: StruckChord, cost: float) -> bool:
        """Whether a chord that fits a later moment at a cost is no longer for this one."""
        again = _unlike(self.task.at(self.index), chord)
        if not self.chords:  # a moment is left out only for a chord that is certainly the next one
            return cost == 0.0 and len(chord.struck) > 1 and again >= CERTAINLY
        if self.ready == inf:
            return cost <= min(FITS, again - CLEARLY)
        if again > 0.0:  # all is there already: what does not belong is for later
            return True
        adding = {*self.chords[-1].keys} <= {*chord.keys}  # one more voice to what is held
        return cost == 0.0 and not adding


Step = tuple[Patience, tuple[Over, ...]]


def waiting(task: Task, complete: Complete, now: float) -> Patience:
    """Wait for the first moment at which there is something to do."""
    return Patience(task, complete, task.wanted_from(task.first), now)


def _held(hands: Capture, time: float) -> tuple[int, ...]:
    keys = (key for key in hands.strokes.keys if hands.strokes.held(key, time))
    return tuple(sorted(keys))


def _unlike(here: Awaited, chord: StruckChord) -> float:
    """How little a chord can be meant for a moment that may have been struck in part already:
    foreign keys, and a lowest or highest key of the whole that is neither bass nor melody."""
    unlike = foreignness(here, chord.struck)
    lowest, highest = chord.keys[0], chord.keys[-1]
    if here.bass is not None and lowest in chord.struck and lowest % 12 != here.bass:
        unlike += 0.4
    if here.melody is not None and highest in chord.struck and highest % 12 != here.melody:
        unlike += 0.4
    return unlike
