"""Takes for the tests of the log: a cadence with 4 3, as a student might play it with pedals."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

from trainer.journal.writer import Writer
from trainer.judging.take import Conditions, Take
from trainer.judging.verdict import Harmony, MomentVerdict, Movement, PassVerdict, Timing
from trainer.listening.events import KeyDown, KeyUp, Pedal
from trainer.listening.manuals import Manual
from trainer.theory.fault import Fault
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import Voicing

CADENCE = (Path(__file__).parent / "data" / "four-three-cadence.krn").read_text(encoding="utf-8")
STARTED = datetime(2026, 3, 2, 19, 30, tzinfo=timezone(timedelta(hours=1)))
EVENTS = (
    KeyDown(10.0, 48, 60, Manual.BASS),
    KeyDown(10.01, 64, 61),
    Pedal(10.5, True),
    KeyUp(11.0, 48, Manual.BASS),
    Pedal(11.25, False),
)
TAKE = Take("four-three-cadence", CADENCE, Conditions(tempo=60.0), (), 10.0, STARTED)
FIRST = MomentVerdict(
    0,
    "incomplete",
    keys=(48, 64),
    voicing=Voicing.parse("c3 e4 - g4"),
    missing=("5", "b7"),
    late_ms=12.5,
    late_beats=0.0125,
    spread_ms=10.0,
)
SECOND = MomentVerdict(1, "complete", keys=(43, 62), late_ms=-200.0, late_beats=-0.2)
FAULT = Fault(
    "consecutive-fifths",
    "gross",
    (0, 1),
    ("soprano", "bass"),
    (Pitch.parse("g4"), Pitch.parse("c3"), Pitch.parse("a4"), Pitch.parse("d3")),
    "fifths between soprano and bass",
    Voicing.parse("d3 f4 a4 d5"),
)
VERDICT = PassVerdict(
    (FIRST, SECOND),
    (FAULT,),
    Harmony(1, 2),
    Timing(1, 2, -93.75, 157.5),
    Movement(1, 0, 0, 0, 1),
)


def play(location: Path | str, *, end: bool = True, take: Take = TAKE) -> str:
    """One take through the writer; its id."""
    with Writer(location) as writer:
        id = writer.begin(take)
        writer.events(id, EVENTS[:2])
        writer.moment(id, FIRST)
        writer.events(id, EVENTS[2:])
        writer.moment(id, SECOND, (FAULT,))
        if end:
            writer.end(id, replace(take, events=EVENTS), VERDICT)
    return id
