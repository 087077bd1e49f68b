"""The three figures of a pass in words, each with what it means."""

from __future__ import annotations

from trainer.judging.verdict import PassVerdict
from trainer.practice.touch_words import hands_in_short, late_in_words

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def counted(number: int, one: str, many: str) -> str:
    """`one fault`, `two faults`, `14 faults`."""
    word = _NUMBERS[number] if number < len(_NUMBERS) else str(number)
    return f"{word} {one if number == 1 else many}"


def figures_in_words(verdict: PassVerdict) -> tuple[tuple[str, str, str], ...]:
    """Name, value and meaning of the three figures of a pass."""
    harmony, timing, movement = verdict.harmony, verdict.timing, verdict.movement
    harmony_words = (
        "harmony",
        f"{harmony.complete} of {harmony.judged} moments complete",
        "every figure sounds, and nothing else",
    )
    if timing is None:
        thought = [m.think_s for m in verdict.moments if m.think_s is not None]
        typical = sorted(thought)[len(thought) // 2] if thought else None
        time_words = (
            "time",
            "untimed" if typical is None else f"{typical:.1f} s to think",
            "from the question to the right chord, half the time less",
        )
    else:
        hands = "" if timing.touch is None else hands_in_short(timing.touch)
        time_words = (
            "time",
            f"{late_in_words(timing.bias_ms)}, ± {timing.deviation_ms:.0f}",
            f"{timing.in_time} of {timing.judged} chords in time" + (f"; {hands}" if hands else ""),
        )
    faults = movement.gross + movement.weak
    words = counted(faults, "fault", "faults")
    if movement.remark:
        words += f", {counted(movement.remark, 'remark', 'remarks')}"
    movement_words = (
        "movement",
        words,
        f"{movement.clean} of {movement.successions} steps from chord to chord clean",
    )
    return harmony_words, time_words, movement_words
