"""What to work on next, and why: only what the log has enough cases of to be meant."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from trainer.journal.store import Journal
from trainer.judging.lessons import lesson_of
from trainer.review.queries import Span, faults, fluencies, totals
from trainer.review.statistics import Share, Think

ENOUGH = 20  # cases under which nothing is said
FEWEST = 3  # cases gone wrong under which nothing is said either
SLOWER = 1.15  # times the typical think time of the rest: less is not felt
RECENT = timedelta(days=92)  # what one played a season ago is another player's playing


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to work on. `kind` says what `name` is.

    Where it is a matter of right and wrong, `missed` counts the cases that went wrong of all
    cases, and `usual` is the share that goes wrong in the rest (for a rule or a cause 0). Where it
    is one of quickness (`thinking`, a figuring), `think` has its think times and `usual` the
    typical one of the rest in seconds.
    """

    kind: Literal["figuring", "figuring in key", "key", "rule", "cause", "thinking"]
    name: str
    key: str | None
    missed: Share | None
    think: Think | None
    usual: float
    reason: str

    @property
    def has_title(self) -> bool:
        """Whether `name` is an identifier that has a title (`trainer.review.named`)."""
        return self.kind in ("rule", "cause")


def next_work(
    journal: Journal, player: str | None, today: date, limit: int = 5
) -> tuple[Advice, ...]:
    """The kinds of chord that surely go wrong more often than the player's others, the rules surely
    broken and the causes surely at work, the surest first; then the figurings that surely take
    longer to think of.

    A figuring, a key, or a figuring in a key is named where, over the last 92 days, the lower end
    of the interval of its missed share lies above the missed share of all the rest; a rule or a
    cause where gross or weak faults by it surely spoil more than one chord in a hundred.
    """
    span = Span(today - RECENT, today)
    wrong = [*_chords(journal, player, span), *_rules(journal, player, span)]
    wrong.sort(key=lambda pair: (-pair[0], pair[1].kind, pair[1].name))
    slow = sorted(_slow(journal, player, span), key=lambda pair: (-pair[0], pair[1].name))
    return tuple(advice for _, advice in (*wrong, *slow))[:limit]


def _chords(journal: Journal, player: str | None, span: Span) -> list[tuple[float, Advice]]:
    cells = fluencies(journal, player, ("figuring", "key"), span)
    whole = sum((cell.complete for cell in cells), Share(0, 0))
    groups: dict[tuple[str | None, str | None], Share] = {}
    for cell in cells:
        for group in ((cell.figuring, None), (None, cell.key), (cell.figuring, cell.key)):
            groups[group] = groups.get(group, Share(0, 0)) + cell.complete
    found: list[tuple[float, Advice]] = []
    for (figuring, key), complete in groups.items():
        rest = Share(whole.hits - complete.hits, whole.cases - complete.cases)
        missed = complete.missed
        if complete.cases < ENOUGH or missed.hits < FEWEST or not rest.cases:
            continue
        if missed.low <= rest.missed.value:
            continue
        usual = rest.missed.value
        found.append((missed.low - usual, _chord_advice(figuring, key, missed, usual)))
    plain = {one.name for _, one in found if one.kind == "figuring"}
    keys = {one.key for _, one in found if one.kind == "key"}
    # A figuring weak everywhere, or a key weak throughout, is said once.
    return [
        (surely, one)
        for surely, one in found
        if one.kind != "figuring in key" or (one.name not in plain and one.key not in keys)
    ]


def _chord_advice(figuring: str | None, key: str | None, missed: Share, usual: float) -> Advice:
    name = "no figure" if figuring == "-" else figuring or ""
    seen = (
        f"{missed.hits} of {missed.cases} went wrong (surely {missed.low * 100:.0f} to "
        f"{missed.high * 100:.0f} %), elsewhere {usual * 100:.0f} %"
    )
    if figuring is None:
        assert key is not None
        return Advice("key", key, key, missed, None, usual, f"chords in {key}: {seen}")
    if key is None:
        return Advice("figuring", name, None, missed, None, usual, f"chords under {name}: {seen}")
    words = f"chords under {name} in {key}: {seen}"
    return Advice("figuring in key", name, key, missed, None, usual, words)


def _rules(journal: Journal, player: str | None, span: Span) -> list[tuple[float, Advice]]:
    found: list[tuple[float, Advice]] = []
    if totals(journal, player, span).harmony.cases < ENOUGH:
        return found
    for one in faults(journal, player, ("rule",), span):
        times = one.gross + one.weak
        spoiled = Share(min(times, one.chords), one.chords)
        if spoiled.low > 0.01 and times >= FEWEST:
            reason = (
                f"{times} times in {one.chords} chords (surely in {spoiled.low * 100:.1f} to "
                f"{spoiled.high * 100:.1f} % of them)"
            )
            found.append((spoiled.low, _said_of(one.rule, spoiled, reason)))
    return found


def _said_of(id: str, spoiled: Share, reason: str) -> Advice:
    """Of a cause with what a teacher says to it."""
    lesson = lesson_of(id)
    if lesson is None:
        return Advice("rule", id, None, spoiled, None, 0.0, reason)
    said = f"{reason}. {lesson.advice.removesuffix('.')}"
    return Advice("cause", id, None, spoiled, None, 0.0, said)


def _slow(journal: Journal, player: str | None, span: Span) -> list[tuple[float, Advice]]:
    found: list[tuple[float, Advice]] = []
    cells = fluencies(journal, player, ("figuring",), span)
    for cell in cells:
        rest = sum((one.think for one in cells if one is not cell), Think(0, 0, 0))
        typical, interval, usual = cell.think.typical, cell.think.interval, rest.typical
        if cell.think.cases < ENOUGH or not typical or not interval or not usual:
            continue
        if interval[0] > SLOWER * usual:
            name = "no figure" if cell.figuring == "-" else cell.figuring or ""
            reason = (
                f"chords under {name} take {typical:.1f} s to think of (surely {interval[0]:.1f} "
                f"to {interval[1]:.1f} s, {cell.think.cases} chords), others {usual:.1f} s"
            )
            advice = Advice("thinking", name, None, None, cell.think, usual, reason)
            found.append((interval[0] / usual, advice))
    return found
