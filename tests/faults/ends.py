"""The program ended in every way, at any instant of a pass, beside two busy loops.

    python -m tests.faults.ends                    1000 tries, every way by turns, half an hour
    python -m tests.faults.ends --tries 60
    python -m tests.faults.ends --only window      the ways with that word in their names

The real program plays; once keys of the pass are in its log it is ended some time within the next
half second. It has to be gone within 2 s of being told, with the status that is usual, without a
traceback, the log whole, the pass ended in it, and every key in it that went down before. For each
way: tries, how long it took, what was lost. The status is 1 if anything failed.
"""

from __future__ import annotations

import argparse
import fcntl
import os
import shutil
import signal
import subprocess
import sys
import termios
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from difflib import SequenceMatcher
from random import Random

from tests.end_to_end.jack import NoServerError, Server
from tests.end_to_end.window import ask_to_close, press
from tests.faults.played_programs import (
    Player,
    Playing,
    demo,
    drill,
    jack,
    letters,
    window,
    window_jack,
)
from tests.faults.sound import load
from trainer.journal.store import Journal
from trainer.journal.verify import verify

BAR = 2.0  # seconds
GIVEN_UP = 20.0  # seconds after which a program is taken to hang
TOGETHER = 3


# Ends the program; returns when it was told to, if that was later than when it was called.
End = Callable[[Playing], float | None]


def sent(*signals: signal.Signals) -> End:
    def end(playing: Playing) -> None:
        for number in signals:
            playing.process.send_signal(number)
            if number is not signals[-1]:
                time.sleep(0.02)

    return end


def typed(text: bytes) -> End:
    def end(playing: Playing) -> None:
        assert playing.terminal is not None
        os.write(playing.terminal, text)

    return end


def terminal_closed(playing: Playing) -> None:
    """What the program has not read by then is gone with the terminal: the system drops it."""
    assert playing.terminal is not None and playing.line is not None
    waiting = fcntl.ioctl(playing.line, termios.FIONREAD, bytes(4))
    playing.unread = int.from_bytes(waiting, sys.byteorder)
    os.close(playing.terminal)


def window_closed(playing: Playing) -> None:
    assert playing.display is not None
    assert ask_to_close(playing.display.display)


def escaped(playing: Playing) -> float:
    """Out of the pass, out of what is said of it, out of the view; when the last one was struck."""
    assert playing.display is not None
    until = time.monotonic() + GIVEN_UP
    while True:
        struck = time.monotonic()
        press(playing.display.display, "Escape")
        with suppress(subprocess.TimeoutExpired):
            playing.process.wait(0.5)
            return struck
        if struck > until:
            return struck


def display_killed(playing: Playing) -> None:
    assert playing.display is not None
    playing.display._process.kill()


def display_hangs(playing: Playing) -> float:
    assert playing.display is not None
    playing.display._process.send_signal(signal.SIGSTOP)
    time.sleep(0.1)
    told = time.monotonic()
    playing.process.send_signal(signal.SIGTERM)
    return told


INT, TERM, HUP = signal.SIGINT, signal.SIGTERM, signal.SIGHUP
# what it is called: who plays, what ends it, with which status
WAYS: dict[str, tuple[Player, End, int]] = {
    "demo, SIGINT": (demo, sent(INT), 130),
    "demo, SIGTERM": (demo, sent(TERM), 143),
    "demo, SIGHUP": (demo, sent(HUP), 129),
    "demo, SIGINT twice": (demo, sent(INT, INT), 130),
    "demo, SIGTERM then SIGINT": (demo, sent(TERM, INT), 143),
    "drill, SIGTERM": (drill, sent(TERM), 143),
    "terminal, ctrl-c": (letters, typed(b"\x03"), 130),
    "terminal, ctrl-c twice": (letters, typed(b"\x03\x03"), 130),
    "terminal, ctrl-d": (letters, typed(b"\x04"), 0),
    "terminal, escape": (letters, typed(b"\x1b"), 0),
    "terminal closed": (letters, terminal_closed, 129),
    "terminal, SIGTERM": (letters, sent(TERM), 143),
    "JACK, SIGINT": (jack, sent(INT), 130),
    "JACK, SIGTERM": (jack, sent(TERM), 143),
    "JACK window, SIGTERM": (window_jack, sent(TERM), 143),
    "JACK window closed": (window_jack, window_closed, 0),
    "window closed": (window, window_closed, 0),
    "window, escape": (window, escaped, 0),
    "window, SIGINT": (window, sent(INT), 130),
    "window, display killed": (window, display_killed, 1),
    "window, display hangs, SIGTERM": (window, display_hangs, 143),
}


class Watch:
    """Notes when a process is gone."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.gone = 0.0
        self.over = threading.Event()

        def wait() -> None:
            process.wait()
            self.gone = time.monotonic()
            self.over.set()

        threading.Thread(target=wait, daemon=True).start()


@dataclass(frozen=True)
class Tried:
    """One end: seconds until the process was gone (None: it was not), which keys are not in the
    log (their numbers among those played, from 0), and what was wrong."""

    seconds: float | None
    lost: tuple[int, ...]
    wrong: tuple[str, ...]


def tried(player: Player, end: End, status: int, chance: Random) -> Tried:
    """Play, end it at some instant, and see what is left."""
    with ExitStack() as stack:
        try:
            playing = player(stack)
        except (OSError, AssertionError) as error:
            return Tried(None, (), (f"could not be begun: {error!r}",))
        try:
            playing.until_it_plays(chance.randrange(1, 12))
        except RuntimeError as error:
            return Tried(None, (), (f"could not be begun: {error}",))
        time.sleep(chance.uniform(0.0, 0.5))
        before = playing.key_downs()
        told = time.monotonic()
        watch = Watch(playing.process)
        last = end(playing) or told
        if not watch.over.wait(GIVEN_UP):
            return Tried(None, (), ("it hangs",))
        seconds = watch.gone - last
        wrong = []
        if playing.process.returncode != status:
            wrong.append(f"status {playing.process.returncode}, not {status}")
        time.sleep(0.02)
        said = b"".join(playing.said).decode(errors="replace")
        if "Traceback" in said or "rror:" in said:
            wrong.append(said[-600:])
        with Journal.open(playing.home / "log.sqlite", write=False) as journal:
            wrong += [f"still open: {one.id}" for one in journal.takes() if one.state == "open"]
        with Journal.open(playing.home / "log.sqlite") as journal:
            wrong += [str(trouble) for trouble in verify(journal).troubles]
        kept = playing.key_downs()
        played = [key for at, key in playing.downs if at < told]
        played = played[: len(played) - playing.unread] or before
        return Tried(seconds, _missing(played, kept), tuple(wrong))


def _missing(played: list[int], kept: list[int]) -> tuple[int, ...]:
    """Which of the keys played are not among those kept, in order."""
    blocks = SequenceMatcher(None, played, kept, autojunk=False).get_matching_blocks()
    found = {block.a + n for block in blocks for n in range(block.size)}
    return tuple(number for number in range(len(played)) if number not in found)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tries", type=int, default=1000, help="altogether")
    parser.add_argument("--only", default="", metavar="WORD", help="ways with it in their names")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    ways = {name: way for name, way in WAYS.items() if asked.only in name}
    with there_is() as has, load(2), ThreadPoolExecutor(TOGETHER) as pool:
        ways = {name: way for name, way in ways.items() if has(name)}
        turns = [list(ways)[number % len(ways)] for number in range(asked.tries)]
        done = pool.map(
            lambda turn: (turn[1], tried(*ways[turn[1]], Random(asked.seed * 10**6 + turn[0]))),
            enumerate(turns),
        )
        found: dict[str, list[Tried]] = defaultdict(list)
        for number, (name, one) in enumerate(done, 1):
            found[name].append(one)
            if one.wrong or one.lost or one.seconds is None or one.seconds > BAR:
                print(f"{number} {name}: {one}", flush=True)
    return told(found)


@contextmanager
def there_is() -> Iterator[Callable[[str], bool]]:
    """What this machine has of what the ways need; says what it has not."""
    missing = []
    if shutil.which("Xvfb") is None or shutil.which("xdotool") is None:
        missing.append("window")
    with ExitStack() as stack:
        try:
            stack.callback(Server(f"mittelstimme-ends-{os.getpid()}").close)
        except NoServerError as error:
            print(error)
            missing.append("JACK")
        if missing:
            print(f"not tried here: {', '.join(missing)}")
        yield lambda name: not any(word in name for word in missing)


def told(found: dict[str, list[Tried]]) -> int:
    """Print the table; 1 if anything was wrong."""
    head = ("tries", "over 2 s", "half", "p99", "slowest", "lost", "wrong")
    print(f"\n{'':32}" + "".join(f"{word:>9}" for word in head))
    late = wrong = lost = 0
    everything: list[Tried] = []
    for name, tries in (*found.items(), ("altogether", everything)):
        times = sorted(one.seconds if one.seconds is not None else GIVEN_UP for one in tries)
        over = sum(seconds > BAR for seconds in times)
        bad, gone = sum(bool(one.wrong) for one in tries), sum(len(one.lost) for one in tries)
        figures = (
            len(tries),
            over,
            _at(0.5, times),
            _at(0.99, times),
            f"{times[-1]:.2f}",
            gone,
            bad,
        )
        print(f"{name:32}" + "".join(f"{figure:>9}" for figure in figures))
        if tries is not everything:
            everything += tries
            late, wrong, lost = late + over, wrong + bad, lost + gone
    return int(bool(late or wrong or lost))


def _at(share: float, times: list[float]) -> str:
    return f"{times[min(len(times) - 1, int(share * (len(times) - 1) + 0.5))]:.2f}"


if __name__ == "__main__":
    sys.exit(main())
