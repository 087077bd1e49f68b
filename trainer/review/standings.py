"""Where a player stands in the course, asked of the log and not of every pass ever played.

`course.standing` asks for few things, step by step, and for none after the first that is wanting:
in which keys a drill was clean, and whether a row of chords under the step's figurings was secure.
Each is one query here; a test holds the answers to those of folding all passes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property, lru_cache
from typing import Any

from sqlalchemy import ColumnElement, Select, Table, func, select

from trainer.errors import TrainerError
from trainer.journal.packing import causes_from, conditions_from, pauses_from
from trainer.journal.schema import fault, marking, moment, sight, take
from trainer.journal.store import Journal
from trainer.judging.evidence import missed
from trainer.judging.take import played_through
from trainer.judging.verdict import Cause, Why
from trainer.practice.course import Standing, standing
from trainer.practice.material import Material
from trainer.practice.played import PASSES, Played, Thought, thought_with
from trainer.practice.result import base
from trainer.review.results import judged
from trainer.score.syllabus import Step

_AT_ONCE = 500  # rows read before it is seen whether more are needed


def standing_of(journal: Journal, player: str, material: Material) -> Standing | None:
    """The standing of a player by id; None where nothing was ever judged."""
    with journal.reading() as connection:
        if connection.execute(judged(select(take.c.seq), player).limit(1)).scalar() is None:
            return None
    return standing(material, asked_of_the_log(journal, player, material))


def asked_of_the_log(journal: Journal, player: str, material: Material) -> Played:
    """As much of the sums of what was played as a standing asks for."""
    steps = {step.number: step for step in material.steps}
    return Played(clean=_clean(journal, player), thoughts=_Thoughts(journal, player, steps))


def _clean(journal: Journal, player: str) -> dict[str, dict[str, tuple[float, ...]]]:
    """As `Played.clean`: whole passes in tempo without a gross fault, 19 chords of 20 complete."""
    kinds = (take.c.exercise_id, sight.c.key, take.c.tempo, take.c.conditions, take.c.pauses)
    query = (
        select(*kinds, func.count())
        .join(marking, marking.c.seq == take.c.marking_seq)
        .join(sight, (sight.c.text_seq == take.c.text_seq) & (sight.c.position == 0))
        .where(take.c.player_id == player, take.c.state == "finished", take.c.tempo.is_not(None))
        .where(marking.c.gross == 0, 20 * marking.c.complete >= 19 * marking.c.judged)
        .group_by(*kinds)
    )
    tempi: dict[str, dict[str, list[float]]] = {}
    with journal.reading() as connection:
        for exercise, key, tempo, conditions, pauses, times in connection.execute(query):
            if _is_whole(conditions, pauses):
                keys = tempi.setdefault(base(exercise), {})
                keys.setdefault(key, []).extend([tempo] * min(times, PASSES))
    return {
        piece: {key: tuple(sorted(found, reverse=True)[:PASSES]) for key, found in keys.items()}
        for piece, keys in tempi.items()
    }


@lru_cache(maxsize=1024)
def _is_whole(conditions: str, pauses: str) -> bool:
    try:
        return played_through(conditions_from(conditions), pauses_from(pauses))
    except TrainerError:
        return False


class _Thoughts(Mapping[int, Thought]):
    """As `Played.thoughts`, each step's when it is asked for."""

    def __init__(self, journal: Journal, player: str, steps: Mapping[int, Step]) -> None:
        self._journal, self._player, self._steps = journal, player, steps

    def __getitem__(self, number: int) -> Thought:
        step = self._steps[number]
        names = {*step.new_figurings, *step.new_in_minor}
        thought = Thought()
        for right, think_s in self._answers(names):
            thought = thought_with(thought, right, think_s)
            if thought.shown:
                break
        return thought

    def __iter__(self) -> Iterator[int]:
        return iter(self._steps)

    def __len__(self) -> int:
        return len(self._steps)

    def _answers(self, names: set[str]) -> Iterator[tuple[bool, float]]:
        """Untimed chords under these figurings, right or not and how long they took, in order."""
        query = (
            _untimed(select(*_SAID), self._player)
            .join(sight, (sight.c.text_seq == take.c.text_seq) & (sight.c.position == _SAID[1]))
            .where(sight.c.figuring.in_(names), sight.c.chord, moment.c.think_s.is_not(None))
            .order_by(take.c.started_at, take.c.id.desc(), moment.c.position)
        )
        with self._journal.reading() as connection:
            reading = connection.execution_options(yield_per=_AT_ONCE)
            for marks, position, outcome, think_s in reading.execute(query):
                complete = outcome == "complete"
                if complete or missed(self._whys.get((marks, position)), in_tempo=False):
                    yield complete and (marks, position) not in self._spoiled, think_s

    @cached_property
    def _causes(self) -> tuple[tuple[int, Cause], ...]:
        """The causes named in the untimed passes, each with its marking."""
        query = select(marking.c.seq, marking.c.causes).where(marking.c.causes.is_not(None))
        query = query.join(take, take.c.marking_seq == marking.c.seq).where(
            *_at_leisure(self._player)
        )
        with self._journal.reading() as connection:
            rows = connection.execute(query).all()
        return tuple((marks, cause) for marks, text in rows for cause in causes_from(text))

    @cached_property
    def _whys(self) -> Mapping[tuple[int, int], Why]:
        """The causes of wrong chords, by marking and moment."""
        return {
            (marks, cause.moment): cause.kind
            for marks, cause in self._causes
            if cause.kind != "fault"
        }

    @cached_property
    def _spoiled(self) -> frozenset[tuple[int, int]]:
        """The moments in which a gross fault ends that follows from nothing else, by marking and
        number."""
        columns = (fault.c.marking_seq, fault.c.number, fault.c.moments)
        query = _untimed(select(*columns), self._player, fault)
        with self._journal.reading() as connection:
            rows = connection.execute(query.where(fault.c.weight == "gross")).all()
        following = {(marks, n) for marks, cause in self._causes for n in cause.follow}
        return frozenset(
            (marks, int(moments.rsplit(",", 1)[-1]))
            for marks, number, moments in rows
            if (marks, number) not in following
        )


_SAID = (moment.c.marking_seq, moment.c.position, moment.c.outcome, moment.c.think_s)


def _untimed(query: Select[Any], player: str, said: Table = moment) -> Select[Any]:
    """What was said of the untimed passes of a player."""
    return query.join(take, take.c.marking_seq == said.c.marking_seq).where(*_at_leisure(player))


def _at_leisure(player: str) -> tuple[ColumnElement[bool], ...]:
    return take.c.player_id == player, take.c.state != "open", take.c.tempo.is_(None)
