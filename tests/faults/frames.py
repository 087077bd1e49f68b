"""How long frames take while a pass is played, at every size of the window.

`python -m tests.faults.frames` prints for each size and piece how long the frames of a pass took:
the half, the ninety-ninth of a hundred and the slowest, as time that went by and as computing of
the window's own thread (on a busy machine the first holds what other programs took). The last piece
is played with a mistake in every chord, so that the page is full of marks.
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import cycle

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
os.environ.setdefault("SDL_AUDIODRIVER", "dummy")

import pygame

from tests.screen.hands import SIZES, open_hands, practise
from tests.screen.pieces import eight_pages, evening
from trainer.practice.demo import PERFECT
from trainer.practice.slips import Slip
from trainer.score.exercise import Exercise

TARGET_MS = 8.0


@dataclass(frozen=True)
class Times:
    """Milliseconds, ascending."""

    went_by: tuple[float, ...]
    computing: tuple[float, ...]


def frames_of_a_pass(
    size: tuple[int, int], exercise: Exercise, slips: Sequence[Slip], frames: int
) -> Times:
    """Frames of a pass with marks appearing; ends early where the pass does."""
    hands = open_hands(size)
    view = practise(hands, exercise, slips=slips, manner=PERFECT, tempo=200)
    hands.settle(120)
    hands.press(pygame.K_SPACE, " ")
    went_by, computing = [], []
    for _ in range(frames):
        if hands.window.room.view is not view:
            break
        began, worked = time.perf_counter(), time.thread_time()
        hands.frame()
        went_by.append(1000 * (time.perf_counter() - began))
        computing.append(1000 * (time.thread_time() - worked))
    hands.close()
    return Times(tuple(sorted(went_by)), tuple(sorted(computing)))


def at(share: float, times: tuple[float, ...]) -> float:
    return times[min(len(times) - 1, int(share * len(times)))]


def main(frames: int = 1200) -> None:
    long = eight_pages()
    few = [Slip("wrong", 3), Slip("skipped", 5)]
    kinds = cycle(("wrong", "late", "skipped", "extra"))
    everywhere = [Slip(next(kinds), moment.index) for moment in long.moments[1:-1]]
    for size in SIZES:
        for name, exercise, slips in (
            ("two phrases", evening(), few),
            ("96 bars", long, few),
            ("96 bars, a mistake in every chord", long, everywhere),
        ):
            found = frames_of_a_pass(size, exercise, slips, frames)
            for what, times in (("went by", found.went_by), ("computing", found.computing)):
                print(
                    f"{size[0]}x{size[1]} {name}, {len(times)} frames, {what}: "
                    f"half {at(0.5, times):.2f} ms, 99 of 100 {at(0.99, times):.2f} ms, "
                    f"slowest {times[-1]:.2f} ms; 99 of 100 is {at(0.99, times) / TARGET_MS:.2f} "
                    f"of {TARGET_MS:g} ms",
                    flush=True,
                )


if __name__ == "__main__":
    main()
