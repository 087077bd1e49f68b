"""Where a player stands in the course, and what opens the next step."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.practice.material import Material
from trainer.practice.memory import SECURE
from trainer.practice.played import CHORDS, Played, Thought
from trainer.score.syllabus import Step

KEYS, PIECES = 3, 2  # asked of each drill, and of the step's pieces


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


def standing(material: Material, played: Played, begin_at: int = 1) -> Standing:
    """The first step from `begin_at` on whose requirements are not all met.

    What is once met stays met, whatever is played later.
    """
    found: Standing | None = None
    for step in material.steps[begin_at - 1 :]:
        wanted = _requirements(material, step, played)
        found = Standing(step, wanted)
        if not all(requirement.met for requirement in wanted):
            return found
    assert found is not None
    return Standing(found.step, found.requirements, finished=True)


def _requirements(material: Material, step: Step, played: Played) -> tuple[Requirement, ...]:
    wanted: list[Requirement] = []
    for pattern in material.drills(step):
        tempo = min(step.tempo, pattern.tempo)
        keys = played.clean_at(pattern.id, tempo)
        possible = len(material.keys(pattern, step.number))
        needed = min(KEYS, possible)
        if needed:
            words = f"{pattern.title}: two clean passes at {tempo:g} in {_count(needed, 'key')}"
            wanted.append(Requirement(words, min(needed, len(keys)), needed, pattern.id, keys))
    pieces = [material.pieces[id] for id in step.pieces if id in material.pieces]
    if pieces:
        clean = sum(
            played.ever_clean_at(piece.id, min(step.tempo, piece.tempo)) for piece in pieces
        )
        needed = min(PIECES, len(pieces))
        words = f"{_count(needed, 'piece')} of the step clean at tempo"
        wanted.append(Requirement(words, min(needed, clean), needed))
    if step.new_figurings or step.new_in_minor:
        wanted.append(_thinking(played.thoughts.get(step.number) or Thought()))
    return tuple(wanted)


def _thinking(thought: Thought) -> Requirement:
    """The new figurings of the step, untimed."""
    words = (
        f"the step's figurings untimed: of {CHORDS} chords in a row nine in ten right, "
        f"half of them in under {SECURE:g} seconds"
    )
    reached = CHORDS if thought.shown else min(len(thought.row), CHORDS - 1)
    return Requirement(words, reached, CHORDS, figurings=True)


def _count(number: int, what: str) -> str:
    names = ("no", "one", "two", "three")
    return f"{names[number]} {what}{'' if number == 1 else 's'}"
