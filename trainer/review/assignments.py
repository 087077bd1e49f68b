"""Assignments: what a teacher sets for a class, and how far a player is with it.

A small TOML file, sent as one likes:

    title = "Second week of Lent"
    until = 2026-03-20

    [[piece]]
    exercise = "bellows"
    keys = ["G", "D"]      # left out: in any key
    tempo = 60             # beats a minute
"""

from __future__ import annotations

import errno
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Literal

from trainer.errors import PitchError, TrainerError
from trainer.files import check_place, content
from trainer.folders import data_folder
from trainer.journal.store import Journal, TakeSummary
from trainer.judging.take import played_through
from trainer.judging.timing import FASTEST, SLOWEST
from trainer.practice.assignment import Assigned, key_for
from trainer.practice.ladder import criteria_at
from trainer.practice.material import Material
from trainer.practice.played import PASSES
from trainer.theory.key import Key

LARGEST = 100_000  # bytes of an assignment

State = Literal["not begun", "begun", "once", "secure"]


class AssignmentError(TrainerError):
    """An assignment that cannot be read."""


@dataclass(frozen=True, slots=True)
class Goal:
    """One piece to be brought to a tempo; `key` empty: in any key."""

    exercise_id: str
    key: str
    tempo: float


@dataclass(frozen=True, slots=True)
class Assignment:
    """Goals for everybody who has it, `until` and including that day."""

    name: str
    title: str
    until: date
    goals: tuple[Goal, ...]


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a goal is: `good` passes at its tempo or above by the day it ends; `fastest` tempo
    of a pass played through; None where there was none."""

    goal: Goal
    state: State
    passes: int
    good: int
    fastest: float | None


def read_assignment(path: Path) -> Assignment:
    """Raises AssignmentError with the line for anything that is not an assignment."""
    try:
        data = content(path, LARGEST)
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise AssignmentError("is too large for an assignment", file=path) from None
        raise AssignmentError(f"cannot be read ({error.strerror})", file=path) from None
    try:
        text = data.decode("utf-8-sig")
        given = tomllib.loads(text)
    except UnicodeDecodeError:
        raise AssignmentError("is not UTF-8 text", file=path, remedy="save it as UTF-8") from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise AssignmentError(f"is not TOML: {error}", file=path) from None
    return _Reader(path, text).assignment(given)


@dataclass(frozen=True, slots=True)
class _Reader:
    path: Path
    text: str

    def fail(self, what: str, line: int = 1, remedy: str = "") -> AssignmentError:
        return AssignmentError(what, file=self.path, line=line, remedy=remedy)

    def assignment(self, given: dict[str, Any]) -> Assignment:
        for name in given:
            if name not in ("title", "until", "piece"):
                known = "an assignment has title, until and piece"
                raise self.fail(f"{name} is not known here", self._line(name), known)
        title, until, pieces = given.get("title"), given.get("until"), given.get("piece")
        if not isinstance(title, str) or not title.strip() or len(title) > 200:
            raise self.fail("the title is missing", self._line("title"), 'write title = "…"')
        if type(until) is not date:
            where, remedy = self._line("until"), "write until = 2026-03-20"
            raise self.fail("until is not a day", where, remedy)
        if not isinstance(pieces, list) or not pieces or len(pieces) > 100:
            raise self.fail("there is no piece", 1, "write [[piece]] and below it exercise = …")
        goals: list[Goal] = []
        for number, piece in enumerate(pieces):
            goals += self._goals(piece, number)
        return Assignment(self.path.stem, title, until, tuple(goals))

    def _goals(self, piece: Any, number: int) -> list[Goal]:
        line = self._piece_line(number)
        if not isinstance(piece, dict) or set(piece) - {"exercise", "keys", "tempo"}:
            raise self.fail("a piece has exercise, keys and tempo", line)
        exercise, keys, tempo = piece.get("exercise"), piece.get("keys", []), piece.get("tempo")
        if not isinstance(exercise, str) or not exercise.strip() or len(exercise) > 200:
            raise self.fail("the piece has no exercise", line, 'write exercise = "…"')
        if isinstance(tempo, bool) or not isinstance(tempo, int | float):
            raise self.fail("the piece has no tempo", line, "write tempo = 60")
        if not SLOWEST <= tempo <= FASTEST:
            raise self.fail(f"no tactus can be followed at {tempo:g}", line)
        if not isinstance(keys, list) or not all(isinstance(key, str) for key in keys):
            raise self.fail("keys are a list", line, 'write keys = ["G", "D"]')
        try:
            named = [str(Key.parse(key)) for key in keys] or [""]
        except PitchError as error:
            raise self.fail(error.what, line, error.remedy) from None
        return [Goal(exercise, key, float(tempo)) for key in named]

    def _line(self, name: str) -> int:
        lines = enumerate(self.text.splitlines(), 1)
        return next((n for n, line in lines if line.split("=")[0].strip() == name), 1)

    def _piece_line(self, number: int) -> int:
        lines = enumerate(self.text.splitlines(), 1)
        heads = [n for n, line in lines if line.strip().startswith("[[piece]]")]
        return heads[number] if number < len(heads) else 1


# ---- what has been taken in -----------------------------------------------------------------


def assignments_folder() -> Path:
    """Where assignments are kept that a player has taken in."""
    return data_folder() / "assignments"


def take_in(path: Path, material: Material) -> Assignment:
    """Keep an assignment whose exercises are all in the library; one of the same file name is
    replaced. Raises AssignmentError."""
    assignment = read_assignment(path)
    check_goals(path, assignment, material)
    target = assignments_folder() / f"{path.stem}.toml"
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        unfinished = target.with_suffix(".new")
        check_place(target)
        unfinished.write_bytes(content(path, LARGEST))
        unfinished.replace(target)
    except OSError as error:
        raise AssignmentError(f"cannot be kept ({error.strerror})", file=target) from None
    return assignment


def taken_in() -> tuple[Assignment, ...]:
    """All assignments kept, those that end first in front. Raises AssignmentError."""
    found = [read_assignment(path) for path in sorted(assignments_folder().glob("*.toml"))]
    return tuple(sorted(found, key=lambda one: (one.until, one.name)))


def set_for_player() -> tuple[Assigned, ...]:
    """Every goal of the assignments kept, as the plan of a day takes it. Raises AssignmentError."""
    return tuple(
        Assigned(one.title, one.until, goal.exercise_id, goal.key, goal.tempo)
        for one in taken_in()
        for goal in one.goals
    )


def check_goals(path: Path, assignment: Assignment, material: Material) -> None:
    """Raises AssignmentError where a goal's exercise is not in the library, or not in its mode."""
    for goal in assignment.goals:
        one = Assigned("", assignment.until, goal.exercise_id, goal.key, goal.tempo)
        if goal.exercise_id not in material.wholes:
            raise AssignmentError(
                f"there is no exercise {goal.exercise_id!r} in the library",
                file=path,
                remedy="put its file into a folder of your own (`settings set exercises FOLDER`)",
            )
        if key_for(one, material, Key.parse("C")) is None:
            raise AssignmentError(
                f"{goal.exercise_id} cannot be played in {goal.key}: the mode stays",
                file=path,
                remedy='write a minor key small, as in keys = ["g"]',
            )


# ---- how far a player is --------------------------------------------------------------------


def progress(journal: Journal, player: str, assignment: Assignment) -> tuple[Progress, ...]:
    """How far a player is with each goal, by what was played to the end of its last day."""
    takes: dict[str, tuple[TakeSummary, ...]] = {}
    for goal in assignment.goals:
        if goal.exercise_id not in takes:
            takes[goal.exercise_id] = journal.takes(player, exercise_id=goal.exercise_id)
    return tuple(_progress(goal, takes[goal.exercise_id], assignment) for goal in assignment.goals)


def _progress(goal: Goal, takes: Iterable[TakeSummary], assignment: Assignment) -> Progress:
    counted = [
        one for one in takes if one.started.date() <= assignment.until and goal.key in ("", one.key)
    ]
    through = [
        one.tempo
        for one in counted
        if one.tempo is not None and one.state == "finished" and _whole(one)
    ]
    good = sum(is_good(one, goal.tempo) for one in counted)
    state: State = "not begun"
    if counted:
        state = "begun"
    if good:
        state = "secure" if good >= PASSES else "once"
    return Progress(goal, state, len(counted), good, max(through, default=None))


def is_good(take: TakeSummary, tempo: float) -> bool:
    """A whole pass at `tempo` or above that reaches what the ladder asks at a piece's own tempo."""
    if take.tempo is None or take.tempo < tempo or take.state != "finished" or not _whole(take):
        return False
    asked = criteria_at(tempo, tempo)
    return (
        take.timing is not None
        and take.harmony.share >= asked.harmony
        and take.timing.share >= asked.time
        and take.movement.share >= asked.movement
        and take.movement.gross <= asked.gross
    )


def _whole(take: TakeSummary) -> bool:
    return played_through(take.conditions, take.pauses)


def states(found: Sequence[Progress]) -> str:
    """How many goals are secure, in words."""
    secure = sum(one.state == "secure" for one in found)
    return f"{secure} of {len(found)} secure"
