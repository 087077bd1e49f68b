"""The window: opens it, drives the loop, and puts everything away again."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")

import pygame

from trainer.display import open_display
from trainer.screen.drawing.forme import Forme
from trainer.screen.drawing.stage import Stage
from trainer.screen.drawing.theme import SMALLEST
from trainer.screen.errands import Errands
from trainer.screen.lost_display import heed_its_death
from trainer.screen.remembered import WindowState, load_state, save_state
from trainer.screen.room import Room, View, new_type
from trainer.screen.sheet.engraver import Engraver
from trainer.screen.views.help import HelpView

if TYPE_CHECKING:
    from trainer.conducting.console import Console
    from trainer.conducting.shell import Shell
    from trainer.conducting.way_out import WayOut
    from trainer.errors import TrainerError
    from trainer.journal.writer import Writer
    from trainer.listening.events import KeyEvent
    from trainer.settings import Settings

FRAME = 1 / 60  # seconds
# pygame repeats keys from a thread of its own, which can outlive the window; so it is done here
REPEATED = frozenset(
    {
        pygame.K_UP,
        pygame.K_DOWN,
        pygame.K_LEFT,
        pygame.K_RIGHT,
        pygame.K_PAGEUP,
        pygame.K_PAGEDOWN,
        pygame.K_BACKSPACE,
        pygame.K_DELETE,
    }
)
REPEAT_AFTER, REPEAT_EVERY = 0.35, 0.045  # seconds a key is held
RESTING = 0.05  # seconds between looks where nothing moves


class Window:
    """One window with a room in it. `frame` is one turn of the loop; `run` turns it to the end."""

    def __init__(
        self,
        settings: Settings,
        save: Callable[[Settings], None],
        *,
        state: WindowState | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        engraver = Engraver()
        engraver.begin()  # first: it gets ready while the window opens
        open_display()
        pygame.font.init()
        self.state = state or load_state()
        pygame.display.set_caption("Mittelstimme")
        self.clock = clock
        surface = self._opened()
        kind = new_type(*surface.get_size(), settings)
        self.room = Room(settings, kind, engraver, Errands(), save)
        self.stage = Stage(surface, kind.theme.paper)
        self.forme = Forme(kind)
        self._help: HelpView | None = None
        self._first: list[pygame.event.Event] = []  # what woke the loop, before all others
        self._held: tuple[pygame.event.Event, float] | None = None  # and when it is due again
        self._dirty = True
        self._seen: View | None = None
        self._meant = False  # the key pressed last did something, and so is no text

    def _opened(self) -> pygame.Surface:
        size = (max(SMALLEST[0], self.state.width), max(SMALLEST[1], self.state.height))
        return pygame.display.set_mode(size, pygame.RESIZABLE)

    def run(self, way: WayOut) -> None:
        """Turn frames until the player leaves, or `way` leads out."""
        way.only_at_looks()
        while not self.room.leaving:
            way.look()
            began = self.clock()
            self.frame(began)
            lively = self.room.views and self.room.view.lively
            pause = (FRAME if lively else RESTING) - (self.clock() - began)
            if pause > 0:
                self._wait(pause, lively=bool(lively))

    def _wait(self, seconds: float, *, lively: bool) -> None:
        """Sleep; where nothing moves an event wakes the loop at once."""
        if lively:
            time.sleep(seconds)
        else:
            event = pygame.event.wait(max(1, round(seconds * 1000)))
            if event.type != pygame.NOEVENT:
                self._first.append(event)

    def frame(self, now: float) -> list[pygame.Rect]:
        """Take what has come in, let time go by, draw what has changed."""
        events, self._first = [*self._first, *pygame.event.get()], []
        for event in events:
            self._hold(event, now)
            self._take(event)
            if self.room.leaving:
                return []
        if self._held is not None and now >= self._held[1]:
            self._held = (self._held[0], now + REPEAT_EVERY)
            self._take(self._held[0])
        delivered = self.room.errands.deliver() or bool(self.room.engraver.deliveries)
        self.room.view.step(now)
        if self.room.leaving:
            return []
        view = self.room.view
        if view is not self._seen:
            self._seen, self._dirty = view, True
        if view.lively or self._dirty or delivered:
            touched = self._draw(view, now)
            self._dirty = False
            return touched
        return []

    def _hold(self, event: pygame.event.Event, now: float) -> None:
        """Remember which key is held down, if it is one that repeats."""
        if event.type == pygame.KEYDOWN:
            self._held = (event, now + REPEAT_AFTER) if event.key in REPEATED else None
        elif event.type in (pygame.KEYUP, pygame.WINDOWFOCUSLOST):
            self._held = None

    def _draw(self, view: View, now: float) -> list[pygame.Rect]:
        forme = Forme(self.room.type)
        if self._help is not None:
            self._help.set(forme, now)
        else:
            view.set(forme, now)
        self.forme = forme
        if self.stage.paper != self.room.type.theme.paper:
            self.stage.paper = self.room.type.theme.paper
            self.stage.clear()
        touched = self.stage.show(forme.items)
        if touched:
            pygame.display.update(touched)
        return touched

    def redraw(self) -> None:
        """Have everything drawn at the next frame."""
        self._dirty = True
        self.stage.clear()

    # ---- events -------------------------------------------------------------------------------

    def _take(self, event: pygame.event.Event) -> None:
        self._dirty = self._dirty or event.type != pygame.MOUSEMOTION
        match event.type:
            case pygame.QUIT:
                self.room.leaving = True
            case pygame.VIDEORESIZE:
                self._resized(event.w, event.h)
            case pygame.WINDOWEXPOSED | pygame.WINDOWSHOWN | pygame.WINDOWRESTORED:
                self.redraw()
            case pygame.WINDOWMAXIMIZED:
                self.state = self.state.maximised(True)
            case pygame.WINDOWFOCUSLOST:
                let_go = getattr(self.room.view, "let_go", None)
                if let_go is not None:
                    let_go()
            case pygame.KEYDOWN | pygame.KEYUP | pygame.TEXTINPUT:
                self._keys(event)
            case pygame.MOUSEBUTTONDOWN | pygame.MOUSEBUTTONUP | pygame.MOUSEWHEEL:
                self._mouse(event)

    def _keys(self, event: pygame.event.Event) -> None:
        """A letter comes twice, as a key and as text. Where the key has done something, its text is
        not written into a field that it has opened."""
        if event.type == pygame.TEXTINPUT and self._meant:
            return
        taken = event.type == pygame.KEYDOWN and self._ours(event)
        if not taken and self._help is None:
            taken = self.room.view.key(event)
        if event.type == pygame.KEYDOWN:
            self._meant = taken and bool(event.unicode)

    def _mouse(self, event: pygame.event.Event) -> None:
        pressed = event.type == pygame.MOUSEBUTTONDOWN
        if pressed and event.button != 1:
            return
        if self._help is not None:
            self._help = None if pressed else self._help
        elif not (pressed and self.forme.click(event.pos)):
            self.room.view.mouse(event)

    def _ours(self, event: pygame.event.Event) -> bool:
        """Keys that mean the same in every view."""
        typing = getattr(self.room.view, "typing", False)
        asked = event.key == pygame.K_F1 or (
            not typing and (event.unicode == "?" or event.key == pygame.K_QUESTION)
        )
        if self._help is not None:
            self._help = None
            return True
        if asked:
            self._help = HelpView(self.room.view.keys())
            return True
        if event.key == pygame.K_F11:
            pygame.display.toggle_fullscreen()
            self.redraw()
            return True
        return False

    def _resized(self, width: int, height: int) -> None:
        wide, high = max(SMALLEST[0], width), max(SMALLEST[1], height)
        if (wide, high) != (width, height):
            pygame.display.set_mode((wide, high), pygame.RESIZABLE)
        self.stage.surface = pygame.display.get_surface()
        self.state = self.state.sized(wide, high)
        self.room.retype(wide, high)
        self.redraw()

    def put_away(self, way: WayOut) -> None:
        """Name for the end what the window has opened. The window itself goes with the program."""
        way.at_the_end("the window", lambda: save_state(self.state))
        way.at_the_end("the page", self.room.engraver.close)
        way.at_the_end("errands", self.room.errands.close)


def run(shell: Shell, settings: Settings, way: WayOut) -> None:
    """Practise what the shell holds in a window, until the player leaves.

    The shell's source, output and log stay the caller's to close.
    """
    from trainer.screen.views.first import FirstView
    from trainer.screen.views.play import PlayView
    from trainer.settings import save

    window = _opened(settings, save, way)
    room = window.room
    room.open(PlayView(room, shell, by_itself=shell.source.name == "demo"))
    if not room.settings.player.first_run_seen:
        room.open(FirstView(room, room.back))
    window.run(way)


def run_front(log: str, way: WayOut) -> None:
    """Open the window at its first page; `log` is where the log is.

    The page is there first; keyboard, sound and log are opened behind it. Raises InputError where
    there is no display to open it on.
    """
    from trainer.screen.app import App
    from trainer.settings import load, save

    window = _opened(load(), save, way)

    def remember(name: str) -> None:
        window.state = window.state.at(name)

    app = App(
        window.room,
        lambda: _open_desk(window.room, log, way),
        last=window.state.exercise,
        remember=remember,
    )
    app.front()
    window.frame(window.clock())
    way.at_the_end("the pass", app.desk.leave)  # opened now
    window.run(way)


def _opened(settings: Settings, save: Callable[[Settings], None], way: WayOut) -> Window:
    window = Window(settings, save)
    window.put_away(way)
    heed_its_death(way)
    return window


def _open_desk(room: Room, log: str, way: WayOut) -> Console:
    """Keyboard and sound now, in this thread; the log and the rest beside the loop."""
    from trainer.apart import passage
    from trainer.conducting.chosen_sound import opening_sound
    from trainer.conducting.console import Console
    from trainer.conducting.sources import HandsSource
    from trainer.listening.assigning import assignments
    from trainer.screen.app import get_ready

    later: list[Console] = []

    def at_once(event: KeyEvent) -> None:
        for desk in later:
            desk.at_once(event)

    player = room.settings.player
    across = passage()
    keyboards = HandsSource(at_once, player.input or None, across, assignments(player.manuals))
    source = way.closing("the keyboards", keyboards)
    output = way.closing("the sound", opening_sound(player, across))
    desk = Console(source, output, None, log=log)
    later.append(desk)

    def open_log() -> Writer:
        from trainer.journal.writer import Writer

        writer = Writer(log)
        way.closing("the log", writer, writer.undone)
        writer.player(player.id, player.name)
        return writer

    def keep(writer: Writer) -> None:
        desk.writer = writer

    def complain(error: TrainerError) -> None:
        room.notice = f"{error}; going on without a log: nothing will be kept"

    # first in the queue: whatever is practised is asked for after it, and so finds the log open
    room.errands.ask(open_log, keep, complain)
    room.errands.ask(get_ready, lambda _: None)
    return desk
