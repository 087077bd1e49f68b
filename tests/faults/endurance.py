"""Hours of practice in one window: whether memory, handles, threads and files stay as they are.

    python -m tests.faults.endurance                 four hours
    python -m tests.faults.endurance --hours 0.5

The real window on SDL's dummy driver, with the sound, the ears and the engraver in their processes
and the log written. Only the clock is simulated: it goes as fast as the machine can follow. Piece
after piece is found in the library, played with slips, in tempo or without a clock, repeated, heard
and looked through; between pieces the log, its takes, the settings, today's plan and the page of
the review are opened and closed, and the window changes its size. After every piece, at the first
page, it is measured what the program holds. For every figure: how it went in the second half, and
per hour of practice. The status is 1 if anything grew.
"""

from __future__ import annotations

import argparse
import itertools
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from random import Random
from unittest.mock import patch

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
os.environ.setdefault("SDL_AUDIODRIVER", "dummy")

import pygame

from tests.faults.measured_memory import Sample, courses, grown, sample
from tests.screen.hands import Hands, StageClock, open_hands, somebody
from trainer.conducting.chosen_sound import opening_sound
from trainer.conducting.console import Console
from trainer.conducting.shell import Shell
from trainer.conducting.sources import DemoSource, HandsSource, usual
from trainer.journal.store import Journal
from trainer.journal.verify import verify
from trainer.journal.writer import Writer
from trainer.listening.events import KeyEvent
from trainer.practice.effects import Effect, PassBegan, SessionEvent
from trainer.practice.session import Session
from trainer.practice.slips import Slip
from trainer.resources import exercises_folder
from trainer.review.review_page import review_page
from trainer.screen.app import App
from trainer.screen.views.after import AfterView
from trainer.screen.views.front import FrontView
from trainer.screen.views.play import PlayView
from trainer.sound.output import Output
from trainer.sound.requests import Choice
from trainer.sound.track import Track

FRAME = 0.2  # seconds between frames while a pass is played: every event carries its own time
LONGEST = 600.0  # seconds of one pass
SIZES = ((1280, 800), (1024, 640), (1920, 1080), (1440, 900), (1100, 1000), (1600, 700))
SLIPS = ("wrong", "late", "skipped", "extra", "corrected", "doubled")
DRILLS = (
    "rule-of-the-octave@f#",
    "falling-fifths@G:third",
    "triads-common-tones@Eb",
    "rule-of-the-octave@Bb:fifth",
    "falling-fifths@c",
    "triads-common-tones@A:third",
)


class DemoHands(HandsSource):
    """Hands at a keyboard that go by numbers. The ears listen as they always do."""

    shell: Callable[[], Shell]
    slips: Sequence[Slip] = ()

    def __init__(self, at_once: Callable[[KeyEvent], None]) -> None:
        super().__init__(at_once)
        self._hands: DemoSource | None = None

    @property
    def port(self) -> str | None:
        return "demonstration"

    def told(self, effect: Effect, session: Session) -> None:
        if isinstance(effect, PassBegan):
            setup = self.shell().setup
            self._hands = DemoSource(
                setup, self._at_once, day=usual(slips=self.slips), seed=int(session.now)
            )
        if self._hands is not None:
            self._hands.told(effect, session)

    def poll(self, now: float) -> Sequence[SessionEvent]:
        played = () if self._hands is None else self._hands.poll(now)
        return [*super().poll(now), *played]

    def sure(self, now: float) -> float:
        return now


class InItsTime:
    """An output that is asked by the simulated clock and asks the real one: what is to sound in so
    many seconds does so in as many, or is ended before."""

    def __init__(self, output: Output, now: Callable[[], float]) -> None:
        self._output, self._now = output, now
        self.stop, self.retune, self.close = output.stop, output.retune, output.close

    @property
    def about(self) -> str:
        return self._output.about

    def key_on(self, key: int, velocity: int = 64, at: float | None = None) -> None:
        self._output.key_on(key, velocity, self._real(at))

    def key_off(self, key: int, at: float | None = None) -> None:
        self._output.key_off(key, self._real(at))

    def play(self, track: Track, at: float) -> None:
        self._output.play(track, time.monotonic() + at - self._now())

    def stop(self) -> None: ...

    def retune(self, choice: Choice) -> None: ...

    def close(self) -> None: ...

    def _real(self, at: float | None) -> float | None:
        return None if at is None else time.monotonic() + at - self._now()


@dataclass
class Practice:
    """The program at work, and the hands that practise with it."""

    hands: Hands
    app: App
    source: DemoHands
    log: Path
    temporary: Path
    chance: Random = field(default_factory=lambda: Random(1))
    played: float = 0.0  # seconds of passes
    passes: int = 0

    # ---- one piece after another --------------------------------------------------------------

    def piece(self, number: int, name: str) -> None:
        """One piece with all that is done about it; begins and ends at the first page."""
        self.open(number, name)
        play = self.hands.window.room.view
        assert isinstance(play, PlayView), self.hands.window.room.notice
        for turn in range(2 + number % 2):
            if turn:
                self.press(pygame.K_SPACE if number % 3 else pygame.K_MINUS)
                self.hands.settle(60)
            if number % 5 == 2 and turn == 0:
                self.press(pygame.K_TAB)  # without a clock
            for _ in range(self.chance.randrange(4)):
                self.press(self.chance.choice((pygame.K_UP, pygame.K_DOWN)))
            self.play(play)
            self.look_through(number + turn)
        self.press(pygame.K_ESCAPE)
        self.besides(number)
        while not isinstance(self.hands.window.room.view, FrontView):
            self.press(pygame.K_ESCAPE)
        self.hands.settle(60)

    def open(self, number: int, name: str) -> None:
        if number % 2:
            self.app.practise_named(name)
        else:
            self.press(pygame.K_l, "l")
            self.hands.settle(60)
            self.hands.write(name.partition("@")[0].replace("-", " "))
            self.hands.settle(60)
            self.press(pygame.K_RETURN)
        self.hands.until(lambda: isinstance(self.hands.window.room.view, PlayView), 60)
        self.hands.settle(60)

    def play(self, view: PlayView) -> None:
        """A pass from its beginning to its marked page."""
        moments = len(view.shell.setup.exercise.moments)
        self.source.slips = [
            Slip(self.chance.choice(SLIPS), self.chance.randrange(1, moments))  # type: ignore[arg-type]
            for _ in range(3)
        ]
        began = self.hands.now
        self.press(pygame.K_SPACE, " ")
        while self.hands.window.room.view is view:
            assert self.hands.now < began + LONGEST
            self.hands.now += FRAME
            self.hands.window.frame(self.hands.now)
        assert isinstance(self.hands.window.room.view, AfterView)
        self.played += self.hands.now - began
        self.passes += 1
        self.hands.settle(60)

    def look_through(self, number: int) -> None:
        """The page after the pass, and the window at another size."""
        for key in (pygame.K_m, pygame.K_RIGHT, pygame.K_p, pygame.K_s, pygame.K_f, pygame.K_RIGHT):
            self.press(key)
            self.hands.settle(60)
        for key in (pygame.K_DOWN, pygame.K_UP, pygame.K_c, pygame.K_QUESTION, pygame.K_x):
            self.press(key, "?" if key == pygame.K_QUESTION else "")
        if number % 2:
            self.hands.resize(*SIZES[number // 2 % len(SIZES)])
            self.hands.settle(60)

    def besides(self, number: int) -> None:
        """The other views, by turns."""
        match number % 4:
            case 0:
                self.press(pygame.K_o, "o")
                self.hands.settle(60)
                for key in (pygame.K_1, pygame.K_2, pygame.K_3, pygame.K_4, pygame.K_5):
                    self.press(key)
                self.press(pygame.K_RETURN)
                self.hands.settle(60)
                self.press(pygame.K_m)
            case 1:
                self.press(pygame.K_s, "s")
                for _ in range(self.chance.randrange(3, 30)):
                    self.press(pygame.K_DOWN)
                for key in (pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_LEFT, pygame.K_LEFT):
                    self.press(key)
                    self.hands.settle(60)
            case 2:
                self.press(pygame.K_t, "t")
                self.hands.settle(60)
                self.press(pygame.K_SPACE, " ")
                self.hands.settle(60)
                if isinstance(view := self.hands.window.room.view, PlayView):
                    self.play(view)
            case _:
                writer = self.app.desk.writer
                assert writer is not None
                writer.flush(60)
                with Journal.open(self.log) as journal:
                    page = review_page(journal, None, 10, datetime.now().astimezone())
                assert "</html>" in page

    def press(self, key: int, unicode: str = "") -> None:
        self.hands.press(key, unicode)

    # ---- what is held -------------------------------------------------------------------------

    def sample(self) -> Sample:
        return sample(self.played / 3600, self.temporary)


@contextmanager
def practice() -> Iterator[Practice]:
    """The program opened in a home of its own, and put away."""
    with ExitStack() as stack:
        home = Path(stack.enter_context(tempfile.TemporaryDirectory(ignore_cleanup_errors=True)))
        temporary = home / "temporary"
        temporary.mkdir()
        surroundings = {"MITTELSTIMME_HOME": str(home), "TMPDIR": str(temporary)}
        stack.enter_context(patch.dict(os.environ, surroundings))
        stack.enter_context(patch.object(tempfile, "tempdir", str(temporary)))
        hands = open_hands(SIZES[0], somebody(volume=0.1))
        hands.now = time.monotonic()
        stack.callback(hands.close)
        clock = StageClock(hands)
        stack.enter_context(patch("trainer.conducting.shell.RealClock", lambda: clock))
        player = hands.window.room.settings.player
        sound = opening_sound(player)
        stack.callback(sound.close)
        sound.wait_until_open(60)
        log = home / "log.sqlite"
        writer = stack.enter_context(Writer(str(log)))
        writer.player(player.id, player.name)
        desks: list[Console] = []
        source = DemoHands(lambda event: desks[0].at_once(event))
        stack.callback(source.close)
        desks.append(Console(source, InItsTime(sound, clock.now), writer, log=str(log)))

        def shell() -> Shell:
            held = desks[0].shell
            assert held is not None
            return held

        source.shell = shell
        app = App(hands.window.room, lambda: desks[0], ports=lambda: ((), ()))
        app.front()
        hands.frame(2)
        yield Practice(hands, app, source, log, temporary)


def piece_after_piece(at_work: Practice) -> Iterator[Sample]:
    """Without end; what was held after every piece."""
    pieces = sorted(path.stem for path in exercises_folder().glob("*.krn"))
    for number, name in enumerate(itertools.cycle([*pieces, *DRILLS])):
        at_work.piece(number, name)
        yield at_work.sample()


def check_log(at_work: Practice) -> None:
    """Every pass is in the log, and the log whole."""
    writer = at_work.app.desk.writer
    assert writer is not None
    writer.flush(60)
    with Journal.open(at_work.log) as journal:
        checked = verify(journal)
    assert not checked.troubles and checked.takes >= at_work.passes, checked


def in_words(one: Sample, passes: int) -> str:
    apart = ", ".join(f"{mb:.0f}" for _, mb in sorted(one.apart_mb.items()))
    return (
        f"{one.hours:5.2f} h, {passes:4} passes: {one.memory_mb:6.1f} MB, its processes {apart} "
        f"MB; {one.handles}+{one.handles_apart} handles, {one.threads} threads, {one.processes} "
        f"processes, {one.files} temporary files, {one.objects} objects, {one.kept} "
        "results in caches"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=4.0, help="of passes")
    asked = parser.parse_args()
    began, told = time.monotonic(), 0
    samples: list[Sample] = []
    with practice() as at_work:
        for one in piece_after_piece(at_work):
            samples.append(one)
            if one.hours * 16 >= told * asked.hours:
                print(in_words(one, at_work.passes), flush=True)
                told += 1
            if one.hours >= asked.hours:
                break
        check_log(at_work)
    print(f"{samples[-1].hours:.2f} hours of passes in {(time.monotonic() - began) / 60:.1f} min\n")
    print(f"{'in the second half':48}{'first':>9}{'last':>9}{'per hour':>10}{'±':>7}")
    amiss = False
    for one in courses(samples):
        figures = f"{one.first:9.1f}{one.last:9.1f}{one.per_hour:10.2f}{one.error:7.2f}"
        print(f"{one.name:48}{figures}{'' if one.holds else '  grows'}")
        amiss = amiss or not one.holds
    print("\nkinds of objects of which there are more:")
    for kind, before, after in grown(samples):
        print(f"  {kind:60}{before:8} to {after}")
    print("FAILS" if amiss else "HOLDS")
    return int(amiss)


if __name__ == "__main__":
    sys.exit(main())
