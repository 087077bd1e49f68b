"""One program in a real window of a display of its own, played at a real port and led by its keys.

What it may be asked for is an `Appearance`: a piece or a drill in a key, on a light or a dark
ground, a size of text, a size of the window.
"""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from tests.end_to_end.jack import Bytes, Organ
from tests.end_to_end.window import press, resize
from tests.screen.x_server import Server as Display
from trainer.score.exercise import Exercise
from trainer.score.kern import read_exercise
from trainer.score.patterns import expand_id, load_patterns
from trainer.screen.drawing.theme import THEMES, Ground, Measure, Theme
from trainer.screen.sheet.layout import Layout, layout_of
from trainer.theory.voicing import Voicing

TEMPO = 150.0
BEAT = 60 / TEMPO
SEEN_LATE = 0.03  # seconds from the beat until it is seen in the window
HANGING = 120.0  # seconds; only guards
LOOK = 0.05  # seconds from one look to the next
DRAWN = 30.0  # seconds in which a page has to be drawn on the busiest machine
REST = 12  # looks at which a page that is at rest is the same
PIECE = Path(__file__).parents[1] / "screen" / "evening-river.krn"
DRILLS = f"""[quarry-path]
title = "Down the quarry path"
kind = "figure"
step = 6
beats = 1
tempo = {TEMPO:g}
major = "1 7 (6) 1 2 (6) 3 (6) 4 5 1"
minor = "1 #7 (6) 1 2 (#6) 3 (6) 4 5 (#) 1"
"""
SETTINGS = """player = "Ada"
[players.Ada]
id = "ada"
first_run_seen = true
sound = "none"
tolerance = 0.5
input = "organ"
ground = "{ground}"
text_scale = {scale:g}
"""

Size = tuple[int, int]

# what is typed in the library, and how often the drill's key is changed there
ROWS = {
    "evening-river": ("dusk", 0),
    "quarry-path@D": ("quarry", 3),
    "quarry-path@Bb": ("quarry", 4),
}


@dataclass(frozen=True, slots=True)
class Appearance:
    """What the page depends on, but for what is played."""

    exercise: str
    size: Size = (1280, 800)
    ground: Ground = "light"
    scale: float = 1.0  # of the text

    @property
    def theme(self) -> Theme:
        return THEMES[self.ground]


def keep_exercises(home: Path) -> None:
    """The piece and the drill in the player's own library, quick enough to be played often."""
    folder = home / "exercises"
    (folder / "patterns").mkdir(parents=True)
    piece = PIECE.read_text(encoding="utf-8")
    assert "*MM60" in piece
    (folder / PIECE.name).write_text(piece.replace("*MM60", f"*MM{TEMPO:g}"), encoding="utf-8")
    (folder / "patterns" / "own.toml").write_text(DRILLS, encoding="utf-8")


def exercise_named(name: str, home: Path) -> Exercise:
    """As the program finds it."""
    if "@" in name:
        return expand_id(load_patterns(home / "exercises" / "patterns"), name)
    return read_exercise(home / "exercises" / f"{name}.krn")


class Playing:
    """The program in its window, and its log. It begins at its first page."""

    def __init__(self, folder: Path, organ: Organ, begins: Appearance) -> None:
        """With the settings of an appearance; the exercise is still to be opened."""
        self.home = folder / "home"
        self.home.mkdir(parents=True)
        keep_exercises(self.home)
        settings = SETTINGS.format(ground=begins.ground, scale=begins.scale)
        (self.home / "settings.toml").write_text(settings, encoding="utf-8")
        self.display = Display(folder)
        self.organ = organ
        self.takes = 0
        self.at = replace(begins, exercise="", size=(1280, 800))
        self._process = subprocess.Popen(
            [sys.executable, "-m", "trainer"],
            env={**os.environ, "DISPLAY": self.display.display,
                 "MITTELSTIMME_HOME": str(self.home), "SDL_VIDEODRIVER": "x11",
                 "SDL_AUDIODRIVER": "dummy"},
            stdout=subprocess.DEVNULL,
        )  # fmt: skip
        until(lambda: dark(self.picture(), self.at.theme) > 500, "no first page was drawn")

    # ---- what is seen -------------------------------------------------------------------------

    def picture(self) -> np.ndarray:
        return self.display.picture()[: self.at.size[1], : self.at.size[0]]

    def place(self, *, figures: bool = False) -> Layout:
        return layout_of(Measure.of(*self.at.size, self.at.scale), strip=True, figures=figures)

    def page(self) -> np.ndarray:
        """The part of the picture with the music and all that is written into it; above what is
        said of a pass when it is over."""
        board = self.place(figures=True).board
        return self.picture()[board.top : board.bottom, : board.right].copy()

    def at_rest(self, looks: int = REST) -> np.ndarray:
        """The page once it has been the same for some looks."""
        return _unchanged(self.page, looks)

    def until_like(self, wanted: np.ndarray) -> np.ndarray:
        """The page once it is like another, or what has become of it in `DRAWN` seconds."""
        ends = time.monotonic() + DRAWN
        while (page := self.page()).shape != wanted.shape or (page != wanted).any():
            if time.monotonic() > ends:
                break
            time.sleep(LOOK)
        return page

    def settled(self) -> np.ndarray:
        """Any picture of what one passes on the way to a page."""
        return _unchanged(self.picture, REST // 3)

    # ---- leading it by its keys ---------------------------------------------------------------

    def keys(self, *keys: str) -> None:
        press(self.display.display, *keys)

    def show(self, wanted: Appearance) -> None:
        """From wherever it is to the page of an appearance, ready to be played. The way is a
        player's: back to the first page, the settings, the library, the size of the window."""
        if self.at.exercise:
            # to the library, whose field is cleared, and from there
            self.keys("Escape", "Escape", "Escape")
            self.settled()
        if (wanted.ground, wanted.scale) != (self.at.ground, self.at.scale):
            self._set(wanted)
        if wanted.size != self.at.size:
            self.at = replace(self.at, size=wanted.size)
            resize(self.display.display, *wanted.size)
            self.settled()
        self._open(wanted)

    def again(self) -> None:
        """After a pass: to the page ready to be played once more."""
        self.keys("space")
        until(lambda: not self._marked(), "the page stayed as it was")

    def _marked(self) -> bool:
        """Whether the page after a pass is seen: without the line on which the beat falls."""
        beat = self.place().tactus
        line = self.picture()[beat.top : beat.bottom, beat.centerx].astype(int)
        return bool((np.abs(line - self.at.theme.paper) < 3).all())

    def _set(self, wanted: Appearance) -> None:
        """Ground and size of text, on the page of settings."""
        self.keys("s")
        self.settled()
        # from the last line up: step, minutes, time, strictness; motion, strip, size of text, paper
        self.keys("End", *["Up"] * 6)
        steps = round((wanted.scale - self.at.scale) / 0.1)
        for _ in range(abs(steps)):
            self.keys("Right" if steps > 0 else "Left")
        until(lambda: abs(self._kept("text_scale") - wanted.scale) < 1e-6, "the text kept its size")
        self.keys("Up")
        if wanted.ground != self.at.ground:
            self.keys("Right")
        until(lambda: self._kept("ground") == wanted.ground, "the ground stayed as it was")
        self.at = replace(self.at, ground=wanted.ground, scale=wanted.scale)
        self.keys("Escape")
        self.settled()

    def _kept(self, name: str) -> object:
        document = tomllib.loads((self.home / "settings.toml").read_text(encoding="utf-8"))
        return document["players"]["Ada"][name]

    def _open(self, wanted: Appearance) -> None:
        """An exercise of the library, in its key."""
        typed, turns = ROWS[wanted.exercise]
        self.keys("l")
        self.settled()
        self.keys(*typed)
        lower = wanted.size[1] // 2
        until(
            lambda: dark(self.settled()[lower:], wanted.theme) > 1500,
            "the library does not show the beginning of the piece",
        )
        if turns:
            self.keys(*["Tab"] * turns)
            self.settled()
        before = self.picture().tobytes()
        self.keys("Return")
        until(lambda: self.picture().tobytes() != before, "the exercise was not opened")
        until(lambda: dark(self.page(), wanted.theme) > 1500, "no page was drawn")
        self.at = wanted

    # ---- playing ------------------------------------------------------------------------------

    def play(self, exercise: Exercise, voicings: Sequence[Voicing], overlap: float) -> np.ndarray:
        """A pass of these voicings; the page after it."""
        self.keys("space")
        metre = exercise.moments[0].metre
        begin = self._counted_in() + float(metre.bar_length / metre.beat_length) * BEAT - SEEN_LATE
        self.organ.send(performed(exercise, voicings, begin, overlap))
        self.organ.wait()
        self.takes += 1
        until(lambda: finished(self.home) == self.takes, "the take did not come into the log")
        until(self._marked, "the page was not marked")
        return self.at_rest()

    def _counted_in(self) -> float:
        """When it began to be counted in. The beat is read from the ground at the foot of the
        window: how much of it is still dark says how long ago the beat was when this was drawn. A
        busy machine may have drawn it a while ago, so of the looks at the first beat the one counts
        that puts it first."""
        foot = self.place().ground
        beats: list[float] = []
        before = foot.height

        def gone_by() -> bool:
            nonlocal before
            # only the first beat of a bar strikes the ground as far as its ends
            ground = self.display.rows(foot.top, foot.height)[:, foot.x + 8 : foot.x + 40]
            rows = (np.abs(ground.astype(int) - self.at.theme.mark) < 30).all(axis=(1, 2))
            struck, now = int(rows.sum()), time.monotonic()
            if not rows[-1] or struck > before:
                return bool(beats)
            before = struck
            beats.append(now - (1 - struck / foot.height) / 2 * BEAT)
            return False

        until(gone_by, "nothing was counted in", every=0.002)
        return min(beats)

    def close(self) -> None:
        self._process.terminate()
        self._process.wait(60)
        self.display.close()


def _unchanged(look: Callable[[], np.ndarray], looks: int) -> np.ndarray:
    """What is seen, once it has been the same at so many looks in a row."""
    seen, same = look(), 0

    def still() -> bool:
        nonlocal seen, same
        now = look()
        same = same + 1 if now.shape == seen.shape and (now == seen).all() else 0
        seen = now
        return same >= looks

    until(still, "the picture did not come to rest", every=LOOK)
    return seen


@contextmanager
def opened(folder: Path, organ: Organ, begins: Appearance) -> Iterator[Playing]:
    folder.mkdir()
    playing = Playing(folder, organ, begins)
    try:
        yield playing
    finally:
        playing.close()


def until(condition: Callable[[], bool], what: str, every: float = 0.02) -> None:
    ends = time.monotonic() + HANGING
    while not condition():
        if time.monotonic() > ends:
            raise AssertionError(what)
        time.sleep(every)


def dark(page: np.ndarray, theme: Theme) -> int:
    """How many pixels are of the theme's ink."""
    return int((np.abs(page.astype(int) - theme.ink) < 30).all(axis=2).sum())


def performed(
    exercise: Exercise, voicings: Sequence[Voicing], begin: float, overlap: float
) -> list[Bytes]:
    """The chords at their times; a key that lies over and is struck again is let go before."""
    assert exercise.moments[0].onset == Fraction(0) and exercise.tempo == TEMPO
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


_WHOLE = "FROM take WHERE state = 'finished' AND marking_seq IS NOT NULL"


def finished(home: Path) -> int:
    """How many takes the log has that were judged whole."""
    log = home / "log.sqlite"
    if not log.exists():
        return 0
    with closing(sqlite3.connect(f"file:{log}?mode=ro", uri=True)) as raw:
        return int(raw.execute(f"SELECT count(*) {_WHOLE}").fetchone()[0])


def taken(home: Path) -> list[list[list[int]]]:
    """Of every take that was judged whole, the keys of its moments."""
    with closing(sqlite3.connect(f"file:{home / 'log.sqlite'}?mode=ro", uri=True)) as raw:
        done = raw.execute(f"SELECT marking_seq {_WHOLE} ORDER BY seq").fetchall()
        of_one = "SELECT keys FROM moment WHERE marking_seq = ? ORDER BY position"
        return [[sorted(keys) for (keys,) in raw.execute(of_one, one)] for one in done]


def sent(voicings: Sequence[Voicing]) -> list[list[int]]:
    return [sorted({p.midi for p in voicing if p is not None}) for voicing in voicings]


def lateness(home: Path) -> float:
    """By how many milliseconds the chord farthest from its time was late or early, of all takes."""
    with closing(sqlite3.connect(f"file:{home / 'log.sqlite'}?mode=ro", uri=True)) as raw:
        return float(raw.execute("SELECT max(abs(late_ms)) FROM moment").fetchone()[0])


def broken_off(home: Path) -> list[int]:
    """The takes, counted from 0, that the program broke off and went on with: where the machine
    stood still for so long that nobody could have played on."""
    with closing(sqlite3.connect(f"file:{home / 'log.sqlite'}?mode=ro", uri=True)) as raw:
        pauses = raw.execute(f"SELECT pauses {_WHOLE} ORDER BY seq").fetchall()
    return [number for number, (text,) in enumerate(pauses) if text != "[]"]
