"""Passes and moments in words, for the terminal: no colour is needed to understand them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trainer.judging.causes import what_follows
from trainer.judging.verdict import MomentVerdict, PassVerdict
from trainer.practice.lens import Lens, lens
from trainer.practice.session import Session
from trainer.practice.touch_words import late_in_words, touch_words
from trainer.score.exercise import Exercise
from trainer.theory.moment import Moment

_OUTCOMES = {
    "complete": "complete",
    "incomplete": "incomplete",
    "foreign": "foreign note",
    "wrong-bass": "wrong bass",
    "wrong-melody": "wrong melody",
    "not-played": "not played",
}


def place_words(moment: Moment) -> str:
    """`bar 2, beat 1`."""
    return f"bar {moment.bar}, beat {float(moment.beat):g}"


def given_words(moment: Moment) -> str:
    """What the page shows at a moment: `melody b4 · bass g3 · 6 5`."""
    melody = "" if moment.melody is None else f"melody {moment.melody} · "
    bass = "rest" if moment.bass is None else str(moment.bass)
    figures = str(moment.figuring)
    return f"{melody}bass {bass}" + (f" · {figures}" if figures else "")


def lens_words(shown: Lens) -> str:
    """What sounds, highest first: `8 6 3`; missing in brackets `(3)`, foreign between strokes
    `/4/`, an addition with a plus before it `+7`."""
    shapes = {"sounding": "{}", "missing": "({})", "foreign": "/{}/", "addition": "+{}"}
    return " ".join(shapes[mark.state].format(mark.figure) for mark in shown.marks)


def sounding_words(session: Session) -> str:
    """The lens of a session."""
    return lens_words(lens(session))


def moment_words(exercise: Exercise, verdict: MomentVerdict) -> str:
    """One moment judged, on one line."""
    moment = exercise.moments[verdict.index]
    words = [f"{place_words(moment)}: {_OUTCOMES[verdict.outcome]}"]
    if verdict.missing:
        words.append(f"missing {' '.join(verdict.missing)}")
    if verdict.foreign:
        words.append(f"{' '.join(verdict.foreign)} does not belong")
    if verdict.additions:
        words.append(f"{' '.join(verdict.additions)} added")
    if verdict.late_ms is not None:
        words.append(late_in_words(verdict.late_ms))
    manner = None if verdict.attack is None else verdict.attack.manner
    if manner not in (None, "together"):
        words.append(f"{manner} over {verdict.spread_ms or 0.0:.0f} ms")
    elif verdict.spread_ms is not None and verdict.spread_ms > 80:
        words.append(f"spread over {verdict.spread_ms:.0f} ms")
    if verdict.think_s is not None:
        words.append(f"after {verdict.think_s:.1f} s")
    return ", ".join(words)


def figures_of_pass(verdict: PassVerdict) -> tuple[tuple[str, str], ...]:
    """The three figures: harmony, time, movement, each in words; in tempo how the hands lay."""
    harmony, timing, movement = verdict.harmony, verdict.timing, verdict.movement
    lines = [("harmony", f"{harmony.complete} of {harmony.judged} moments complete")]
    if timing is not None:
        lines.append(
            (
                "time",
                f"{timing.in_time} of {timing.judged} in time, "
                f"{late_in_words(timing.bias_ms)}, ± {timing.deviation_ms:.0f}",
            )
        )
        if timing.touch is not None:
            lines.append(("hands", touch_words(timing.touch)))
    found = [
        f"{count} {word}"
        for count, word in (
            (movement.gross, "gross"),
            (movement.weak, "weak"),
            (movement.remark, "remarks" if movement.remark != 1 else "remark"),
        )
        if count
    ]
    clean = f"{movement.clean} of {movement.successions} steps clean"
    lines.append(("movement", f"{clean}; {', '.join(found)}" if found else clean))
    return tuple(lines)


def summary_lines(
    exercise: Exercise, verdict: PassVerdict, begun_again: Sequence[int] = ()
) -> Iterator[str]:
    """The end of a pass: where it was begun again; what went wrong, each cause with its sentence
    and what follows from it; what was not played; three figures."""
    for index in begun_again:
        yield f"begun again: {place_words(exercise.moments[index])}"
    for cause in verdict.told:
        fault = verdict.weightiest(cause)
        yield f"{fault.weight}: {cause.text} {cause.remedy}".rstrip()
        if fault.instead is not None:
            yield f"  from your hand: {fault.instead}"
        if cause.follow:
            yield f"  from it: {what_follows(cause, verdict)}"
    silent = [m for m in verdict.moments if m.outcome == "not-played"]
    for one in silent:
        yield f"not played: {place_words(exercise.moments[one.index])}"
    for extra in verdict.extra:
        after = exercise.moments[max(0, extra.after)]
        yield f"extra: keys struck after {place_words(after)} that belong to no moment"
    for paragraph in exercise.remarks:
        yield f"to notice: {paragraph}"
    for name, words in figures_of_pass(verdict):
        yield f"{name:<9} {words}"
