"""One key press walked from the bytes of a port to the log and to the page.

    python tests/conducting/walk.py        prints the rooms it enters, in tempo and untimed

A room is a module of ours. It is entered when one of its functions is called from another room.
Theory, score and what only holds values (the task, a verdict, an event) are asked, not entered.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import FrameType

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.judging.lessons import lesson
from trainer.conducting.setup import Setup
from trainer.conducting.shell import QuickClock, Shell
from trainer.judging.take import Conditions
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.listening.events import KeyEvent
from trainer.listening.midi import ByteReader
from trainer.practice.effects import Begin, Effect
from trainer.sound.output import Silence
from trainer.theory.fault import Fault

PIECE = lesson("C", "c3 f3 g3 c3", "", "e4 f4 d4 e4", fermatas=(3,))
CHORD = (48, 55, 60, 64)
ASKED = ("trainer.theory", "trainer.score", "trainer.judging.task", "trainer.listening.events")


class Bytes:
    """A source whose keys come as bytes, as from a port."""

    name = "bytes"

    def __init__(self) -> None:
        self.reader = ByteReader()
        self.waiting: list[KeyEvent] = []

    def send(self, time: float, *data: int) -> None:
        self.waiting += self.reader.feed(data, time)

    def poll(self, now: float) -> list[KeyEvent]:
        due, self.waiting = self.waiting, []
        return due

    def told(self, effect: Effect, session: object) -> None: ...

    def sound_as(self, meant: bytes) -> None: ...

    def sure(self, now: float) -> float:
        return now

    def close(self) -> None: ...


class Ledger:
    """A log that keeps nothing."""

    trouble = None

    def told(self) -> list[str]:
        return []

    def begin(self, take: object) -> str:
        return "one"

    def events(self, take: str, events: tuple[KeyEvent, ...]) -> None: ...

    def moment(self, take: str, verdict: MomentVerdict, faults: tuple[Fault, ...]) -> None: ...

    def end(self, take: str, value: object, verdict: PassVerdict, finished: bool) -> None: ...


def rooms(doing: Callable[[], None]) -> Counter[str]:
    """How often each room is entered while something is done."""
    entered: Counter[str] = Counter()
    first: dict[str, None] = {}

    def room(frame: FrameType | None) -> str:
        while frame is not None:
            name = str(frame.f_globals.get("__name__", ""))
            if name.startswith("trainer.") and "<string>" not in frame.f_code.co_filename:
                return name
            frame = frame.f_back
        return ""

    def called(frame: FrameType, what: str, _: object) -> None:
        if what != "call" or frame.f_code.co_name in ("<genexpr>", "<lambda>"):
            return
        here = room(frame)
        if here != frame.f_globals.get("__name__") or here.startswith(ASKED):
            return
        if here != room(frame.f_back):
            entered[here] += 1
            first.setdefault(here)

    sys.setprofile(called)
    try:
        doing()
    finally:
        sys.setprofile(None)
    return Counter({name: entered[name] for name in first})


def walk(conditions: Conditions) -> Counter[str]:
    """The rooms entered by the last key of the second chord of a pass, from its bytes on until
    its moment has been judged and the page has been told."""
    source, clock = Bytes(), QuickClock()
    shell = Shell(Setup(PIECE, conditions, PIECE), source, Silence(), Ledger(), clock)  # type: ignore[arg-type]
    shell.send(Begin())
    shell.step()
    origin = shell.session.origin or 0.0
    while clock.now() < origin - 0.1:
        clock.sleep(0.1)
        shell.step()
    clock.sleep(origin - clock.now())
    for key in CHORD[:-1]:
        source.send(clock.now(), 0x90, key, 64)
    shell.step()

    def press() -> None:
        source.send(clock.now(), 0x90, CHORD[-1], 64)
        for event in shell.step():
            del event

    def time() -> None:
        clock.sleep(1.3)
        shell.step()

    return rooms(press) + rooms(time)


def main() -> None:
    for conditions in (Conditions(tempo=60.0), Conditions()):
        entered = walk(conditions)
        print(f"{'in tempo' if conditions.tempo else 'untimed'}: {len(entered)} rooms")
        for name, times in entered.items():
            print(f"    {name.removeprefix('trainer.'):28}{times:3}")


if __name__ == "__main__":
    main()
