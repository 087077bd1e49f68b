"""Words in a row, as a sentence says them."""

from __future__ import annotations

from collections.abc import Sequence


def listed(words: Sequence[str]) -> str:
    """`alto`, `alto and tenor`, `alto, tenor and bass`."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
