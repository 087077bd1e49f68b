"""How much is counted of what goes wrong: every fault by itself, or once by its cause.

`python -m tests.faults.counted [--passes N] [--seed N]` plays the passes of `tests.faults.human`
(default 100), in each of which one thing happens, and prints the sums of both ways of counting.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import replace

from tests.faults.human import INCIDENTS, happened
from trainer.judging.verdict import PassVerdict
from trainer.practice.result import result_of
from trainer.practice.session import Session
from trainer.theory.fault import WEIGHTS

Counts = dict[str, int]


def counted(session: Session, verdict: PassVerdict) -> Counts:
    """What a pass adds to the sums of the log, to movement and to memory."""
    movement, take = verdict.movement, session.take
    result = result_of(take, verdict, session.exercise, finished=True, seconds=1.0)
    return {
        "wrong in the log": len(verdict.told),
        **{f"{weight} in movement": getattr(movement, weight) for weight in WEIGHTS},
        "successions spoiled": movement.successions - movement.clean,
        "figurings missed": sum(not answer.right for answer in result.answers),
    }


def main(arguments: list[str] | None = None) -> int:
    """0 if nothing is counted more often by causes."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--passes", type=int, default=100)
    asked.add_argument("--seed", type=int, default=1)
    wanted = asked.parse_args(arguments)
    before: Counter[str] = Counter()
    after: Counter[str] = Counter()
    passes = more = 0
    for number in range(wanted.passes):
        one = happened(number, wanted.seed)
        if one is None:
            continue
        session = one.played().session
        verdict = session.verdict
        assert verdict is not None
        plain = session.judge.pass_verdict(verdict.moments, verdict.faults)
        singly = counted(session, replace(verdict, causes=(), movement=plain.movement))
        once = counted(session, verdict)
        more += sum(once[name] > singly[name] for name in singly)
        before.update(singly)
        after.update(once)
        passes += 1
    print(f"{passes} passes of {len(INCIDENTS)} kinds")
    for name in before:
        print(f"{name:24}singly {before[name]:5}   by causes {after[name]:5}")
    print(f"counted more often by causes: {more}")
    return int(more > 0)


if __name__ == "__main__":
    sys.exit(main())
