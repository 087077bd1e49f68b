"""Is the picture after pass n the picture of that pass alone?

`python -m tests.faults.pictures [--passes N] [--voicings N] [--busy N]` plays N passes (default
200) of a short piece through a real MIDI port (JACK) into one program in a real window (Xvfb): with
different voicings and degrees of legato, as chance decides, and another size of the window from
time to time. Each page is compared pixel by pixel with that of a program freshly started for this
voicing and size alone, and the keys of each take in the log, read by sqlite3, with what was sent.
`--busy` processes compute beside it. Prints passes, pictures, notes and differences.
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from random import Random

import numpy as np

from tests.end_to_end.jack import Bytes, Organ
from tests.end_to_end.jack import Server as Jack
from tests.end_to_end.window import press, resize
from tests.faults.live_and_final import by_chance
from tests.faults.sound import load
from tests.screen.x_server import Server as Display
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.screen.drawing.theme import LIGHT, Measure
from trainer.screen.sheet.layout import Layout, layout_of
from trainer.theory.voicing import Voicing

PIECE = Path(__file__).parents[1] / "screen" / "evening-river.krn"
TEMPO = 150.0
BEAT = 60 / TEMPO
# of a beat by which a finger leaves late: from half a beat on it would count, and on a busy machine
# the beat is seen, and so everything played, by some frames too late
LEGATO = (-0.1, 0.0, 0.1, 0.2, 0.3)
SIZES = ((1280, 800), (1024, 640))
HANGING = 120.0  # seconds; only guards
REST = 6  # looks, a tenth of a second apart, at which a page that is at rest is the same
SETTINGS = """player = "Ada"
[players.Ada]
id = "ada"
first_run_seen = true
tolerance = 0.5
"""

Size = tuple[int, int]


@dataclass
class Compared:
    """`differing` are pixels of pages, `amiss` takes whose keys are not those that were sent."""

    passes: int = 0
    pictures: int = 0
    notes: int = 0
    differing: list[int] = field(default_factory=list)
    amiss: list[int] = field(default_factory=list)


class Playing:
    """One program in a window of its own display, and its log."""

    def __init__(self, folder: Path, organ: Organ) -> None:
        self.home = folder / "home"
        self.home.mkdir(parents=True)
        (self.home / "settings.toml").write_text(SETTINGS, encoding="utf-8")
        self.display = Display(folder)
        self.organ = organ
        self.size: Size = SIZES[0]
        self.takes = 0
        self._process = subprocess.Popen(
            [sys.executable, "-m", "trainer", "practice", str(PIECE), "--view", "window",
             "--input", "organ", "--tempo", f"{TEMPO:g}", "--silent"],
            env={**os.environ, "DISPLAY": self.display.display,
                 "MITTELSTIMME_HOME": str(self.home), "SDL_VIDEODRIVER": "x11",
                 "SDL_AUDIODRIVER": "dummy"},
            stdout=subprocess.DEVNULL,
        )  # fmt: skip

    def picture(self) -> np.ndarray:
        return self.display.picture()[: self.size[1], : self.size[0]]

    @property
    def place(self) -> Layout:
        return layout_of(Measure.of(*self.size, 1.0), strip=True, figures=False)

    def page(self) -> np.ndarray:
        """The part of the picture with the music and all that is written into it."""
        board = self.place.board
        return self.picture()[board.top : board.bottom, : board.right].copy()

    def at_rest(self) -> np.ndarray:
        """The page once it has been the same for some looks."""
        seen, same = self.page(), 0

        def still() -> bool:
            nonlocal seen, same
            now = self.page()
            same = same + 1 if now.shape == seen.shape and (now == seen).all() else 0
            seen = now
            time.sleep(0.1)
            return same >= REST

        until(still, "the page did not come to rest")
        return seen

    def ready(self) -> None:
        """Until music stands on the page."""
        until(lambda: dark(self.page()) > 1500, "no page was drawn")
        self.at_rest()

    def resize(self, size: Size) -> None:
        if size != self.size:
            resize(self.display.display, *size)
            self.size = size
            self.at_rest()

    def play(self, exercise: Exercise, voicings: Sequence[Voicing], overlap: float) -> np.ndarray:
        """A pass of these voicings; the page after it. When it is counted in is seen."""
        foot = self.place.ground
        counted: list[float] = []

        def first_beat() -> bool:
            edge = self.picture()[foot.bottom - 3, foot.x + 8 : foot.x + 40].astype(int)
            if (np.abs(edge - LIGHT.mark) < 30).all():
                counted.append(time.monotonic())
            return bool(counted)

        press(self.display.display, "space")
        until(first_beat, "nothing was counted in", every=0.002)
        begin = counted[0] + 3 * BEAT  # a bar of three
        self.organ.send(performed(exercise, voicings, begin, overlap))
        self.organ.wait()
        self.takes += 1
        until(lambda: len(taken(self.home)) == self.takes, "the take did not come into the log")
        return self.at_rest()

    def close(self) -> None:
        self._process.terminate()
        self._process.wait(60)
        self.display.close()


def until(condition: Callable[[], bool], what: str, every: float = 0.02) -> None:
    ends = time.monotonic() + HANGING
    while not condition():
        if time.monotonic() > ends:
            raise AssertionError(what)
        time.sleep(every)


def dark(page: np.ndarray) -> int:
    return int((np.abs(page.astype(int) - LIGHT.ink) < 30).all(axis=2).sum())


def performed(
    exercise: Exercise, voicings: Sequence[Voicing], begin: float, overlap: float
) -> list[Bytes]:
    """The chords at their times; a key that lies over and is struck again is let go before."""
    chords = [sorted({p.midi for p in voicing if p is not None}) for voicing in voicings]
    found: list[Bytes] = []
    for number, moment in enumerate(exercise.moments):
        start = begin + float(moment.onset) * BEAT
        end = start + float(moment.duration) * BEAT
        following = chords[number + 1] if number + 1 < len(chords) else []
        for key in chords[number]:
            up = end - 0.03 if key in following else end + overlap * BEAT
            found += [(start, [0x90, key, 70]), (up, [0x80, key, 0])]
    return found


def taken(home: Path) -> list[list[list[int]]]:
    """Of every take that was judged whole, the keys of its moments."""
    log = home / "log.sqlite"
    if not log.exists():
        return []
    with closing(sqlite3.connect(f"file:{log}?mode=ro", uri=True)) as raw:
        done = raw.execute(
            "SELECT marking_seq FROM take WHERE state = 'finished' AND marking_seq IS NOT NULL "
            "ORDER BY seq"
        ).fetchall()
        of_one = "SELECT keys FROM moment WHERE marking_seq = ? ORDER BY position"
        return [[sorted(keys) for (keys,) in raw.execute(of_one, one)] for one in done]


def sent(voicings: Sequence[Voicing]) -> list[list[int]]:
    return [sorted({p.midi for p in voicing if p is not None}) for voicing in voicings]


@contextmanager
def opened(folder: Path, organ: Organ) -> Iterator[Playing]:
    playing = Playing(folder, organ)
    try:
        playing.ready()
        yield playing
    finally:
        playing.close()


def compare(passes: int, voicings: int, organ: Organ, folder: Path, seed: int = 1) -> Compared:
    """Play and compare."""
    exercise = read_exercise(PIECE)
    assert exercise.moments[0].onset == Fraction(0)
    chance = Random(seed)
    ways = [by_chance(exercise, chance) for _ in range(voicings)]
    found = Compared()
    alone: dict[tuple[int, Size], np.ndarray] = {}

    def fresh(way: int, size: Size) -> np.ndarray:
        if (way, size) not in alone:
            here = folder / f"alone-{way}-{size[0]}"
            here.mkdir()
            with opened(here, organ) as one:
                one.resize(size)
                alone[way, size] = one.play(exercise, ways[way], 0.0)
        return alone[way, size]

    plays = []
    for number in range(passes):
        size = SIZES[number * len(SIZES) // passes] if passes < 8 else SIZES[number // 4 % 2]
        plays.append((chance.randrange(voicings), chance.choice(LEGATO), size))
    pages = []
    with opened(folder / "in-a-row", organ) as playing:
        for number, (way, overlap, size) in enumerate(plays):
            if number:
                press(playing.display.display, "space")  # again
                playing.at_rest()
            playing.resize(size)
            pages.append(playing.play(exercise, ways[way], overlap))
            found.passes += 1
        kept = taken(playing.home)
    for number, ((way, _, size), page) in enumerate(zip(plays, pages, strict=True)):
        other = fresh(way, size)
        found.pictures += 1
        found.differing.append(int((page != other).any(axis=2).sum()))
        found.notes += sum(map(len, kept[number]))
        if kept[number] != sent(ways[way]):
            found.amiss.append(number)
    assert len({page.tobytes() for page in alone.values()}) == len(alone)  # they can be told apart
    return found


def main(arguments: list[str] | None = None) -> int:
    """0 if every page is the page of its own pass."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--passes", type=int, default=200)
    asked.add_argument("--voicings", type=int, default=8)
    asked.add_argument("--busy", type=int, default=0)
    wanted = asked.parse_args(arguments)
    began = time.monotonic()
    with (
        load(wanted.busy),
        closing(Jack()),
        closing(Organ()) as organ,
        tempfile.TemporaryDirectory() as folder,
    ):
        (Path(folder) / "in-a-row").mkdir()
        found = compare(wanted.passes, wanted.voicings, organ, Path(folder))
    wrong = [(n, pixels) for n, pixels in enumerate(found.differing) if pixels]
    print(f"{found.passes} passes in one program, {found.pictures} pictures, {found.notes} notes")
    print(f"pictures that differ from the pass alone: {len(wrong)} {wrong[:10] or ''}")
    print(
        f"takes in the log that are not what was sent: {len(found.amiss)} {found.amiss[:10] or ''}"
    )
    print(f"{time.monotonic() - began:.0f} s, {wanted.busy} busy processes beside it")
    holds = not wrong and not found.amiss
    print("HOLDS" if holds else "FAILS")
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
