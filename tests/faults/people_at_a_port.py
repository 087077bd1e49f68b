"""The same passes as people play them, through a real MIDI port into the program.

    python -m tests.faults.people_at_a_port                       28 passes
    python -m tests.faults.people_at_a_port --passes 14 --busy 2

Each is played by an instrument of its own (JACK) into a freshly started program; its log, read with
`sqlite3`, has to hold the keys that were sent, and what it says of the pass has to be what
`tests.faults.human` asks. Nothing is played again. Each is also played without a port, so that what
only the port does is seen. `--busy` processes compute beside it.
"""

from __future__ import annotations

import argparse
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing
from pathlib import Path

from tests.end_to_end.conftest import Program
from tests.end_to_end.jack import Bytes, Organ
from tests.end_to_end.jack import Server as Jack
from tests.faults.human import INCIDENTS, ORIGIN, Happened, amiss, happened
from tests.faults.sound import load
from trainer.journal.packing import unpack_events
from trainer.journal.store import Journal
from trainer.listening.events import KeyDown, KeyUp
from trainer.score.kern import write_exercise

NOTE_ON = 0x90
WRONG = ("misnamed", "derailed", "lost")
TEMPI = (108.0, 120.0, 132.0)  # so that it takes no hours


def sent(one: Happened) -> list[Bytes]:
    """Its keys as MIDI bytes, seconds from the first moment; note-off is note-on at velocity 0."""
    return [
        (e.time - ORIGIN, [NOTE_ON, e.key, e.velocity if isinstance(e, KeyDown) else 0])
        for e in one.events
        if isinstance(e, KeyDown | KeyUp)
    ]


def played(one: Happened, organ: Organ, home: Path) -> tuple[str, str, str]:
    """What is said first where it should be the incident, what derailed, and what of the keys in
    the log is not what was sent; '' where nothing is amiss."""
    home.mkdir()
    piece = home / f"{one.exercise.id}.krn"
    piece.write_text(write_exercise(one.exercise), encoding="utf-8")
    words = ("--input", "organ", "--view", "none", "--silent", "--json")
    program = Program(
        "practice", str(piece), *words, "--tempo", f"{one.conditions.tempo:g}", home=home
    )
    try:
        origin = program.next("began")["origin"]
        messages = sent(one)
        organ.send([(origin + at, message) for at, message in messages])
        organ.wait()
        (take,) = program.result()["takes"]
    finally:
        program.close()
    with closing(sqlite3.connect(home / "log.sqlite")) as raw:
        chunks = raw.execute("SELECT payload, packing FROM chunk ORDER BY number").fetchall()
    kept = [e for payload, packing in chunks for e in unpack_events(payload, packing)]
    keys = [[NOTE_ON, e.key, getattr(e, "velocity", 0)] for e in kept if hasattr(e, "key")]
    ends = one.events[-1].time  # the last keys are let go when the pass may be over
    lost = sorted(m for at, m in messages if at < ends - ORIGIN - 0.3 and m not in keys)
    with Journal.open(home / "log.sqlite") as journal:
        verdict, again = journal.verdict(take["id"]), journal.take(take["id"]).begun_again
    assert verdict is not None
    return (*amiss(one, verdict, again), str(lost) if lost else "")


def without_a_port(one: Happened) -> tuple[str, str]:
    """What is said first where it should be the incident, and what derailed, without a port."""
    session = one.played().session
    assert session.verdict is not None
    return amiss(one, session.verdict, session.take.begun_again)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--passes", type=int, default=2 * len(INCIDENTS))
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--busy", type=int, default=0)
    asked = parser.parse_args()
    found = [one for n in range(asked.passes) if (one := happened(n, asked.seed, TEMPI))]
    began, tried = time.monotonic(), Counter[str]()
    amiss_in = Counter[str]()
    with (
        load(asked.busy),
        closing(Jack()),
        closing(Organ()) as organ,
        tempfile.TemporaryDirectory() as folder,
    ):
        for number, one in enumerate(found):
            tried[one.incident] += 1
            alone = (*without_a_port(one), "")
            here = played(one, organ, Path(folder) / str(number))
            for what, said, otherwise in zip(WRONG, here, alone, strict=True):
                amiss_in[what] += bool(said)
                amiss_in[f"{what} only here"] += bool(said) and not otherwise
                if said:
                    print(f"{one.incident} {one.exercise.id} {one.moment}: {what}: {said[:200]}")
    print(", ".join(f"{incident} {count}" for incident, count in tried.items()))
    counts = ", ".join(
        f"{what} {amiss_in[what]} ({amiss_in[f'{what} only here']} not so without a port)"
        for what in WRONG
    )
    print(f"{len(found)} passes through a real port: {counts}")
    print(f"{time.monotonic() - began:.0f} s, {asked.busy} busy processes beside it")
    only_here = [amiss_in[f"{what} only here"] for what in WRONG]
    return int(only_here[0] > 0.05 * len(found) or only_here[1] > 0 or only_here[2] > 0)


if __name__ == "__main__":
    sys.exit(main())
