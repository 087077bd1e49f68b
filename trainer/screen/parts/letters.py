"""The typing keyboard and the mouse as keys."""

from __future__ import annotations

from dataclasses import dataclass, field

import pygame

from trainer.conducting.shell import Shell
from trainer.conducting.sources import HandsSource
from trainer.listening.events import KeyDown, KeyUp
from trainer.listening.typing import layout
from trainer.screen.parts.strip import Strip

_PLACES = {getattr(pygame, f"KSCAN_{c.upper()}"): c for c in "zsxdcvgbhnjmlqwertyuiop"} | {
    pygame.KSCAN_COMMA: ",",
    pygame.KSCAN_PERIOD: ".",
    **{getattr(pygame, f"KSCAN_{n}"): str(n) for n in (2, 3, 5, 6, 7, 9, 0)},
}  # the place on the typing keyboard, whatever letter is printed there
_COMMANDS = pygame.KMOD_CTRL | pygame.KMOD_ALT | pygame.KMOD_META


@dataclass
class Letters:
    """Which keys are held by letters and by the mouse; what is pressed goes to the source."""

    shell: Shell
    _typed: dict[int, int] = field(default_factory=dict)  # scan code to the key it holds down
    _pressed: int | None = None  # key held by the mouse

    def key(self, event: pygame.event.Event) -> bool:
        """A letter pressed or let go; False if it is no key of the layout."""
        if event.type == pygame.KEYUP:
            held = self._typed.pop(event.scancode, None)
            if held is not None:
                self._put(KeyUp(self.shell.clock.now(), held))
            return held is not None
        if not isinstance(self.shell.source, HandsSource) or event.mod & _COMMANDS:
            return False
        key = layout().get(_PLACES.get(event.scancode) or event.unicode)
        if key is None or event.scancode in self._typed:
            return False
        self._typed[event.scancode] = key
        self._put(KeyDown(self.shell.clock.now(), key))
        return True

    def mouse(self, event: pygame.event.Event, strip: Strip | None) -> bool:
        """A key of the strip pressed, or let go; False if the mouse is elsewhere."""
        if event.type == pygame.MOUSEBUTTONUP and self._pressed is not None:
            self._put(KeyUp(self.shell.clock.now(), self._pressed))
            self._pressed = None
            return True
        if event.type == pygame.MOUSEBUTTONDOWN and event.button == 1 and strip is not None:
            key = strip.key_at(event.pos)
            if key is not None:
                self._pressed = key
                self._put(KeyDown(self.shell.clock.now(), key))
                return True
        return False

    def let_go(self) -> None:
        """No key is held any more."""
        held = list(self._typed.values())
        if self._pressed is not None:
            held.append(self._pressed)
        for key in held:
            self._put(KeyUp(self.shell.clock.now(), key))
        self._typed.clear()
        self._pressed = None

    def _put(self, event: KeyDown | KeyUp) -> None:
        if isinstance(self.shell.source, HandsSource):
            self.shell.source.put(event)
