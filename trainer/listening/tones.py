"""Which tones begin and end with the keys: the pedal keeps what the fingers let go."""

from __future__ import annotations

from collections.abc import Callable

from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Onward, Pedal

Begin = Callable[[int, int, float], object]  # key, velocity, time
End = Callable[[int, float], object]


class Tones:
    """`meant` is the tone of a key, by whatever octaves a hand is moved; a key ends the tone it
    began, though another be meant by it since."""

    def __init__(self, begin: Begin, end: End, meant: Callable[[int], int]) -> None:
        self._begin, self._end, self._meant = begin, end, meant
        self._pedal = False
        self._of: dict[int, int] = {}  # keys down, and their tones
        self._kept: set[int] = set()  # tones that the pedal alone keeps

    def play(self, event: KeyEvent) -> None:
        match event:
            case KeyDown(time, key, velocity):
                tone = self._of[key] = self._meant(key)
                self._kept.discard(tone)
                self._begin(tone, velocity, time)
            case KeyUp(time, key):
                tone = self._of.pop(key) if key in self._of else self._meant(key)
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
