"""Is every MIDI event heard, as it was played and in time? `python -m tests.faults.midi`

    python -m tests.faults.midi --events 100000 --busy 2        these are what is done without words

A process plays chords into a port of a JACK server of its own (dummy driver, in real time where the
system lets it). The real program listens there in its window, 3840 by 2160 on an X server without
a screen, in the middle of a pass, with its sound on; every `ANEW` seconds its size changes, so that
it engraves and draws all it shows. Beside it processes do nothing but use the processor. A neutral
process listens at the same port by other means. What it heard is compared, event by event and in
order, with the raw events of the take in the log: the status is 1 if one is lost, changed or in
another place, or if more than one in a hundred takes longer than `IN_TIME` to the queue.

A message has arrived when the neutral process was given it. It is in the queue when the listening
process has written it into the pipe from which the program takes it: what lies there is safe,
stamped and in order, whatever the program is at. Told besides: until its tone has been asked for,
and until the program has taken it from there.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from queue import Empty, Queue
from threading import Thread

import numpy as np
from numpy.typing import NDArray

from tests.end_to_end.jack import Bytes, NeutralEar, NoServerError, Organ, Server
from tests.faults.sound import load, spread
from tests.screen.pieces import eight_pages
from tests.screen.x_server import Server as Screen
from trainer.folders import HOME
from trainer.journal.store import Journal
from trainer.listening.events import KeyDown, KeyEvent, KeyUp
from trainer.score.kern import write_exercise
from trainer.sound.tone import RATE

SIZE = 3840, 2160
ANEW = 3.0  # seconds
IN_TIME = 0.002  # seconds from arrival to queue
EACH_SECOND = 250.0  # events
KEYS = 10  # in a chord: all fingers
STAGGER = 0.001  # seconds from key to key of a chord
NOTE_ON, NOTE_OFF = 0x90, 0x80
LONG = 120.0  # seconds after which what is waited for does not come about any more
LATEST = 900.0  # the same where all that waits is heard first, on however busy a machine

Event = tuple[int, int]  # key, velocity; 0 where it is let go
Times = NDArray[np.float64]  # seconds of time.monotonic


@dataclass(frozen=True)
class Heard:
    """What became of what was sent; the times are those of `measured_midi`."""

    neutral: tuple[Event, ...]
    logged: tuple[Event, ...]
    arrived: Times
    stamped: Times
    touched: Times
    piped: Times
    sounded: Times
    queued: Times
    drawn: Times
    engraved: Times
    late: Times  # seconds of each key that sounded, after the constant lead from its arrival
    said: tuple[str, ...]  # ports lost or found by the program


@dataclass(frozen=True)
class Difference:
    """Events that are missing, that nobody played, and that stand in another place."""

    lost: int
    changed: int
    moved: int


def difference(heard: Sequence[Event], kept: Sequence[Event]) -> Difference:
    """Compare step by step; after a difference both go on where a few events agree again."""
    missing: Counter[Event] = Counter()
    added: Counter[Event] = Counter()
    a = b = 0
    while a < len(heard) and b < len(kept):
        if heard[a] == kept[b]:
            a, b = a + 1, b + 1
            continue
        skipped_a, skipped_b = _agreeing(heard[a:], kept[b:])
        missing.update(heard[a : a + skipped_a])
        added.update(kept[b : b + skipped_b])
        a, b = a + skipped_a, b + skipped_b
    missing.update(heard[a:])
    added.update(kept[b:])
    moved = missing & added
    return Difference((missing - moved).total(), (added - moved).total(), moved.total())


def _agreeing(one: Sequence[Event], other: Sequence[Event]) -> tuple[int, int]:
    """How many of each to leave out, the fewest first, until `SAME` in a row are the same."""
    same = 8
    for together in range(1, 400):
        for left in range(together + 1):
            right = together - left
            if one[left : left + same] == other[right : right + same] != ():
                return left, right
    return len(one), len(other)


def chords(events: int, begins: float) -> list[Bytes]:
    """Ten keys down, each with a force of its own, then up; one chord after another."""
    drawn, messages, spacing = random.Random(events), [], 2 * KEYS / EACH_SECOND
    for number in range(events // (2 * KEYS)):
        at = begins + number * spacing
        for n, key in enumerate(drawn.sample(range(36, 85), KEYS)):
            down, up = at + n * STAGGER, at + 0.55 * spacing + n * STAGGER
            messages.append((down, [NOTE_ON, key, drawn.randint(1, 127)]))
            messages.append((up, [NOTE_OFF, key, 64]))
    return messages


def as_event(message: Sequence[int]) -> Event:
    return message[1], message[2] if message[0] & 0xF0 == NOTE_ON else 0


def as_played(event: KeyEvent) -> Event:
    assert isinstance(event, KeyDown | KeyUp), event
    return event.key, event.velocity if isinstance(event, KeyDown) else 0


class Window:
    """The measured program."""

    def __init__(self, home: Path, screen: Screen, tempo: int) -> None:
        piece = home / "the-long-evening.krn"
        piece.write_text(write_exercise(eight_pages()), encoding="utf-8")
        (home / "settings.toml").write_text(
            'player = "Ada"\n[players.Ada]\nid = "ada"\nfirst_run_seen = true\n'
        )
        shape = {"width": SIZE[0], "height": SIZE[1], "maximal": False, "exercise": ""}
        (home / "cache").mkdir()
        (home / "cache" / "window.json").write_text(json.dumps(shape))
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.measured_midi", str(home),
             "practice", str(piece), "--tempo", str(tempo), "--view", "window", "--input", "organ"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={
                **os.environ, HOME: str(home), "DISPLAY": screen.display,
                "SDL_VIDEODRIVER": "x11", "SDL_AUDIODRIVER": "dummy",
            },
        )  # fmt: skip
        self.said: list[str] = []
        self._lines: Queue[str] = Queue()
        Thread(target=self._hear, daemon=True).start()

    def do(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def wait_for(self, word: str, within: float = LONG) -> None:
        limit = time.monotonic() + within
        while not (self.said and self.said[-1].startswith(word)):
            try:
                self.said.append(self._lines.get(timeout=limit - time.monotonic()))
            except (Empty, ValueError):
                raise AssertionError(f"the window did not say {word!r}: {self.said}") from None

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()

    def _hear(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line.strip())


@contextmanager
def engraving(window: Window) -> Iterator[None]:
    """Its size changes again and again meanwhile."""
    over = Queue[None]()

    def change() -> None:
        lower = 0
        while True:
            try:
                over.get(timeout=ANEW)
                return
            except Empty:
                lower = 8 - lower
                window.do(f"resize {SIZE[0]} {SIZE[1] - lower}")

    thread = Thread(target=change, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.put(None)
        thread.join()


def heard(events: int, busy: int) -> Heard:
    """Play so many events into the program. Raises NoServerError where there is no JACK."""
    with ExitStack() as stack:
        home = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        stack.callback(Server(f"lossless-{os.getpid()}").close)
        screen = Screen(home, SIZE)
        stack.callback(screen.close)
        organ = Organ()
        stack.callback(organ.close)
        neutral = NeutralEar()
        stack.callback(neutral.close)
        window = Window(home, screen, tempo=_tempo(events / EACH_SECOND))
        stack.callback(window.close)
        window.wait_for("PortFound")
        window.wait_for("drawn")
        window.do("space")
        window.wait_for("began")
        take = window.said[-1].split()[1]
        with load(busy), engraving(window):
            sent = chords(events, time.monotonic() + 1.0)
            organ.send(sent)
            organ.wait()
            found = neutral.heard(len(sent))
        window.do("escape")
        window.wait_for("ended", LATEST)
        window.do("leave")
        window.process.wait(LATEST)
        notes = [np.fromfile(home / field.name) for field in fields(Heard)[3:-2]]
        keys = [json.loads(line) for line in (home / "keys").read_text().splitlines()]
        with Journal.open(home / "log.sqlite") as journal:
            logged = journal.take(take).events
    return Heard(
        tuple(as_event(message) for _, message in found),
        tuple(map(as_played, logged)),
        np.array([at for at, _ in found]),
        *notes,
        np.array([key["late"] / RATE for key in keys]),
        tuple(line for line in window.said if line.startswith("Port")),
    )


def _tempo(seconds: float) -> int:
    """At which the piece lasts a little longer."""
    beats = float(eight_pages().moments[-1].onset)
    return min(60, int(60 * beats / (seconds + 30)))


def main(events: int = 100_000, busy: int = 2) -> int:
    try:
        found = heard(events, busy)
    except NoServerError as error:
        print(f"nothing was measured: {error}")
        return 1
    differs = difference(found.neutral, found.logged)
    print(
        f"{events} events sent beside {busy} busy processes, {len(found.neutral)} arrived, "
        f"{len(found.logged)} in the log: {differs.lost} lost, {differs.changed} changed, "
        f"{differs.moved} in another place; ports: {', '.join(found.said[1:]) or 'steady'}"
    )
    drawn, engraved = (
        sum((at >= found.arrived[0]) & (at <= found.arrived[-1]))
        for at in (found.drawn, found.engraved)
    )
    print(f"  meanwhile {drawn} frames drawn and {engraved} sheets engraved")
    in_time = False
    for what, times in (
        ("its stamp (off by)", found.stamped),
        ("the queue", found.piped),
        ("the process that sounds", found.touched),
        ("its tone asked for by the program too", found.sounded),
        ("the program's own thread", found.queued),
    ):
        if len(times) != len(found.arrived):
            print(f"  from arrival to {what}: {len(times)} noted, not to be compared")
            continue
        took = times - found.arrived
        print(f"  from arrival to {what}: {spread(list(took))}", flush=True)
        if what == "the queue":
            in_time = float(np.quantile(took, 0.99)) <= IN_TIME
    struck = sum(velocity > 0 for _, velocity in found.neutral)
    late = f", later than in a block from arrival: {spread(list(found.late))}" if struck else ""
    print(f"  {len(found.late)} of {struck} keys sounded{late}")
    whole = differs == Difference(0, 0, 0) and len(found.neutral) > 0
    print("  HOLDS" if whole and in_time else "  FAILS")
    return 0 if whole and in_time else 1


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--events", type=int, default=100_000)
    parser.add_argument("--busy", type=int, default=2)
    asked = parser.parse_args()
    sys.exit(main(asked.events, asked.busy))
