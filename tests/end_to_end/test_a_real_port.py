"""From MIDI bytes at a real port to the log, through separate processes.

The player is perfect, or makes one chosen mistake; the log has to say exactly that.
"""

from __future__ import annotations

import time
from pathlib import Path
from statistics import median

import pytest

from tests.end_to_end.conftest import Program
from tests.end_to_end.jack import Bytes, Organ
from trainer.journal.store import Journal
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyDown, KeyUp
from trainer.theory.voicing import Voicing

EXERCISE = """\
!!!OTL: Four bars for the evening class
!!!id: four-bars
!!!level: 10
**kern	**fb
*Ibass	*
*clefF4	*
*k[]	*
*C:	*
*M4/4	*
*MM60	*
=1	=1
4C	.
4AA	.
4FF	.
4C	.
=2	=2
2GG	4
.	3
4C	.
4FF	.
=3	=3
4GG	.
4C	.
4AA	.
4FF	.
=4	=4
1C;	.
==	==
*-	*-
"""
BEATS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12)  # of each moment
RIGHT = (
    "c3 g3 c4 e4",
    "a2 a3 c4 e4",
    "f2 a3 c4 f4",
    "c3 g3 c4 e4",
    "g2 g3 c4 d4",
    "g2 g3 b3 d4",
    "c3 g3 c4 e4",
    "f2 a3 c4 f4",
    "g2 g3 b3 d4",
    "c3 g3 c4 e4",
    "a2 a3 c4 e4",
    "f2 a3 c4 f4",
    "c3 g3 c4 e4",
)
NOTE_ON = 0x90


def chords(changes: dict[int, str] | None = None) -> list[str]:
    return [(changes or {}).get(moment, chord) for moment, chord in enumerate(RIGHT)]


def played(
    voicings: list[str], origin: float, bpm: float, late: dict[int, float] | None = None
) -> list[Bytes]:
    """MIDI bytes: all four keys at once, let go shortly before the next; note-off is note-on with
    velocity 0. Over the held bass only the voice that moves is struck. `late` in beats."""
    beat = 60.0 / bpm
    messages: list[Bytes] = []
    down: list[int] = []
    for moment, chord in enumerate(voicings):
        at = origin + (BEATS[moment] + (late or {}).get(moment, 0.0)) * beat
        keys = [pitch.midi for pitch in Voicing.parse(chord) if pitch is not None]
        stay = [key for key in down if key in keys] if moment == 5 else []
        messages += [(at - 0.03, [NOTE_ON, key, 0]) for key in down if key not in stay]
        messages += [(at, [NOTE_ON, key, 70]) for key in keys if key not in stay]
        down = keys
    end = origin + (BEATS[len(voicings) - 1] + 1) * beat
    # let go before the pass ends: what comes after it belongs to no take
    return messages + [(end - 0.1, [NOTE_ON, key, 0]) for key in down]


def constant(errors: list[float]) -> float:
    """What all have in common: a busy machine may hold some keys back."""
    return median(errors)


@pytest.fixture()
def exercise(tmp_path: Path) -> Path:
    path = tmp_path / "four-bars.krn"
    path.write_text(EXERCISE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def calibrated(organ: Organ, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of the player's own in which the organ's constant offset has been measured."""
    home = tmp_path_factory.mktemp("home")
    program = Program(
        *("keyboard", "calibrate", "organ", "--json", "--tempo", "170", "--beats", "28"), home=home
    )
    said = program.next("first_beat")
    taps: list[Bytes] = []
    for number in range(3, 28):
        at = said["first_beat"] + number * said["beat"]
        taps += [(at, [NOTE_ON, 60, 80]), (at + 0.1, [NOTE_ON, 60, 0])]
    organ.send(taps)
    found = program.result()
    organ.wait()
    assert found["stored"] and found["taps"] >= 20
    assert 0 < found["offset_ms"] < 30  # two periods of 256 frames at 48 kHz are 10.7 ms
    return home


def practice(exercise: Path, home: Path, *arguments: str, port: str = "organ") -> Program:
    return Program(
        "practice", str(exercise), "--input", port, "--view", "none", "--silent", "--json",
        *arguments,
        home=home,
    )  # fmt: skip


def log_of(
    organ: Organ, exercise: Path, home: Path, bpm: float, passes: list[list[Bytes]], *more: str
) -> list[PassVerdict]:
    """Play these passes into the program; what its log says of each. Every message is in it."""
    program = practice(exercise, home, "--tempo", f"{bpm:g}", "--passes", str(len(passes)), *more)
    try:
        for messages in passes:
            origin = program.next("began")["origin"]
            organ.send([(origin + at, message) for at, message in messages])
            organ.wait()
        result = program.result()
    finally:
        program.close()
    said = []
    with Journal.open(home / "log.sqlite") as journal:
        for messages, take in zip(passes, result["takes"], strict=True):
            kept = [as_bytes(event) for event in journal.take(take["id"]).events]
            assert sorted(kept) == sorted(message for _, message in messages)
            verdict = journal.verdict(take["id"])
            assert verdict is not None
            said.append(verdict)
    return said


def as_bytes(event: object) -> list[int]:
    """A key event of the log as the organ sent it."""
    if isinstance(event, KeyDown):
        return [NOTE_ON, event.key, event.velocity]
    assert isinstance(event, KeyUp)
    return [NOTE_ON, event.key, 0]


def test_the_log_says_exactly_what_was_played(
    organ: Organ, calibrated: Path, exercise: Path
) -> None:
    bpm = 160.0
    passes = [
        played(chords(), 0.0, bpm),
        played(chords({2: "f2 a3 d4 f4"}), 0.0, bpm),  # the sixth where a triad is asked
        played(chords({1: "a2 e3 c4 e4"}), 0.0, bpm),  # tenor with bass: fifths c g, a e
        played(chords(), 0.0, bpm, late={3: 0.4}),
    ]
    right, wrong, fifths, late = log_of(organ, exercise, calibrated, bpm, passes)

    assert {m.outcome for m in right.moments} == {"complete"} and len(right.moments) == 13
    assert not [f for f in right.faults if f.weight != "remark"]
    assert right.timing is not None and right.timing.in_time == right.timing.judged == 13
    errors = [m.late_ms for m in right.moments if m.late_ms is not None]
    assert abs(constant(errors)) < 2.0, errors

    assert [(m.index, m.foreign) for m in wrong.moments if m.outcome != "complete"] == [(2, ("6",))]
    assert [f.rule for f in wrong.faults if f.weight == "gross"] == ["foreign-note"]

    assert {m.outcome for m in fifths.moments} == {"complete"}
    gross = [(f.rule, f.moments, f.voices) for f in fifths.faults if f.weight == "gross"]
    assert gross == [("consecutive-fifths", (0, 1), ("tenor", "bass"))]

    assert {m.outcome for m in late.moments} == {"complete"}
    behind = {m.index: m.late_ms for m in late.moments if abs(m.late_beats or 0.0) > 0.15}
    assert set(behind) == {3} and behind[3] == pytest.approx(150, abs=40)
    assert late.timing is not None and late.timing.in_time == 12


def test_a_slow_pass_is_judged_without_bias(organ: Organ, calibrated: Path, exercise: Path) -> None:
    passes = [played(chords()[:8], 0.0, 40.0)]
    (said,) = log_of(organ, exercise, calibrated, 40.0, passes, "--to", "2")
    errors = [m.late_ms for m in said.moments if m.late_ms is not None]
    assert len(errors) == 8 and {m.outcome for m in said.moments} == {"complete"}
    assert abs(constant(errors)) < 2.0, errors


def test_a_cable_pulled_out_pauses_the_pass_and_put_in_again_resumes_it(
    jack: None, tmp_path: Path, exercise: Path
) -> None:
    take, verdict, sent = _pulled_out_and_put_in(tmp_path, exercise)
    assert len(take.pauses) == 1
    went_on = take.pauses[0][1]
    assert sum(event.time > went_on - 0.02 for event in take.events) == sent
    assert {moment.outcome for moment in verdict.moments} == {"complete"}


def _pulled_out_and_put_in(home: Path, exercise: Path) -> tuple[Take, PassVerdict, int]:
    """The take, its verdict, and how many messages were sent after the cable was in again."""
    bpm = 160.0
    beat = 60.0 / bpm
    organ = Organ("positive")
    program = practice(exercise, home, "--tempo", "160", port="positive")
    try:
        origin = program.next("began")["origin"]
        organ.send(played(chords(), origin, bpm))
        time.sleep(max(0.0, origin + 6.5 * beat - time.monotonic()))
        organ.kill()
        assert "positive" in program.next("paused")["paused"]
        organ = Organ("positive")
        resumed = program.next("resumed")
        assert "bar" in resumed["resumed"]
        before = BEATS[resumed["moment"]] * beat
        rest = [
            (at, message)
            for at, message in played(chords(), resumed["at"] - before, bpm)
            if at > resumed["at"] - 0.01
        ]
        organ.send(rest)
        organ.wait()
        (kept,) = program.result()["takes"]
    finally:
        program.close()
        organ.close()
    with Journal.open(home / "log.sqlite") as journal:
        verdict = journal.verdict(kept["id"])
        assert verdict is not None
        return journal.take(kept["id"]), verdict, len(rest)
