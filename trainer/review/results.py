"""Past passes as practice looks back on them, read from the log many at a time."""

from __future__ import annotations

from functools import lru_cache

from trainer.errors import TrainerError
from trainer.journal.store import Journal
from trainer.practice.result import PassResult, result_of
from trainer.score.exercise import Exercise


def pass_results(
    journal: Journal, player: str | None = None, limit: int | None = None
) -> tuple[PassResult, ...]:
    """The last `limit` passes (None: all) of a player by id (None: everybody), oldest first.

    Passes that were never judged, or whose exercise this program cannot read, are left out:
    nothing can be planned from them.
    """
    exercise = lru_cache(maxsize=None)(_exercise)
    results: list[PassResult] = []
    for summary, take, verdict in journal.passes(player, limit):
        asked = exercise(take.exercise)
        if verdict is None or asked is None or not verdict.moments:
            continue
        if verdict.moments[-1].index >= len(asked.moments):
            continue
        results.append(
            result_of(
                take,
                verdict,
                asked,
                finished=summary.state == "finished",
                seconds=summary.seconds,
            )
        )
    return tuple(reversed(results))


def _exercise(text: str) -> Exercise | None:
    from trainer.journal.sums import read_text

    try:
        return read_text(text)
    except TrainerError:
        return None
