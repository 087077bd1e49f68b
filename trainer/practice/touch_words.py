"""How the hands lay over a pass, in words."""

from __future__ import annotations

from trainer.judging.verdict import HandTiming, Manner, Touch

_MANNERS: dict[Manner, str] = {
    "together": "together",
    "rolled up": "rolled up",
    "rolled down": "rolled down",
    "hands apart": "with hands apart",
    "spread": "not together",
}


def late_in_words(ms: float) -> str:
    """`12 ms late`, `3 ms early`, `on the beat`."""
    rounded = round(abs(ms))
    return f"{rounded} ms {'late' if ms > 0 else 'early'}" if rounded else "on the beat"


def touch_words(touch: Touch) -> str:
    """`left hand 12 ms early, ± 9; right hand 85 ms after it, ± 20; 12 chords together, 3 rolled
    up`."""
    parts = []
    if touch.left is not None:
        parts.append(f"left hand {_to_the_beat(touch.left)}")
    if touch.right is not None and touch.left is None:
        parts.append(f"right hand {_to_the_beat(touch.right)}")
    elif touch.right is not None:
        parts.append(f"right hand {_to_the_left(touch.right)}")
    chords = [f"{count} {_MANNERS[manner]}" for manner, count in touch.manners]
    if chords:
        noun = "chord" if touch.manners[0][1] == 1 else "chords"
        number, _, words = chords[0].partition(" ")
        parts.append(", ".join([f"{number} {noun} {words}", *chords[1:]]))
    return "; ".join(parts)


def hands_in_short(touch: Touch) -> str:
    """`right hand 85 ms after the left`; nothing where only one was heard."""
    if touch.left is None or touch.right is None:
        return ""
    if round(touch.right.bias_ms) == 0:
        return "the hands together"
    side = "after" if touch.right.bias_ms >= 0 else "before"
    return f"right hand {abs(touch.right.bias_ms):.0f} ms {side} the left"


def _to_the_beat(hand: HandTiming) -> str:
    return f"{late_in_words(hand.bias_ms)}, ± {hand.deviation_ms:.0f}"


def _to_the_left(hand: HandTiming) -> str:
    rounded = round(abs(hand.bias_ms))
    side = "after" if hand.bias_ms > 0 else "before"
    lies = f"{rounded} ms {side} it" if rounded else "with it"
    return f"{lies}, ± {hand.deviation_ms:.0f}"
