"""What an examination finds, and many examinations at once within a limit of time."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from trainer.errors import TrainerError

State = Literal["good", "without", "wrong", "fatal"]

LIMIT = 30.0  # seconds that all examinations together may take, on however busy a computer


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of what was found about a thing.

    `good`; `without`: it is not there and practice does without it; `wrong`: something to be
    mended, practice goes on; `fatal`: practice cannot begin. `remedy` is empty for what is good.
    """

    about: str
    state: State
    said: str
    remedy: str = ""


def of_error(about: str, state: State, error: TrainerError, remedy: str = "") -> Finding:
    """An error of ours as a finding; `remedy` where it knows none itself."""
    bare = error.at()  # one of its own
    bare.remedy = ""
    return Finding(about, state, str(bare), error.remedy or remedy)


Examination = Callable[[], tuple[Finding, ...]]


def examined(examinations: Mapping[str, Examination], limit: float = LIMIT) -> tuple[Finding, ...]:
    """What all of them find, in their order; none is waited for longer than `limit` seconds.

    Their keys are what they are about, for those that give no answer.
    """
    found: dict[str, tuple[Finding, ...]] = {}

    def look(about: str, examination: Examination) -> None:
        found[about] = _safely(about, examination)

    threads = {
        about: threading.Thread(target=look, args=(about, examination), daemon=True)
        for about, examination in examinations.items()
    }
    deadline = time.monotonic() + limit
    for thread in threads.values():
        thread.start()
    for thread in threads.values():
        thread.join(max(0.0, deadline - time.monotonic()))
    answers = dict(found)
    return tuple(
        finding
        for about in examinations
        for finding in answers.get(about, (_silent(about, limit),))
    )


def _safely(about: str, examination: Examination) -> tuple[Finding, ...]:
    try:
        return examination()
    except TrainerError as error:
        return (of_error(about, "wrong", error),)
    except Exception as error:  # whatever a library or a system raises is what is to be told
        said = " ".join(f"{type(error).__name__}: {error}".split())
        return (Finding(about, "wrong", said, "report this line to whoever keeps the program"),)


def _silent(about: str, limit: float) -> Finding:
    said = f"no answer within {limit:g} s"
    remedy = "it hangs, or the computer is very busy: try again, unplug it, or start anew"
    return Finding(about, "wrong", said, remedy)
