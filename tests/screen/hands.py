"""Hands for the window: real key and mouse events, frames, pictures.

Pictures are kept in the folder MITTELSTIMME_PICTURES names, if it is set.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
os.environ.setdefault("SDL_AUDIODRIVER", "dummy")

import pygame

from trainer.conducting.console import Console
from trainer.conducting.setup import Setup
from trainer.conducting.shell import Shell
from trainer.conducting.sources import DemoSource, HandsSource, Source, usual
from trainer.conducting.way_out import WayOut
from trainer.listening.assigning import Assignment
from trainer.listening.events import KeyDown, KeyEvent, KeyUp
from trainer.practice.demo import HUMAN, Manner
from trainer.practice.effects import Effect
from trainer.practice.session import Session
from trainer.practice.slips import Slip
from trainer.score.exercise import Exercise
from trainer.screen.app import App, Ports
from trainer.screen.remembered import WindowState
from trainer.screen.views.play import PlayView
from trainer.screen.window import Window
from trainer.settings import Player, Settings
from trainer.sound.output import Silence
from trainer.sound.requests import Choice

SIZES = ((1024, 640), (1920, 1080), (3840, 2160))


def somebody(**choices: object) -> Settings:
    """Settings of one player who has read the first page."""
    player = Player("Ada", "a" * 32, first_run_seen=True)
    return Settings("Ada", (replace(player, **choices),))  # type: ignore[arg-type]


class Heard(Silence):
    """An output that remembers what it was asked for."""

    def __init__(self) -> None:
        super().__init__("organ · a’ = 440 · equal")
        self.keys: list[tuple[str, int]] = []
        self.tracks: list[object] = []
        self.volume = 0.0

    def key_on(self, key: int, velocity: int = 64, at: float | None = None) -> None:
        self.keys.append(("on", key))

    def key_off(self, key: int, at: float | None = None) -> None:
        self.keys.append(("off", key))

    def play(self, track: object, at: float) -> None:
        self.tracks.append(track)

    def retune(self, choice: Choice) -> None:
        self.volume = choice.volume


@dataclass
class Hands:
    """A window and what one does with it. Time goes on only in frames of 1/60 second, or as the
    real clock goes with `real`."""

    window: Window
    output: Heard
    app: App | None = None
    saved: list[Settings] = field(default_factory=list)
    now: float = 1000.0
    real: bool = False

    def frame(self, count: int = 1) -> None:
        for _ in range(count):
            self.now = time.monotonic() if self.real else self.now + 1 / 60
            self.window.frame(self.now)

    def settle(self, seconds: float = 120.0) -> None:
        """Frames until the page has come and nothing is being sought."""
        ends = time.monotonic() + seconds
        self.frame(2)
        while time.monotonic() < ends:
            self.frame()
            board = getattr(self.window.room.view, "board", None) or getattr(
                self.window.room.view, "_board", None
            )
            play = getattr(self.window.room.view, "play", None)
            board = board or getattr(play, "board", None)
            waiting = board is not None and board.asked and not board.complete
            if not waiting and not self.window.room.errands.busy:
                self.frame(2)
                return
            time.sleep(0.004)
        raise AssertionError("the window did not come to rest")

    def until(self, condition: Callable[[], bool], seconds: float = 120.0) -> None:
        """Frames until something holds; the limit only guards against hanging."""
        ends = time.monotonic() + seconds
        while not condition():
            if time.monotonic() > ends:
                raise AssertionError("it did not come about")
            self.frame()
            if self.real:
                time.sleep(0.004)

    def press(self, key: int, unicode: str = "", scancode: int = 0, mod: int = 0) -> None:
        """A key that has a character sends it as text too, as the system does."""
        details = {"key": key, "unicode": unicode, "scancode": scancode, "mod": mod}
        pygame.event.post(pygame.event.Event(pygame.KEYDOWN, details))
        if unicode and unicode.isprintable():
            pygame.event.post(pygame.event.Event(pygame.TEXTINPUT, {"text": unicode}))
        pygame.event.post(pygame.event.Event(pygame.KEYUP, details))
        self.frame()

    def write(self, text: str) -> None:
        """Type into a field."""
        for character in text:
            key = pygame.key.key_code(character) if character != " " else pygame.K_SPACE
            self.press(key, character)
        self.frame()

    def click(self, position: tuple[int, int], button: int = 1) -> None:
        for kind in (pygame.MOUSEBUTTONDOWN, pygame.MOUSEBUTTONUP):
            pygame.event.post(pygame.event.Event(kind, {"pos": position, "button": button}))
        self.frame()

    def wheel(self, y: int) -> None:
        pygame.event.post(pygame.event.Event(pygame.MOUSEWHEEL, {"x": 0, "y": y}))
        self.frame()

    def resize(self, width: int, height: int) -> None:
        details = {"w": width, "h": height, "size": (width, height)}
        pygame.display.set_mode((width, height), pygame.RESIZABLE)
        pygame.event.post(pygame.event.Event(pygame.VIDEORESIZE, details))
        self.frame()

    @property
    def surface(self) -> pygame.Surface:
        return self.window.stage.surface

    def picture(self, name: str) -> pygame.Surface:
        """The window as it is, kept under a name if pictures are wanted."""
        folder = os.environ.get("MITTELSTIMME_PICTURES")
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            width, height = self.surface.get_size()
            pygame.image.save(self.surface, str(Path(folder) / f"{name}-{width}x{height}.png"))
        return self.surface.copy()

    def close(self) -> None:
        with WayOut() as way:
            self.window.put_away(way)
        pygame.display.quit()


def open_hands(
    size: tuple[int, int] = (1280, 800), settings: Settings | None = None, *, real: bool = False
) -> Hands:
    """A window of that size with nothing in it."""
    saved: list[Settings] = []
    window = Window(settings or somebody(), saved.append, state=WindowState(*size))
    return Hands(window, Heard(), saved=saved, real=real)


class StageClock:
    """The shell's clock: what the frames say."""

    def __init__(self, hands: Hands) -> None:
        self._hands = hands

    def now(self) -> float:
        return self._hands.now

    def wall(self) -> float:
        return self._hands.now

    def sleep(self, seconds: float) -> None:
        return


def silent_hands_source(shell: Callable[[], Shell]) -> HandsSource:
    """The player's hands without looking for a MIDI keyboard."""

    def at_once(event: KeyEvent) -> None:
        shell().sound_now(event)

    return LettersOnly(at_once)


class LettersOnly(HandsSource):
    """No MIDI interface is asked: what a view puts is all that comes."""

    def __init__(self, at_once: Callable[[KeyEvent], None]) -> None:
        from queue import SimpleQueue

        self._queue = SimpleQueue()
        self._at_once = at_once
        self.name = "typing"
        self.lost: str | None = None
        self.assigned: Sequence[Assignment] = ()
        self.amiss = ""

    @property
    def port(self) -> str | None:
        return self.lost

    def poll(self, now: float) -> list[object]:  # type: ignore[override]
        found = []
        while not self._queue.empty():
            found.append(self._queue.get_nowait())
        return found

    def told(self, effect: Effect, session: Session) -> None:
        return

    @property
    def complaint(self) -> str:
        return self.amiss

    def listen(self, wanted: str | None) -> None:
        return

    def assign(self, manuals: Sequence[Assignment]) -> None:
        self.assigned = manuals

    def sound_as(self, meant: bytes) -> None:
        return

    def settle(self, within: float = 0.0) -> None:
        return

    def sure(self, now: float) -> float:
        return now

    def close(self) -> None:
        return


def practise(
    hands: Hands,
    exercise: Exercise,
    *,
    demo: bool = True,
    tempo: float | None = 120.0,
    manner: Manner = HUMAN,
    slips: Sequence[Slip] = (),
) -> PlayView:
    """Open the practice view on an exercise; the demo player plays it when it is begun."""
    settings = hands.window.room.settings
    conditions = settings.player.conditions(tempo)
    setup = Setup(exercise, conditions, exercise, settings.player.id)
    shells: list[Shell] = []

    def at_once(event: KeyEvent) -> None:
        shells[0].sound_now(event)

    source: Source = (
        DemoSource(setup, at_once, day=usual(manner, slips)) if demo else LettersOnly(at_once)
    )
    shells.append(Shell(setup, source, hands.output, None, StageClock(hands)))
    view = PlayView(hands.window.room, shells[0])
    hands.window.room.open(view)
    return view


def open_app(
    hands: Hands, log: str = "", ports: Callable[[], Ports] = lambda: (("grand keyboard",), ())
) -> App:
    """The whole program on its first page, without a MIDI keyboard or sound."""
    room = hands.window.room
    desks: list[Console] = []

    def at_once(event: KeyEvent) -> None:
        desks[0].at_once(event)

    desks.append(Console(LettersOnly(at_once), hands.output, None, log=log))
    app = App(room, lambda: desks[0], ports=ports)
    hands.app = app
    app.front()
    hands.frame(2)
    return app


def chord(view: PlayView, hands: Hands, *keys: int) -> None:
    """Keys struck together by hand and let go again."""
    source = view.shell.source
    assert isinstance(source, HandsSource)
    for key in keys:
        source.put(KeyDown(hands.now, key))
    hands.frame(40)
    for key in keys:
        source.put(KeyUp(hands.now, key))
    hands.frame(10)
