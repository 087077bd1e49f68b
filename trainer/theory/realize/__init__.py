"""All legal realizations of an exercise, exactly: the best, the number, what can follow."""

from trainer.theory.realize.explain import WayOut, way_out
from trainer.theory.realize.rows import VOICING_RULES
from trainer.theory.realize.solver import Solution, Solver
from trainer.theory.realize.steps import STEP_RULES
from trainer.theory.realize.taste import TASTE, Taste

__all__ = [
    "STEP_RULES",
    "TASTE",
    "VOICING_RULES",
    "Solution",
    "Solver",
    "Taste",
    "WayOut",
    "way_out",
]
