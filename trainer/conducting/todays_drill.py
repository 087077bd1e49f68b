"""Today's drill as it is played: the plan, what has been played of it, what comes next.

The log is the memory of a drill. Beside it one small file keeps when today's plan was begun, its
minutes and what was passed over; without that file the plan counts from the beginning of the day.
Neither is needed whole for the drill to go on where it was left, however the program ended.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from pathlib import Path

from trainer.errors import ExerciseError, LogError
from trainer.files import text_of
from trainer.folders import data_folder, replace_text
from trainer.practice.assignment import Assigned
from trainer.practice.ladder import climbed, compared, in_words, verdict_at
from trainer.practice.material import Material
from trainer.practice.past import Past, continued, nothing
from trainer.practice.pieces import MADE
from trainer.practice.plan import Next, Plan, next_task, shortened, time_spent
from trainer.practice.planning import todays_plan
from trainer.practice.question import asked_item, question
from trainer.practice.result import PassResult, base, believable, is_question
from trainer.score.exercise import Exercise
from trainer.score.library import Library
from trainer.score.transpose import transposed
from trainer.settings import Player


@dataclass(frozen=True, slots=True)
class Begun:
    """When a day's plan was begun, for how many minutes it was made, how many are left of it
    since it was shortened, and which parts were passed over."""

    day: date
    at: datetime
    planned: float
    minutes: float
    skipped: tuple[str, ...] = ()


@dataclass(frozen=True)
class Drill:
    """A plan under way. `before` is the past it was made from, `since` what was played of it."""

    begun: Begun
    plan: Plan
    before: Past
    since: tuple[PassResult, ...]

    @property
    def following(self) -> Next | None:
        """What to play now; None when the plan is done or its minutes are."""
        return next_task(self.plan, self.since, self.begun.skipped)

    @property
    def minutes_spent(self) -> float:
        return time_spent(self.since) / 60

    def played(self, result: PassResult) -> Drill:
        """With one more pass."""
        return replace(self, since=(*self.since, result))


def open_drill(
    player: Player,
    material: Material,
    results: Sequence[PassResult],
    now: datetime,
    *,
    before: Past | None = None,
    minutes: float | None = None,
    again: bool = False,
    skip: Sequence[str] = (),
    assigned: Sequence[Assigned] = (),
) -> Drill:
    """Today's drill where it stands, or begun now.

    `results` are the passes played since `before`, the past up to `beginning` (None: all there
    are).
    `minutes` lengthens or shortens it; `again` begins another on the same day. Nothing on disk is
    changed: that it has begun is written down when it is played. Raises LogError where
    what was written down cannot be read.
    """
    path = begun_path(player)
    begun = None if again else read_begun(path, now)
    if begun is None:
        wanted = minutes or player.minutes
        begun = Begun(now.date(), now, wanted, wanted)
    elif minutes is not None:
        begun = replace(begun, planned=max(minutes, begun.planned), minutes=minutes)
    begun = replace(begun, skipped=tuple(dict.fromkeys((*begun.skipped, *skip))))
    told, left_out = believable(results, now)
    earlier = tuple(result for result in told if result.at < begun.at)
    before = continued(
        before or nothing(material, player.begin_at), earlier, material, player.begin_at, left_out
    )
    plan = todays_plan(
        now,
        begun.planned,
        material,
        before,
        hands=player.hands,
        player=player.id,
        assigned=assigned,
    )
    if begun.minutes < begun.planned:
        plan = shortened(plan, begun.minutes)
    return Drill(begun, plan, before, told[len(earlier) :])


def beginning(player: Player, now: datetime) -> datetime:
    """An instant before which nothing of today's drill lies: the beginning of the day, or when
    the plan was begun, if that was in another zone. Raises as `open_drill`."""
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
    begun = read_begun(begun_path(player), now)
    return midnight if begun is None else min(midnight, begun.at)


def exercise_for(following: Next, material: Material, library: Library) -> Exercise:
    """What is to be played: a question, a drill in a key, or a piece, transposed if need be."""
    task = following.task
    if is_question(task.exercise_id):
        return question(asked_item(task.exercise_id), material)
    if base(task.exercise_id) == MADE:
        return made_for_sight(task.exercise_id)
    exercise = library.find(task.exercise_id)
    return transposed(exercise, task.key) if task.key else exercise


def made_for_sight(exercise_id: str) -> Exercise:
    """The piece that an id such as `at-sight@13:59213` names: step and seed, and nothing else.

    Raises ExerciseError where nothing comes of the seed and the next ones.
    """
    from trainer.composing.generate import generate

    step, _, seed = exercise_id.partition("@")[2].partition(":")
    if not (step.isdecimal() and seed.isdecimal()):
        raise ExerciseError(f"{exercise_id!r} names no piece", remedy=f"write {MADE}@STEP:SEED")
    for further in range(_SEEDS):
        try:
            made = generate(int(step), seed=int(seed) + further)
        except ExerciseError:
            if further == _SEEDS - 1:
                raise
            continue
        return replace(made, id=exercise_id)
    raise AssertionError("the last seed returns or raises")


_SEEDS = 8  # tried one after another

# ── what is said before and after a pass ─────────────────────────────────────────────────────


def before_words(drill: Drill, following: Next) -> tuple[str, ...]:
    """Why this comes now, and what is asked of it."""
    part, ladder = following.part, following.ladder
    begun = {task.exercise_id for task in part.tasks}
    played = any(result.exercise_id in begun for result in drill.since)
    said = [] if played else [f"{part.title}: {part.reason}"]
    if ladder is not None:
        top = ladder.tempo >= ladder.goal
        wanted = "one more good pass" if ladder.good else "two good passes"
        said.append(
            f"{ladder.tempo:g} of {ladder.goal:g} beats a minute; "
            f"{wanted} {'at this, its own tempo' if top else 'to the next rung'}"
        )
        said.append(f"asked: {in_words(ladder.rung.criteria)}")
    return tuple(said)


def after_words(following: Next, result: PassResult) -> tuple[str, ...]:
    """What was reached beside what was asked, and where that leads."""
    ladder = following.ladder
    if ladder is None:
        return ()
    lines = compared(ladder.rung.criteria, result)
    said = ", ".join(
        f"{line.name} {_number(line.name, line.reached)}"
        + ("" if line.met else f" (asked: {_number(line.name, line.needed)})")
        for line in lines
    )
    verdict = verdict_at(ladder, result)
    word = {"good": "good", "failed": "not yet", "no matter": "not counted"}[verdict]
    if not result.whole:  # a drill asks for whole pieces
        word = "begun again, so not counted"
    after = climbed(ladder, result)
    moved = f"; now {after.tempo:g}" if after.tempo != ladder.tempo else ""
    return (f"{word}: {said}{moved}",)


def _number(name: str, value: float) -> str:
    return f"{value:g}" if name == "gross faults" else f"{value:.0%}"


# ── the small file ───────────────────────────────────────────────────────────────────────────


def begun_path(player: Player) -> Path:
    """Where it is kept that a player's plan was begun."""
    return data_folder() / f"drill-{player.id}.json"


def read_begun(path: Path, now: datetime) -> Begun | None:
    """What was begun on the day of `now`; None if nothing was. Raises LogError for a file that
    cannot be read."""
    try:
        text = text_of(path, LARGEST)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise LogError("cannot be read", file=path, remedy=_REMEDY) from error
    try:
        kept = json.loads(text)
        begun = Begun(
            day=date.fromisoformat(kept["day"]),
            at=datetime.fromisoformat(kept["at"]),
            planned=float(kept["planned"]),
            minutes=float(kept["minutes"]),
            skipped=tuple(str(kind) for kind in kept["skipped"]),
        )
        if begun.at.tzinfo is None or not 0 < begun.minutes <= begun.planned:
            raise ValueError("out of range")
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise LogError("does not say when the plan was begun", file=path, remedy=_REMEDY) from error
    if begun.day != now.date():
        return None
    return replace(begun, at=min(begun.at, now))  # a clock set back since


LARGEST = 1 << 16  # bytes of the small file
_WRITABLE = "make the folder writable"
_REMEDY = "delete it: the plan is made again, and what was played is in the log"


def write_begun(path: Path, begun: Begun) -> None:
    """Atomically. Raises LogError where it cannot be written."""
    kept = {**asdict(begun), "day": begun.day.isoformat(), "at": begun.at.isoformat()}
    try:
        replace_text(path, json.dumps(kept))
    except OSError as error:
        raise LogError(
            f"cannot be written: {error.strerror}", file=path, remedy=_WRITABLE
        ) from None
