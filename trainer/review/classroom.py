"""A class: who practised, who is stuck on what, who is ready for the next step."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from trainer.journal.store import Journal, Player
from trainer.practice.course import Standing
from trainer.practice.material import Material
from trainer.review.advice import Advice, next_work
from trainer.review.assignments import Assignment, Progress, progress
from trainer.review.html import render
from trainer.review.named import title_of
from trainer.review.queries import FaultCount, Span, Totals, days, faults, last_day, totals
from trainer.review.standings import standing_of

WEEKS = 4  # looked back on
_RULES = 8  # columns of the table of rules


@dataclass(frozen=True, slots=True)
class Pupil:
    """One player of the class over the span. `standing` is None where nothing was ever judged."""

    player: Player
    days: int
    totals: Totals
    last: date | None
    stuck: tuple[Advice, ...]
    standing: Standing | None
    faults: dict[str, FaultCount]
    assigned: tuple[tuple[Progress, ...], ...]  # in the order of the assignments

    @property
    def open(self) -> tuple[str, ...]:
        """What the next step of the course still waits for."""
        if self.standing is None:
            return ()
        return tuple(one.words for one in self.standing.requirements if not one.met)

    @property
    def ready(self) -> bool:
        """Whether at most one thing is wanting for the next step."""
        return self.standing is not None and len(self.open) <= 1


@dataclass(frozen=True, slots=True)
class Classroom:
    """Everybody in a log, by name, as of a day."""

    span: Span
    pupils: tuple[Pupil, ...]
    assignments: tuple[Assignment, ...]

    @property
    def rules(self) -> tuple[str, ...]:
        """The rules most broken in the class."""
        times: dict[str, int] = {}
        for pupil in self.pupils:
            for id, one in pupil.faults.items():
                times[id] = times.get(id, 0) + one.gross + one.weak
        heavy = [id for id in times if times[id]]
        return tuple(sorted(heavy, key=lambda id: (-times[id], id))[:_RULES])


def classroom(
    journal: Journal, material: Material, assignments: Sequence[Assignment], today: date
) -> Classroom:
    """Look at everybody who has ever played, over the last four weeks. Raises LogError."""
    span = Span(today - timedelta(weeks=WEEKS) + timedelta(days=1), today)
    pupils = [
        _pupil(journal, player, material, assignments, span)
        for player in journal.players()
        if player.takes
    ]
    pupils.sort(key=lambda one: (one.player.label.casefold(), one.player.id))
    return Classroom(span, tuple(pupils), tuple(assignments))


def _pupil(
    journal: Journal,
    player: Player,
    material: Material,
    assignments: Sequence[Assignment],
    span: Span,
) -> Pupil:
    played = days(journal, player.id, span)
    assert span.last is not None
    return Pupil(
        player,
        len(played),
        totals(journal, player.id, span),
        last_day(journal, player.id),
        next_work(journal, player.id, span.last, 3),
        standing_of(journal, player.id, material),
        {one.rule: one for one in faults(journal, player.id, ("rule",), span)},
        tuple(progress(journal, player.id, one) for one in assignments),
    )


def class_page(room: Classroom, made: datetime) -> str:
    """The class as one page of HTML."""
    named = {*room.rules}
    for pupil in room.pupils:
        named |= {one.name for one in pupil.stuck if one.has_title}
    return render(
        "class.html",
        named,
        made,
        room=room,
        first=f"{room.span.first}",
        last=f"{room.span.last}",
        distinct=_distinct(room.pupils),
    )


def _distinct(pupils: Sequence[Pupil]) -> dict[str, str]:
    """A name for each player; where two share one, as much of the id as tells them apart."""
    found: dict[str, str] = {}
    for pupil in pupils:
        me = pupil.player
        others = [p.player.id for p in pupils if p.player.label == me.label and p.player != me]
        if others:
            size = next((n for n in range(8, 36) if all(o[:n] != me.id[:n] for o in others)), 36)
            found[me.id] = f"{me.label} ({me.id[:size]})"
        else:
            found[me.id] = me.label
    return found


def class_csv(room: Classroom) -> str:
    """A line a player, for a spreadsheet; a text that a spreadsheet would compute is quoted."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    head = ("player", "id", "days", "minutes", "passes", "chords", "complete", "timed", "in time")
    more = ("successions", "clean", "gross", "weak", "last day", "step", "ready", "stuck on")
    writer.writerow([*head, *more, *(f"{one.name}: secure" for one in room.assignments)])
    for pupil in room.pupils:
        sums = pupil.totals
        shares = (sums.harmony, sums.timing, sums.movement)
        counts = [value for one in shares for value in (one.cases, one.hits)]
        row = [
            _harmless(pupil.player.name),
            pupil.player.id,
            pupil.days,
            f"{sums.seconds / 60:.1f}",
            sums.takes,
            *counts,
            sums.gross,
            sums.weak,
            pupil.last or "",
            "" if pupil.standing is None else pupil.standing.step.number,
            "yes" if pupil.ready else "no",
            _harmless("; ".join(_stuck(one) for one in pupil.stuck)),
        ]
        done = [f"{sum(p.state == 'secure' for p in one)}/{len(one)}" for one in pupil.assigned]
        writer.writerow([*row, *done])
    return out.getvalue()


def _stuck(advice: Advice) -> str:
    title = title_of(advice.name) if advice.has_title else advice.name
    return f"{title} in {advice.key}" if advice.kind == "figuring in key" else title


def _harmless(text: str) -> str:
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text
