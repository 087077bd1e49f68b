"""Where figures stand in time: those written at one place share it, lines reach their end."""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction

from trainer.score.interchange.foreign import Line, WrittenFigure
from trainer.theory.figures import Way

Reach = tuple[Fraction, Fraction, int]  # from, to, staff: a line drawn on from figures


def placed(
    figures: list[WrittenFigure], reaches: list[Reach], lines: tuple[Line, ...], length: Fraction
) -> list[WrittenFigure]:
    """The figures in time order, each at a place of its own, extender lines written as `_`.

    Several stacks at one place divide the time to the next figure or note of the bass: evenly,
    but two over a dotted note as two thirds and one third (common practice, no source).
    """
    found: list[WrittenFigure] = []
    for staff in sorted({figure.staff for figure in figures}):
        bass = _lowest(lines, staff)
        begins = sorted({event.onset for event in bass.events}) if bass else []
        groups: dict[Fraction, list[WrittenFigure]] = defaultdict(list)
        for figure in figures:
            if figure.staff == staff:
                groups[figure.onset].append(figure)
        places = sorted(groups)
        for number, onset in enumerate(places):
            later = [*places[number + 1 : number + 2], *[b for b in begins if b > onset][:1]]
            end = min(later, default=length)
            for part, figure in zip(_parts(len(groups[onset]), end - onset), groups[onset]):  # noqa: B905
                found.append(WrittenFigure(onset + part, staff, figure.text))
        taken = {figure.onset for figure in found if figure.staff == staff}
        for start, end, of in reaches:
            if of == staff:
                found += [
                    WrittenFigure(onset, staff, Way.EXTENDED.value)
                    for onset in begins
                    if start < onset < end and onset not in taken
                ]
    return sorted(found, key=lambda figure: (figure.onset, figure.staff))


def _parts(count: int, duration: Fraction) -> list[Fraction]:
    triple = duration.numerator % 3 == 0 and duration.denominator in (1, 2, 4)
    if count == 2 and triple:
        return [Fraction(0), duration * Fraction(2, 3)]
    return [duration * Fraction(part, count) for part in range(count)]


def _lowest(lines: tuple[Line, ...], staff: int) -> Line | None:
    """The line a staff's figures belong to: its lowest, or the lowest of all if it has none."""
    with_notes = [line for line in lines if line.pitches]
    on_staff = [line for line in with_notes if line.staff == staff]
    return min(
        on_staff or with_notes,
        key=lambda line: sum(p.midi for p in line.pitches) / len(line.pitches),
        default=None,
    )
