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


def touch_words(touch: Touch) -> str:
    """`left hand 12 ms early, ± 9; right hand 85 ms after it, ± 20; 12 chords together, 3 rolled
    up`."""
    parts = []
    if touch.left is not None:
        parts.append(f"left hand {_lies(touch.left, 'late', 'early')}")
    if touch.right is not None and touch.left is None:
        parts.append(f"right hand {_lies(touch.right, 'late', 'early')}")
    elif touch.right is not None:
        parts.append(f"right hand {_lies(touch.right, 'after it', 'before it')}")
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


def _lies(hand: HandTiming, after: str, before: str) -> str:
    side = after if hand.bias_ms >= 0 else before
    return f"{abs(hand.bias_ms):.0f} ms {side}, ± {hand.deviation_ms:.0f}"
