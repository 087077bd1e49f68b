"""The overlay that shows what can be pressed in the view it lies on."""

from __future__ import annotations

from trainer.screen.drawing.forme import Forme
from trainer.screen.room import Keys

EVERYWHERE: Keys = (("?", "this page; any key closes it"), ("F11", "the whole screen, and back"))


class HelpView:
    """A page of keys, in two columns: what is pressed, and what it does."""

    def __init__(self, keys: Keys) -> None:
        self._keys = keys

    def set(self, forme: Forme, now: float) -> None:
        em, measure = forme.em, forme.measure
        lines = (*self._keys, *EVERYWHERE)
        widest = max(forme.width(key, face="italic") for key, _ in lines)
        longest = max(forme.width(words) for _, words in lines)
        width = widest + 2 * em + longest
        left = (measure.width - width) / 2
        pitch = min(1.75 * em, (measure.height - 7 * em) / len(lines))
        top = (measure.height - pitch * len(lines)) / 2 + em
        forme.text("Keys", measure.width / 2, top - 2.2 * em, size=1.6, align="centre")
        forme.rule(left, top - 1.4 * em, left + width, role="soft")
        for number, (key, words) in enumerate(lines):
            y = top + number * pitch
            forme.text(key, left + widest, y, face="italic", role="soft", align="right")
            forme.text(words, left + widest + 2 * em, y, room=measure.width - left - widest)
