"""How full systems are: every piece at usual widths, read from the places of the engraved page.

`python -m tests.faults.systems` prints for each width how many systems there are, the fewest
quarter notes in a last system and the most in any, both against the piece's mean, how many last
systems end before 90% of the page, how many reach beyond it, and how many after the first carry no
bar number.
"""

from __future__ import annotations

import sys

from trainer.engraving.page import engrave
from trainer.resources import exercises_folder
from trainer.score.kern import read_exercise

SIZES = ((1100, 9.0), (660, 7.5), (1800, 12.0), (700, 12.0))  # width, staff space, in pixels


def main() -> int:
    """0 if no last system is nearly empty, none too wide, and every one numbered."""
    pieces = [read_exercise(path) for path in sorted(exercises_folder().glob("*.krn"))]
    failed = 0
    print(f"{'page':<14}{'systems':>8}{'last':>7}{'fullest':>9}{'short':>7}{'wide':>6}{'bare':>6}")
    for width, space in SIZES:
        count = short = wide = bare = 0
        last, fullest = 9.0, 0.0
        for exercise in pieces:
            pages = engrave(exercise, width, None, space_px=space)
            systems = [system for page in pages for system in page.geometry.systems]
            lengths = [
                float(sum(exercise.moments[m].duration for m in system.moments))
                for system in systems
            ]
            mean = sum(lengths) / len(lengths)
            count += len(systems)
            wide += sum(1 for system in systems if system.right > width + 0.5)
            boxes = [box for page in pages for box in page.geometry.printed]
            bare += len(systems) - 1 - sum(1 for box in boxes if box.kind == "bar number")
            if len(systems) > 1:
                short += systems[-1].right < 0.9 * width
                last = min(last, lengths[-1] / mean)
                fullest = max(fullest, *(length / mean for length in lengths))
        print(
            f"{width:>5} at {space:<5}{count:>8}{last:>7.2f}{fullest:>9.2f}"
            f"{short:>7}{wide:>6}{bare:>6}",
            flush=True,
        )
        failed += (last < 0.4) + wide + bare
    print("HOLDS" if not failed else "FAILS")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
