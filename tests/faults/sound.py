"""The sound under load and under faults: `python -m tests.faults.sound [PART …]`.

Each part prints its numbers and HOLDS or FAILS; the status is 1 if one of them fails. Without
names all parts are done, some five minutes on two cores. SDL's drivers without a device are used:
`dummy`, which asks for blocks in time, and `disk`, which also writes every sample down.
"""

from __future__ import annotations

import json
import os
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.faults.measured_sound import MEASURES
from trainer.sound import apart
from trainer.sound.apart import SoundApart
from trainer.sound.engine import Engine
from trainer.sound.rendering import BLOCK
from trainer.sound.requests import Choice, KeyOn
from trainer.sound.tone import RATE, STOPS
from trainer.sound.tuning import PITCH_STANDARDS, TEMPERAMENTS

CHORD = (48, 60, 64, 67)
ASKED_WITHIN = 0.002  # seconds from a key to the mixer's being asked for it
HELD_UP = 10.0  # seconds: a call that takes longer, on however busy a machine, counts as a hang


@contextmanager
def load(processes: int = 2) -> Iterator[None]:
    """Processes that do nothing but use the processor."""
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(processes)]
    try:
        yield
    finally:
        for process in busy:
            process.kill()
            process.wait()


@contextmanager
def driver(name: str, **more: str) -> Iterator[None]:
    """SDL's audio driver for the processes begun meanwhile, and other things of the environment."""
    wanted = {"SDL_AUDIODRIVER": name, **more}
    before = {key: os.environ.get(key) for key in wanted}
    os.environ.update(wanted)
    try:
        yield
    finally:
        for key, value in before.items():
            if value is None:
                os.environ.pop(key)
            else:
                os.environ[key] = value


@contextmanager
def drawing(share: float) -> Iterator[None]:
    """A thread that holds Python's lock for that share of each frame, as the views do."""
    over = threading.Event()

    def draw() -> None:
        while not over.is_set():
            until = time.perf_counter() + share / 60
            while time.perf_counter() < until:
                pass
            time.sleep((1 - share) / 60)

    thread = threading.Thread(target=draw, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def timed(act: Callable[[], object]) -> float:
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


# ---- from the key to the sound ----------------------------------------------------------------


@dataclass(frozen=True)
class Latency:
    """Of each key: seconds until the mixer was asked (its request lies where the mixer looks
    before each block), seconds until the block was asked for in which it sounds, and frames by
    which it sounds later than its constant lead."""

    asked: list[float]
    block: list[float]
    late: list[int]


def latency(keys: int) -> Latency:
    """Of so many keys, struck at random times."""
    folder = str(Path(__file__).parent)
    path = os.pathsep.join(filter(None, [folder, os.environ.get("PYTHONPATH")]))
    usual, apart.ENTRY = apart.ENTRY, "measured_sound:serve"
    drawn = random.Random(1)
    asked = []
    try:
        with tempfile.TemporaryDirectory() as home:
            noted = Path(home) / "keys"
            with driver("dummy", PYTHONPATH=path, **{MEASURES: str(noted)}):
                output = SoundApart(Choice())
                output.wait_until_open(60)
                for n in range(keys):
                    key = CHORD[n % 4]
                    asked.append(timed(partial(output.key_on, key)))
                    time.sleep(drawn.uniform(0.01, 0.03))
                    output.key_off(key)
                process = output._process
                assert process is not None
                process.leave()
                assert process.wait(10)
                output.close()
            lines = [json.loads(line) for line in noted.read_text().splitlines()]
    finally:
        apart.ENTRY = usual
    block = [line["block"] - line["asked"] for line in lines]
    return Latency(asked, block, [line["late"] for line in lines])


def told_latency(keys: int = 500) -> bool:
    held = True
    for processes in (0, 2):
        with load(processes), drawing(0.6):
            found = latency(keys)
        print(
            f"  {keys} keys beside {processes} busy processes and a thread that draws: the mixer "
            f"is asked after {spread(found.asked)}; the block that begins with it after "
            f"{spread(found.block)}; {sum(late > 48 for late in found.late)} keys more than 1 ms "
            "later than the constant lead"
        )
        heard = len(found.block) == keys
        held &= heard and float(np.quantile(found.asked, 0.99)) <= ASKED_WITHIN
    return held


def spread(seconds: list[float]) -> str:
    middle, most, worst = (1000 * float(np.quantile(seconds, q)) for q in (0.5, 0.99, 1.0))
    return f"{middle:.2f} ms in the median (99 of 100 within {most:.2f}, worst {worst:.2f})"


# ---- settings changed while a chord sounds ----------------------------------------------------


def choices() -> list[Choice]:
    tunings = [(t, p) for t in TEMPERAMENTS for p in PITCH_STANDARDS]
    return [
        Choice(stop, *tuning, volume)
        for tuning in tunings
        for stop in STOPS
        for volume in (0.2, 0.3)
    ]


def steady(choice: Choice) -> tuple[float, float]:
    """The largest step between two samples of the held chord, and the sharpest corner between
    three, however the waves of its notes happen to meet: the sums of its notes'."""
    steps, corners = 0.0, 0.0
    for key in CHORD:
        engine = Engine(choice)
        engine.mixer._level = choice.volume
        struck = (KeyOn(key, 64, 0.0),)
        blocks = [engine.block(BLOCK, n * BLOCK / RATE, () if n else struck) for n in range(60)]
        note = np.concatenate(blocks).astype(np.float64)[RATE // 20 :]
        steps += np.abs(np.diff(note)).max()
        corners += np.abs(np.diff(note, n=2)).max()
    return steps, corners


def changes(count: int, raw: Path) -> tuple[list[float], list[str], NDArray[np.float64]]:
    """So many changes of any sound setting while a chord sounds: seconds each call took, what the
    output said of itself, and the samples."""
    pool = [*choices(), Choice("none")]
    drawn = random.Random(count)
    took, said = [], []
    with driver("disk", SDL_DISKAUDIOFILE=str(raw)):
        output = SoundApart(Choice())
        output.wait_until_open(60)
        took += [timed(partial(output.key_on, key)) for key in CHORD]
        time.sleep(1.0)
        for _ in range(count):
            choice = drawn.choice(pool)
            took.append(timed(partial(output.retune, choice)))
            said.append(output.about)
            time.sleep(drawn.choice((0.0, 0.004, 0.02, 0.1)))
        output.retune(Choice())
        time.sleep(0.5)
        assert output._process is not None and output._process.alive
        took.append(timed(output.close))
    return took, said, np.fromfile(raw, np.float32).astype(np.float64)


def told_changes(count: int = 1000) -> bool:
    with load(), tempfile.TemporaryDirectory() as folder:
        took, said, samples = changes(count, Path(folder) / "raw")
    bounds = [steady(choice) for choice in choices() if choice.volume == 0.3]
    step, corner = np.abs(np.diff(samples)).max(), np.abs(np.diff(samples, n=2)).max()
    most_step, most_corner = max(b[0] for b in bounds), max(b[1] for b in bounds)
    stopped = sum("stopped" in about for about in said)
    print(
        f"  {count} changes beside 2 busy processes, {len(samples) / RATE:.0f} s of sound: slowest "
        f"call {1000 * max(took[:-1]):.1f} ms, closed in {took[-1]:.2f} s; the sound stopped "
        f"{stopped} times; largest step {step:.4f} (steady {most_step:.4f}), sharpest corner "
        f"{corner:.4f} (steady {most_corner:.4f}), loudest {np.abs(samples).max():.3f}"
    )
    sounded = 0.01 < np.abs(samples).max() <= 0.5
    smooth = step <= 1.01 * most_step and corner <= 1.05 * most_corner
    return bool(sounded and smooth and not stopped and max(took) < HELD_UP)


# ---- opening, closing, falling ----------------------------------------------------------------


def cycles(count: int) -> tuple[list[float], list[int]]:
    """Opened and closed so often, some before they are open, some while they sound: seconds each
    closing took, and the processes that were still there after it."""
    drawn = random.Random(count)
    took, left = [], []
    with driver("dummy"):
        for n in range(count):
            output = SoundApart(Choice())
            if n % 3:
                output.wait_until_open(60)
            for key in CHORD:
                output.key_on(key)
            time.sleep(drawn.uniform(0.0, 0.1))
            process = output._process
            took.append(timed(output.close))
            if process is not None and process.alive:
                left.append(process.pid)
    return took, left


def told_cycles(count: int = 200) -> bool:
    with load():
        took, left = cycles(count)
    print(
        f"  {count} times opened and closed beside 2 busy processes: closed within "
        f"{max(took):.2f} s, in the median {statistics.median(took):.2f} s; "
        f"{len(left)} processes left"
    )
    return not left and max(took) < apart.CLOSES_WITHIN + HELD_UP


def hung(count: int) -> list[float]:
    """Seconds that closing takes where the process is stopped and answers to nothing."""
    took = []
    with driver("dummy"):
        for _ in range(count):
            output = SoundApart(Choice())
            output.wait_until_open(60)
            process = output._process
            assert process is not None
            os.kill(process.pid, signal.SIGSTOP)
            for key in range(128):
                output.key_on(key)
            took.append(timed(output.close))
            assert not process.alive
    return took


def told_hung(count: int = 10) -> bool:
    with load():
        took = hung(count)
    print(
        f"  {count} times closed with a process that hangs: within {max(took):.2f} s "
        f"(stated limit {apart.CLOSES_WITHIN:g} s)"
    )
    return max(took) < apart.CLOSES_WITHIN + HELD_UP


def fallen(count: int) -> tuple[list[float], list[float]]:
    """Its process killed so often: seconds until that is said, and until it sounds again."""
    said, again = [], []
    with driver("dummy"):
        for _ in range(count):
            output = SoundApart(Choice())
            output.wait_until_open(60)
            output.key_on(60)
            assert output._process is not None
            began = time.perf_counter()
            output._process.kill()
            wait_for(output, lambda about: "stopped" in about)
            said.append(time.perf_counter() - began)
            wait_for(output, lambda about: about == Choice().about)
            again.append(time.perf_counter() - began)
            output.close()
    return said, again


def wait_for(output: SoundApart, says: Callable[[str], bool], within: float = 60.0) -> None:
    """Until what the output says of itself is as expected."""
    limit = time.monotonic() + within
    while not says(output.about):
        if time.monotonic() > limit:
            raise AssertionError(f"it says still: {output.about}")
        time.sleep(0.001)


def told_fallen(count: int = 10) -> bool:
    said, again = fallen(count)
    print(
        f"  {count} times its process killed: said after {1000 * max(said):.0f} ms at most, open "
        f"again after {statistics.median(again):.2f} s (worst {max(again):.2f})"
    )
    return True


PARTS = {
    "latency": told_latency,
    "changes": told_changes,
    "cycles": told_cycles,
    "hung": told_hung,
    "fallen": told_fallen,
}


def main(names: list[str]) -> int:
    held = True
    for name in names or list(PARTS):
        print(f"{name}:", flush=True)
        holds = PARTS[name]()
        print("  HOLDS" if holds else "  FAILS", flush=True)
        held &= holds
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
