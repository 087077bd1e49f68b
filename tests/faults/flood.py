"""Floods of key events: what a broken keyboard, a loop of cables or a forearm sends.

    python tests/faults/flood.py            prints the table, two minutes
    python tests/faults/flood.py --seconds 60

For each flood a pass is played with n and with twice as many events; twice the events should take
twice the time, live and when the whole is judged again from its take.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import cycle, islice, pairwise
from pathlib import Path
from random import Random
from time import process_time

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.judging.lessons import lesson
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Take
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal
from trainer.practice.effects import Begin, Stop, Tick
from trainer.practice.session import Session, feed, start

RATE = 10_000  # events a second
FRAME = 1 / 60  # seconds
PIECE = lesson("C", "c3 f3 g3 c3 " * 16, "," * 63, "e4 f4 d4 e4 " * 16, fermatas=(3, 63))
TEMPO, UNTIMED = Conditions(tempo=60.0), Conditions()

Flood = Callable[[int, float], Iterator[KeyEvent]]  # so many events from a clock time on


def hammered(count: int, begins: float) -> Iterator[KeyEvent]:
    """Keys down and up at random all over the keyboard."""
    chance = Random(1)
    down: list[int] = []
    for number in range(count):
        time = begins + number / RATE
        if down and chance.random() < 0.5:
            yield KeyUp(time, down.pop(chance.randrange(len(down))))
        else:
            down.append(chance.randrange(21, 109))
            yield KeyDown(time, down[-1])


def heaped(count: int, begins: float) -> Iterator[KeyEvent]:
    """Key downs without one up, all in a moment."""
    return (KeyDown(begins + number / 1e6, 21 + number * 37 % 88) for number in range(count))


def all_held(count: int, begins: float) -> Iterator[KeyEvent]:
    """Every key goes down and stays; one of them beats."""
    held: list[KeyEvent] = [KeyDown(begins, key) for key in range(128)]
    beating = cycle((KeyUp(begins, 60), KeyDown(begins, 60)))
    for number, event in enumerate(islice((*held, *islice(beating, count)), count)):
        yield replace(event, time=begins + number / RATE)


def pumped(count: int, begins: float) -> Iterator[KeyEvent]:
    """The pedal goes up and down under keys that go down and up."""
    moves = cycle(("down", "on", "up", "off"))
    for number, move in enumerate(islice(moves, count)):
        time, key = begins + number / RATE, 36 + number * 13 % 48
        match move:
            case "down":
                yield KeyDown(time, key)
            case "up":
                yield KeyUp(time, 36 + (number - 2) * 13 % 48)
            case _:
                yield Pedal(time, move == "on")


def let_go(count: int, begins: float) -> Iterator[KeyEvent]:
    """One chord, then nothing but key ups."""
    chord: list[KeyEvent] = [KeyDown(begins, key) for key in (48, 55, 61, 64)]
    ups = (KeyUp(begins + 0.2 + number / RATE, number % 128) for number in range(count))
    yield from islice((*chord, *ups), count)


def tried_again(count: int, begins: float) -> Iterator[KeyEvent]:
    """One wrong chord after another, as fast as chords can be told apart."""
    for number in range(count // 4):
        time = begins + number * 0.1
        for key in (49, 54):
            yield KeyDown(time, key)
            yield KeyUp(time + 0.02, key)


def run_on(count: int, begins: float) -> Iterator[KeyEvent]:
    """A run in which every key joins the chord of the one before it."""
    for number in range(count // 2):
        time, key = begins + number * 0.04, 36 + number * 7 % 48
        yield KeyDown(time, key)
        yield KeyUp(time + 0.02, key)


FLOODS: tuple[Flood, ...] = (hammered, heaped, all_held, pumped, let_go, tried_again, run_on)


@dataclass(frozen=True, slots=True)
class Spent:
    """Seconds of computing: while it was played, at its end, and to judge the take again."""

    played: float
    ended: float
    again: float


def flooded(session: Session, events: Sequence[KeyEvent]) -> Session:
    """Feed a pass that has begun, frame by frame: what has come since the last, then a tick."""
    frame = session.now
    ahead = iter(events)
    event = next(ahead, None)
    while event is not None:
        frame += FRAME
        while event is not None and event.time <= frame:
            session, _ = feed(session, event, frame)
            event = next(ahead, None)
        session, _ = feed(session, Tick(), frame)
    return session


def begun(conditions: Conditions) -> Session:
    """A pass that has come to its first moment."""
    session, _ = feed(start(PIECE, conditions, 0.0), Begin(), 0.0)
    while conditions.tempo is not None and session.now < (session.origin or 0.0) - 0.4:
        session, _ = feed(session, Tick(), session.now + 1.0)
    return session


def measured(flood: Flood, count: int, conditions: Conditions) -> tuple[Spent, Take]:
    session = begun(conditions)
    events = list(flood(count, session.now + 0.5))
    times = [process_time()]
    session = flooded(session, events)
    times.append(process_time())
    session, _ = feed(session, Stop(), session.now)
    times.append(process_time())
    judge(session.take)
    times.append(process_time())
    return Spent(*(after - before for before, after in pairwise(times))), session.take


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--events", type=int, default=20_000, help="n, the smaller flood")
    parser.add_argument("--seconds", type=float, default=0.0, help="so long at 10 000 a second")
    asked = parser.parse_args()
    count = int(asked.seconds * RATE) // 2 or asked.events
    print(f"{count} and {2 * count} events; microseconds an event, and the ratio of the times")
    print(f"{'':22}{'played':>18}{'ended (ms)':>18}{'judged again':>18}")
    for conditions in (TEMPO, UNTIMED):
        for flood in FLOODS:
            small, _ = measured(flood, count, conditions)
            large, _ = measured(flood, 2 * count, conditions)
            name = f"{flood.__name__}, {'in tempo' if conditions.tempo else 'untimed'}"
            print(
                f"{name:24}"
                f"{large.played / 2 / count * 1e6:9.1f} x{large.played / small.played:5.2f}"
                f"{large.ended * 1e3:11.1f} x{large.ended / max(small.ended, 1e-6):5.2f}"
                f"{large.again / 2 / count * 1e6:11.1f} x{large.again / small.again:5.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
