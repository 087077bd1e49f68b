"""Two manuals and pedals at real ports, told what they play: from the bytes to the log, and judged
once more from the log.

That pedals play the bass, and manuals a hand each that may cross and meet the other, is common
practice at the organ, no source.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.end_to_end.conftest import Program
from tests.end_to_end.jack import Organ
from trainer.journal.merge import export, merge
from trainer.journal.store import Journal
from trainer.judging.passes import judge
from trainer.judging.take import Take
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyDown, KeyUp
from trainer.listening.manuals import Manual
from trainer.theory.pitch import Pitch

EXERCISE = """\
!!!OTL: Three bars for the organ
!!!id: three-bars
!!!level: 10
**kern	**fb
*Ibass	*
*clefF4	*
*k[]	*
*C:	*
*M4/4	*
*MM60	*
=1	=1
2c	.
2G	.
=2	=2
2A	.
2F	.
=3	=3
1C;	.
==	==
*-	*-
"""
HALVES = (0, 2, 4, 6, 8)  # beats at which a chord is struck
# In the first chord the pedals lie above the left hand, in the third both hands and in the last the
# pedals and the left hand have the same key.
PEDALS = ("c4", "g3", "a3", "f3", "c3")
LEFT = ("g3", "b3", "c4", "a3", "c3")
RIGHT = ("e4 c5", "d4 g4", "c4 e4", "c4 f4", "g3 e4")
BPM = 120.0
SAID = tuple(f"{b} {t} {u}" for b, t, u in zip(PEDALS, LEFT, RIGHT, strict=True))


def midi(notes: str) -> list[int]:
    return [Pitch.parse(note).midi for note in notes.split()]


Timed = tuple[float, list[int], int]  # seconds from the first chord, a message, number of the port


def played(port: int, channel: int, chords: tuple[str, ...]) -> list[Timed]:
    """A chord each half bar, let go shortly before the next."""
    found: list[Timed] = []
    for beat, chord in zip(HALVES, chords, strict=True):
        at, end = beat * 60 / BPM, (beat + 2) * 60 / BPM - 0.15
        found += [(at, [0x90 + channel, key, 70], port) for key in midi(chord)]
        found += [(end, [0x80 + channel, key, 0], port) for key in midi(chord)]
    return found


@pytest.fixture()
def exercise(tmp_path: Path) -> Path:
    path = tmp_path / "three-bars.krn"
    path.write_text(EXERCISE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def console(jack: None) -> Iterator[Organ]:
    """An organ with three ports."""
    instrument = Organ("chapel", ("pedals", "great", "swell"))
    yield instrument
    instrument.close()


def practised(
    organ: Organ, exercise: Path, home: Path, messages: list[Timed], *words: str
) -> tuple[Take, PassVerdict]:
    """The take as the log has it, and what it says of it."""
    program = Program(
        *("practice", str(exercise), "--input", "chapel", "--view", "none", "--silent", "--json"),
        *("--tempo", f"{BPM:g}", *words),
        home=home,
    )
    try:
        origin = program.next("began")["origin"]
        organ.send([(origin + at, message, port) for at, message, port in messages])  # type: ignore[misc]
        organ.wait()
        (kept,) = program.result()["takes"]
    finally:
        program.close()
    with Journal.open(home / "log.sqlite") as journal:
        verdict = journal.verdict(kept["id"])
        assert verdict is not None
        return journal.take(kept["id"]), verdict


def of_three_ports() -> list[Timed]:
    return [*played(0, 0, PEDALS), *played(1, 0, LEFT), *played(2, 0, RIGHT)]


def is_right(take: Take, verdict: PassVerdict) -> None:
    """Every chord complete, every voice where it was played, every key with its manual."""
    assert [moment.outcome for moment in verdict.moments] == ["complete"] * 5
    assert [str(moment.voicing) for moment in verdict.moments] == list(SAID)
    assert [moment.keys for moment in verdict.moments] == [tuple(sorted(midi(s))) for s in SAID]
    for kind in (KeyDown, KeyUp):
        told = {m: sorted(e.key for e in take.events if isinstance(e, kind) and e.manual is m)
                for m in Manual}  # fmt: skip
        assert told == {
            Manual.EVERYTHING: [],
            Manual.BASS: sorted(midi(" ".join(PEDALS))),
            Manual.LEFT_HAND: sorted(midi(" ".join(LEFT))),
            Manual.RIGHT_HAND: sorted(midi(" ".join(RIGHT))),
        }
    assert judge(take) == verdict


def test_two_manuals_and_pedals_are_judged_logged_and_judged_again(
    console: Organ, exercise: Path, tmp_path: Path
) -> None:
    manuals = "chapel:pedals = bass, great = left hand, swell = right hand"
    take, verdict = practised(console, exercise, tmp_path, of_three_ports(), "--manuals", manuals)
    is_right(take, verdict)

    remark = Program("log", "remark", "--all", "--json", home=tmp_path)
    assert remark.result()
    with Journal.open(tmp_path / "log.sqlite") as journal:
        (summary,) = journal.takes()
        assert journal.verdict(summary.id) == verdict
        export(journal, summary.player, tmp_path / "me.bundle")
    with Journal.open(tmp_path / "other.sqlite") as journal:
        assert merge(journal, tmp_path / "me.bundle").new == 1
        assert journal.take(summary.id).events == take.events
        assert judge(journal.take(summary.id)) == verdict


def test_the_settings_say_the_same_as_the_option(
    console: Organ, exercise: Path, tmp_path: Path
) -> None:
    manuals = "pedals = bass, great = left hand, swell = right hand"
    Program("settings", "set", "manuals", manuals, "--json", home=tmp_path).result()
    assert f'manuals = "{manuals}"' in (tmp_path / "settings.toml").read_text(encoding="utf-8")
    is_right(*practised(console, exercise, tmp_path, of_three_ports()))


def test_manuals_that_are_channels_of_one_port(
    console: Organ, exercise: Path, tmp_path: Path
) -> None:
    messages = [*played(1, 4, PEDALS), *played(1, 0, LEFT), *played(1, 1, RIGHT)]
    manuals = "great/5 = bass, great/1 = left hand, great/2 = right hand"
    is_right(*practised(console, exercise, tmp_path, messages, "--manuals", manuals))


def test_untold_the_same_playing_is_heard_as_one_keyboard(
    console: Organ, exercise: Path, tmp_path: Path
) -> None:
    """The first chord has its lowest key in the left hand: a wrong bass. Nothing in the log is
    other than it was before manuals could be told: every event is packed in the old layout."""
    take, verdict = practised(console, exercise, tmp_path, of_three_ports())
    assert [m.outcome for m in verdict.moments] == ["wrong-bass", *["complete"] * 4]
    assert verdict.moments[2].keys == tuple(midi("a3 c4 e4"))
    assert {e.manual for e in take.events if isinstance(e, KeyDown | KeyUp)} == {Manual.EVERYTHING}
    assert judge(take) == verdict


@pytest.mark.parametrize(
    ("manuals", "line"),
    [
        ("positive = bass", "there is no keyboard 'positive' to play the bass"),
        ("great = bass, chapel-01:great = left hand", "told to play two things: bass, left hand"),
        ("great = tenor", "'great' cannot play 'tenor', only everything, bass, left hand"),
        ("great", "'great' does not say what plays what"),
    ],
)
def test_what_cannot_be_is_one_line_and_nothing_is_played(
    console: Organ, exercise: Path, tmp_path: Path, manuals: str, line: str
) -> None:
    words = ("practice", str(exercise), "--input", "chapel", "--view", "none", "--silent")
    status, _, err = Program(*words, "--manuals", manuals, home=tmp_path).ended()
    assert status == 2 and line in err and err.count("\n") == 1
    log = tmp_path / "log.sqlite"
    if log.exists():
        with closing(sqlite3.connect(log)) as raw:
            assert raw.execute("SELECT count(*) FROM take").fetchone() == (0,)
