"""Where a player stands in the course, and what opens the next step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from trainer.practice.item import Item
from trainer.practice.material import Material
from trainer.practice.memory import SECURE
from trainer.practice.result import PassResult, base
from trainer.score.syllabus import Step

CLEAN = 0.95  # share of chords complete in a clean pass
KEYS, PASSES, PIECES = 3, 2, 2  # asked of each drill, in each key, and of the step's pieces
CHORDS, RIGHT = 12, 0.9  # untimed chords looked at, share of them right


@dataclass(frozen=True, slots=True)
class Requirement:
    """One thing the next step waits for: `reached` of `needed`, in `words`."""

    words: str
    reached: int
    needed: int
    drill: str = ""
    keys: tuple[str, ...] = ()  # in which the drill is secure
    figurings: bool = False  # whether it is about figurings asked untimed

    @property
    def met(self) -> bool:
        return self.reached >= self.needed


@dataclass(frozen=True, slots=True)
class Standing:
    """The step a player is on and what is still wanted there; `finished` after the last."""

    step: Step
    requirements: tuple[Requirement, ...]
    finished: bool = False


def standing(material: Material, results: Iterable[PassResult], begin_at: int = 1) -> Standing:
    """The first step from `begin_at` on whose requirements are not all met.

    What is once met stays met, whatever is played later.
    """
    by_base: dict[str, list[PassResult]] = {}
    thoughts: dict[str, list[tuple[int, bool, float]]] = {}
    number = 0
    for result in results:
        by_base.setdefault(base(result.exercise_id), []).append(result)
        for answer in result.answers:
            if answer.think_s is not None:
                number += 1
                thought = (number, answer.right, answer.think_s)
                thoughts.setdefault(answer.item.name, []).append(thought)
    found: Standing | None = None
    for step in material.steps[begin_at - 1 :]:
        wanted = _requirements(material, step, by_base, thoughts)
        found = Standing(step, wanted)
        if not all(requirement.met for requirement in wanted):
            return found
    assert found is not None
    return Standing(found.step, found.requirements, finished=True)


def is_clean(result: PassResult, tempo: float) -> bool:
    """A whole pass at `tempo` or above without a gross fault, 19 chords of 20 complete."""
    return (
        result.finished
        and result.whole
        and result.tempo is not None
        and result.tempo >= tempo
        and result.harmony >= CLEAN
        and result.gross == 0
    )


def _requirements(
    material: Material,
    step: Step,
    by_base: Mapping[str, Sequence[PassResult]],
    thoughts: Mapping[str, Sequence[tuple[int, bool, float]]],
) -> tuple[Requirement, ...]:
    wanted: list[Requirement] = []
    for pattern in material.drills(step):
        keys = _secure_keys(by_base.get(pattern.id, ()), min(step.tempo, pattern.tempo))
        possible = len(material.keys(pattern, step.number))
        needed = min(KEYS, possible)
        if needed:
            words = (
                f"{pattern.title}: two clean passes at {min(step.tempo, pattern.tempo):g} "
                f"in {_count(needed, 'key')}"
            )
            wanted.append(Requirement(words, min(needed, len(keys)), needed, pattern.id, keys))
    pieces = [material.pieces[id] for id in step.pieces if id in material.pieces]
    if pieces:
        clean = sum(
            any(is_clean(result, min(step.tempo, piece.tempo)) for result in by_base[piece.id])
            for piece in pieces
            if piece.id in by_base
        )
        needed = min(PIECES, len(pieces))
        words = f"{_count(needed, 'piece')} of the step clean at tempo"
        wanted.append(Requirement(words, min(needed, clean), needed))
    wanted.extend(_thinking(step, thoughts))
    return tuple(wanted)


def _secure_keys(results: Sequence[PassResult], tempo: float) -> tuple[str, ...]:
    clean: dict[str, int] = {}
    for result in results:
        if is_clean(result, tempo):
            clean[result.key] = clean.get(result.key, 0) + 1
    return tuple(key for key, count in clean.items() if count >= PASSES)


def _thinking(
    step: Step, thoughts: Mapping[str, Sequence[tuple[int, bool, float]]]
) -> Iterable[Requirement]:
    """The new figurings of the step, untimed: once that is shown in a row of chords, it holds."""
    names = (*step.new_figurings, *step.new_in_minor)
    if not names:
        return
    words = (
        f"the step's figurings untimed: of {CHORDS} chords in a row nine in ten right, "
        f"half of them in under {SECURE:g} seconds"
    )
    thought = sorted((at, ok, took) for name in names for at, ok, took in thoughts.get(name, ()))
    shown = any(
        _is_secure(thought[first : first + CHORDS]) for first in range(len(thought) - CHORDS + 1)
    )
    reached = CHORDS if shown else min(len(thought), CHORDS - 1)
    yield Requirement(words, reached, CHORDS, figurings=True)


def _is_secure(row: Sequence[tuple[int, bool, float]]) -> bool:
    right = [took for _, ok, took in row if ok]
    return len(right) >= RIGHT * len(row) and median(right) < SECURE


def _count(number: int, what: str) -> str:
    names = ("no", "one", "two", "three")
    return f"{names[number]} {what}{'' if number == 1 else 's'}"


def is_new_at(step: Step, item: Item) -> bool:
    """Whether a figuring is among those the step brings."""
    return item.kind == "figuring" and item.name in (*step.new_figurings, *step.new_in_minor)
