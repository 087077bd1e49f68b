"""Four chords, and a right way to play them."""

from __future__ import annotations

from tests.judging.lessons import lesson
from tests.practice.playing import in_order, keys
from trainer.judging.take import Conditions
from trainer.listening.events import KeyEvent

CADENCE = lesson("C", "c3 f3 g3 c3", "", "e4 f4 d4 e4", fermatas=(3,))
RIGHT = ("c3 g3 c4 e4", "f3 a3 c4 f4", "g3 g3 b3 d4", "c3 g3 c4 e4")
TEMPO = Conditions(tempo=60.0)
UNTIMED = Conditions()


def right(origin: float, beat: float = 1.0, count: int = 4) -> list[KeyEvent]:
    return in_order(*(keys(origin + n * beat, RIGHT[n], 0.9 * beat) for n in range(count)))
