"""In tempo: the beat goes on, and a chord is for the moment it falls at.

A moment is over a little after its time, or as soon as a later one has been struck; a chord that
was begun before is waited for, and so is a player who is late. One for which nothing had been
struck opens again if a chord comes for it after all; all that has been played from there on opens
again if the player begins again from an earlier bar. What is judged is judged once more when the
pass has ended, with its chords laid to the moments all at once.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf

from trainer.judging.clock import Complete, Over, Placed
from trainer.judging.follow import Follower, align, follow, follower
from trainer.judging.fresh_start import Attempt, attempted, awaited_until, begun_again
from trainer.judging.heard import LEAVING, RECALLED, Heard, heard
from trainer.judging.stretch import Stretch, goes_on, moment_at, stretch
from trainer.judging.task import Task
from trainer.judging.timing import onset
from trainer.judging.verdict import ExtraChord
from trainer.listening.capture import Capture, close
from trainer.listening.events import KeyEvent, StruckChord
from trainer.listening.manuals import keys_at
from trainer.listening.strokes import Strokes
from trainer.listening.trail import Trail

AFTER = 0.25  # beats after a moment's end at which it is judged, for fingers that come late


@dataclass(frozen=True)
class Tactus:
    """In tempo within one stretch. `waiting` is the first moment that is not over, `placed` are
    the chords struck for it and for later ones, but for the latest: these are with the follower,
    who may yet find them another place. `came_to` is the place of the latest chord, `reached` the
    last moment that is over and had something struck for it (-1: none), `lag` by how many seconds
    the player is late. `attempts` may be beginnings from an earlier bar."""

    task: Task
    complete: Complete
    part: Stretch
    follower: Follower
    waiting: int
    placed: Trail[Placed] = Trail()  # noqa: RUF009 (a value)
    came_to: int = -1
    reached: int = -1
    lag: float = 0.0
    attempts: tuple[Attempt, ...] = ()

    def struck(self, chord: StruckChord, hands: Capture) -> Step:
        if chord.first < self.part.opens:
            return self, ()
        after = self._followed(chord)
        assert self.task.line is not None
        attempts = attempted(self.attempts, self.follower, after.follower, chord, self.part)
        found = begun_again(attempts, after.follower, chord)
        if found is not None:
            return self._again(found, hands)
        after, by = replace(after, attempts=attempts), chord.first - self.part.origin
        after = after._open_again(after.follower.places(by))
        place = after.follower.moment(by)
        if place is None:
            return after, ()
        lag = max(0.0, after.follower.lag(by)) * self.task.line.beat_length(place)
        after = replace(after, came_to=place, lag=lag)
        return after._over_before(place, hands, chord.first)

    def _again(self, found: Attempt, hands: Capture) -> Step:
        """The player has begun again from an earlier bar: the beat goes by what was struck there,
        and all is as if that had been known."""
        task = self.task
        begun = Tactus(task, self.complete, found.part, found.before, found.part.first)
        over: tuple[Over, ...] = ()
        for chord in found.chords:
            begun, more = begun.struck(chord, hands)
            over += more
        return begun, over

    def _open_again(self, places: Sequence[int | None]) -> Tactus:
        """A moment that was taken for one left out was not, if one of the recent chords is for it
        after all."""
        late = [place for place in places if place is not None and place > self.reached]
        return replace(self, waiting=min([self.waiting, *late]))

    def so_far(self, hands: Capture, now: float) -> tuple[Heard, ...]:
        line = self.task.line
        assert line is not None
        struck = by_moment(self._with_gathering(hands)._at_hand(now))
        found = []
        for index in sorted({*struck, self.current(now)}):
            if index >= self.waiting:
                begins, middle, leaving = _times(self.task, index, self.part.origin)
                awaited, chords = self.task.at(index), struck[index]
                found.append(heard(awaited, chords, hands.strokes, begins, middle, now, leaving))
        return tuple(found)

    def _with_gathering(self, hands: Capture) -> Tactus:
        """With the chord that is gathering as if it were whole."""
        followed = self
        for chord in close(hands)[1]:
            if chord.first >= self.part.opens:
                followed = followed._followed(chord)
        return followed

    def _followed(self, chord: StruckChord) -> Tactus:
        """A chord has its place, and those just before it may have found another by it."""
        before, after = self.follower, follow(self.follower, chord, self.part.origin)
        placed = self.placed
        if len(after.recent) == len(before.recent):  # the oldest of them stays where it is
            place = before.places(chord.first - self.part.origin)[0]
            if place is not None and place >= self.waiting:
                placed = placed.with_one((place, before.recent[0]))
        return replace(self, follower=after, placed=placed)

    def _at_hand(self, now: float) -> Iterator[Placed]:
        """The chords struck for the moments that are not over, as it looks by `now`."""
        yield from self.placed
        places = self.follower.places(now - self.part.origin)
        for place, chord in zip(places, self.follower.recent, strict=True):
            if place is not None and place >= self.waiting:
                yield place, chord

    def moved(self, event: KeyEvent, hands: Capture) -> Step:
        return self, ()

    def looked(self, hands: Capture, now: float) -> Step:
        if self.ended(now):
            return self._over_before(self.task.last + 1, hands, inf)
        # each at its own time, so that it makes no difference how often one looks
        tactus, over = self, tuple[Over, ...]()
        while tactus.waiting < self.task.last:
            closes = tactus._closes(tactus.waiting)
            if closes > min(now, hands.begun):
                break
            tactus, more = tactus._over_before(tactus.waiting + 1, hands, closes)
            over += more
        return tactus, over

    def current(self, now: float) -> int:
        return max(self.part.first, moment_at(self.task, now - self.part.origin))

    def ended(self, now: float) -> bool:
        """Who is late is waited for, but no longer than that; so is who may have begun again."""
        line = self.task.line
        if line is None:
            return False
        to_come = self.came_to >= 0 and self.task.wanted_from(self.came_to + 1) <= self.task.last
        end = self.part.origin + line.end + (self.lag if to_come else 0.0)
        return now >= max(end, awaited_until(self.attempts, self.follower))

    def goes_on_from(self, broken: float) -> int:
        return goes_on(self.task, self.part, broken)

    def gone_on(self, first: int, time: float, broken: float) -> Tactus:
        return beating(self.task, self.complete, first, time)

    def given_up(self, hands: Capture) -> tuple[Over, ...]:
        return self._over_before(self.task.last + 1, hands, inf)[1]

    def _closes(self, index: int) -> float:
        """When a moment before the last is over, if nothing later is struck sooner."""
        line = self.task.line
        assert line is not None
        return self.part.origin + line.time(index + 1) + AFTER * line.beat_length(index) + self.lag

    def _over_before(self, end: int, hands: Capture, by: float) -> Step:
        """The moments before `end` are over at clock time `by`; those with nothing to do are passed
        by."""
        if end <= self.waiting:
            return self, ()
        struck = by_moment(self._at_hand(by))
        over: list[Over] = []
        reached = max((i for i, chords in struck.items() if chords and i < end), default=-1)
        for index in range(self.waiting, end):
            if self.task.at(index).wanted:
                chords, origin = struck[index], self.part.origin
                found, _ = at_moment(self.task, index, chords, hands.strokes, origin, self.complete)
                over.append(Over(found))
        left = Trail(placed for placed in self.placed if placed[0] >= end)
        reached = max(reached, self.reached)
        return replace(self, waiting=end, placed=left, reached=reached), tuple(over)


Step = tuple[Tactus, tuple[Over, ...]]


def beating(task: Task, complete: Complete, first: int, time: float) -> Tactus:
    """The tactus of a stretch whose moment `first` stands at clock time `time`."""
    part = stretch(task, first, time)
    return Tactus(task, complete, part, follower(task, first), first)


def heard_in_tempo(
    task: Task,
    complete: Complete,
    hands: Capture,
    chords: Sequence[StruckChord],
    parts: Sequence[Stretch],
) -> tuple[tuple[Heard, ...], tuple[ExtraChord, ...]]:
    """What was heard at each moment of a pass that is over, where it was played last, and the
    chords that belong to none."""
    in_time = sorted(chords, key=lambda chord: chord.first)
    firsts = [chord.first for chord in in_time]
    here: dict[int, Heard] = {}
    extra: list[ExtraChord] = []
    ends = [*(part.first for part in parts[1:]), task.last + 1]
    for part, end in zip(parts, ends, strict=True):
        ours = in_time[bisect_left(firsts, part.opens) : bisect_left(firsts, part.closes)]
        places = align(task, ours, part.origin, part.first)
        extra += _unplaced(part, ours, places)
        struck = by_moment((i, c) for c, i in zip(ours, places, strict=True) if i is not None)
        for index in range(part.first, end):
            here[index], more = at_moment(
                task, index, struck[index], hands.strokes, part.origin, complete
            )
            extra += [_extra(index, chord, part.origin) for chord in more]
    found = tuple(here[index] for index in range(task.first, task.last + 1))
    return found, tuple(sorted(extra, key=lambda e: (e.at_s, e.keys)))


def at_moment(
    task: Task,
    index: int,
    chords: Sequence[StruckChord],
    strokes: Strokes,
    origin: float,
    complete: Complete,
) -> tuple[Heard, tuple[StruckChord, ...]]:
    """What is heard at a moment in tempo, and which of its chords are extra after all: those let
    go before a better timed one came, and those that came after all was complete and do not
    belong."""
    awaited = task.at(index)
    begins, middle, leaving = _times(task, index, origin)
    strays, chords = _strays(chords, strokes, begins)
    for count in range(1, min(len(chords), RECALLED)):
        here = heard(awaited, chords[:count], strokes, begins, chords[count].first)
        if complete(index, here.sounding):
            belong = [c for c in chords[count:] if awaited.belonging >= {k % 12 for k in c.struck}]
            extra = tuple(chord for chord in chords[count:] if chord not in belong)
            kept = (*chords[:count], *belong)
            sounds = heard(awaited, kept, strokes, begins, middle, leaving=leaving)
            return sounds, strays + extra
    return heard(awaited, chords, strokes, begins, middle, leaving=leaving), strays


def _times(task: Task, index: int, origin: float) -> tuple[float, float, float]:
    """When a moment begins and when half of it is over, clock seconds; for how many seconds a
    finger may stay in it that does not belong."""
    assert task.line is not None
    moment = task.exercise.moments[index]
    begins = origin + task.line.time(index)
    beat = task.line.beat_length(index)
    half = float(moment.duration / moment.metre.beat_length) * beat / 2
    return begins, begins + half, LEAVING * beat


def by_moment(placed: Iterable[Placed]) -> defaultdict[int, list[StruckChord]]:
    """The chords struck for each moment, in order."""
    struck: defaultdict[int, list[StruckChord]] = defaultdict(list)
    for index, chord in placed:
        struck[index].append(chord)
    return struck


def _strays(
    chords: Sequence[StruckChord], strokes: Strokes, begins: float
) -> tuple[tuple[StruckChord, ...], tuple[StruckChord, ...]]:
    """Chords before the one nearest in time, as long as nothing of them is held into it; the
    rest."""
    if len(chords) < 2:
        return (), tuple(chords)
    distances = [abs(onset(chord) - begins) for chord in chords]
    nearest = distances.index(min(distances))
    before, first = chords[:nearest], chords[nearest].first
    if any(_held_into(strokes, chord, key, first) for chord in before for key in chord.struck):
        return (), tuple(chords)
    return tuple(before), tuple(chords[nearest:])


def _held_into(strokes: Strokes, chord: StruckChord, key: int, time: float) -> bool:
    stroke = strokes.latest(key, time)
    return stroke is not None and stroke.down <= chord.last and stroke.held_at(time)


def _unplaced(
    part: Stretch, chords: Sequence[StruckChord], places: Sequence[int | None]
) -> Iterator[ExtraChord]:
    """The chords of a stretch that belong to no moment, each after the moment last played."""
    after = part.first - 1
    for chord, place in zip(chords, places, strict=True):
        if place is None:
            yield _extra(after, chord, part.origin)
        else:
            after = place


def _extra(after: int, chord: StruckChord, origin: float) -> ExtraChord:
    return ExtraChord(after, round(chord.first - origin, 6), keys_at(chord.struck))
