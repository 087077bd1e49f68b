"""Which tones begin and end with the keys: the pedal keeps what the fingers let go."""

from __future__ import annotations

from collections.abc import Callable

from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Onward, Pedal
from trainer.listening.manuals import Manual

Begin = Callable[[int, int, float], object]  # key, velocity, time
End = Callable[[int, float], object]
Meant = Callable[[int, Manual], int]  # the tone of a key on a manual


class Tones:
    """`meant` is the tone of a key, by whatever octaves a hand is moved; a key ends the tone it
    began, though another be meant by it since; of keys that have the same tone the last ends it."""

    def __init__(self, begin: Begin, end: End, meant: Meant) -> None:
        self._begin, self._end, self._meant = begin, end, meant
        self._pedal = False
        self._of: dict[tuple[int, Manual], int] = {}  # keys down, and their tones
        self._kept: set[int] = set()  # tones that the pedal alone keeps

    def play(self, event: KeyEvent) -> None:
        match event:
            case KeyDown(time, key, velocity, manual):
                tone = self._of[key, manual] = self._meant(key, manual)
                self._kept.discard(tone)
                self._begin(tone, velocity, time)
            case KeyUp(time, key, manual):
                of_now = self._of.pop((key, manual), None)
                tone = self._meant(key, manual) if of_now is None else of_now
                if tone in self._of.values():
                    return
                if self._pedal:
                    self._kept.add(tone)
                else:
                    self._end(tone, time)
            case Pedal(time, down):
                self._pedal = down
                while not down and self._kept:
                    self._end(self._kept.pop(), time)
            case Onward():
                pass
