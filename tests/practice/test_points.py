"""What one steps through after a pass, each with its sentence."""

from __future__ import annotations

import pytest

from tests.journal.samples import STARTED
from tests.judging.lessons import lesson
from tests.judging.touches import Touch, conditions, played, with_best
from tests.practice.playing import in_order, keys, play, verdict
from trainer.judging.judge import Judge
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Take
from trainer.listening.events import KeyEvent
from trainer.practice.points import Point, anew_in_words, part_of_a_beat, points
from trainer.practice.session import Session
from trainer.score.kern import write_exercise

WALK = lesson("C", "c3 f3 g3 c3", "", "e4 f4 d4 e4", fermatas=(3,))
CHORDS = ("c3 g3 c4 e4", "f3 a3 c4 f4", "g3 g3 b3 d4", "c3 g3 c4 e4")


def passed(*off: float | None) -> tuple[Session, tuple[Point, ...]]:
    """A pass at 60 with each chord so many beats off, None not played at all."""

    def performed(origin: float) -> list[KeyEvent]:
        return in_order(
            *(
                keys(origin + n + late, CHORDS[n], 0.6)
                for n, late in enumerate(off)
                if late is not None
            )
        )

    made = play(WALK, Conditions(tempo=60.0), performed)
    return made.session, points(made.session.judge, verdict(made), made.session.anew)


def test_a_late_chord_and_a_skipped_one_are_among_the_points() -> None:
    _, found = passed(0.0, 0.25, None, 0.0)
    said = {point.kind: (point.moments, point.text) for point in found if point.kind != "fault"}
    assert said["late"] == ((1,), "Bar 1, beat 2: a quarter of a beat late.")
    assert said["skipped"] == ((2,), "Bar 1, beat 3: this chord was not played.")


def test_an_early_chord_is_one_and_what_is_within_the_tolerance_is_none() -> None:
    _, found = passed(0.0, -0.2, 0.1, -0.1)
    said = [(point.kind, point.text) for point in found if point.kind != "fault"]
    assert said == [("early", "Bar 1, beat 2: a fifth of a beat early.")]


def test_points_stand_in_the_order_of_the_music_and_faults_come_first_at_one_place() -> None:
    session, _ = passed(0.0, 0.25, None, 0.0)
    assert session.verdict is not None
    found = points(session.judge, session.verdict)
    places = [point.moments[-1] for point in found]
    assert places == sorted(places)
    assert [p.fault for p in found if p.kind == "fault"] == list(session.verdict.faults)


def test_what_was_never_come_to_was_not_skipped() -> None:
    session, _ = passed(0.0, 0.0, None, None)
    assert session.verdict is not None
    kinds = [p.kind for p in points(session.judge, session.verdict, finished=False)]
    assert "skipped" not in kinds
    assert [p.kind for p in points(session.judge, session.verdict)].count("skipped") == 2


@pytest.mark.parametrize(
    ("beats", "words"),
    [
        (0.16, "a sixth of a beat"),
        (0.24, "a quarter of a beat"),
        (0.3, "a third of a beat"),
        (0.48, "half a beat"),
        (0.72, "three quarters of a beat"),
        (1.1, "a beat"),
        (2.25, "two beats"),
        (2.26, "2.3 beats"),
    ],
)
def test_parts_of_a_beat_are_said_as_one_counts_them(beats: float, words: str) -> None:
    assert part_of_a_beat(beats) == words


def test_what_is_heard_anew_is_named_by_bars_and_beats() -> None:
    session, _ = passed(0.0, 0.0, 0.0, 0.0)
    whole = "otherwise than while you played; the marks are those of the whole."
    said = anew_in_words(session.task.exercise, (0, 1, 3))
    assert said == f"Heard as a whole, bar 1, beats 1, 2 and 4 are read {whole}"
    said = anew_in_words(session.task.exercise, (2,))
    assert said == f"Heard as a whole, bar 1, beat 3 is read {whole}"


def test_a_suspension_is_pending_until_the_next_chord_and_nothing_is_at_the_end() -> None:
    """4 over the last bass but one resolves to 3 (common practice, no source)."""
    from tests.practice.playing import Pass

    exercise = lesson("C", "c3 g3 g3 c3", ",4,3", "e4 d4 d4 c4", fermatas=(3,))
    made = Pass(exercise, Conditions(tempo=60.0))
    origin = made.begin()
    chords = ("c3 g3 c4 e4", "g3 g3 c4 d4", "g3 g3 b3 d4", "c3 e3 g3 c4")
    struck = in_order(*(keys(origin + n, chords[n], 0.9) for n in range(4)))
    seen: dict[int, set[str]] = {}
    for tick in range(60):
        made.until(origin + tick / 10, struck)
        if made.session.moments:
            pending = {str(one.pitch) for one in made.session.pending}
            seen.setdefault(made.session.moments[-1].index, set()).update(pending)
    assert seen[0] == set()
    assert seen[1] == {"c4"}  # to b3
    assert seen[2] == {"b3"}  # the leading tone, to c4
    assert seen[3] == set()
    assert made.session.pending == ()


def test_chords_that_are_all_so_late_are_one_point() -> None:
    """A teacher says it once, and where it began and ended."""
    _, found = passed(0.0, 0.5, 0.55, 0.45)
    said = [(point.kind, point.moments, point.text) for point in found if point.kind != "fault"]
    text = "From bar 1, beat 2 to bar 1, beat 4: half a beat late throughout."
    assert said == [("late", (1, 2, 3), text)]


def test_chords_that_are_late_by_different_times_are_told_one_by_one() -> None:
    _, found = passed(0.0, 0.2, 0.5, 0.2)
    assert [point.moments for point in found if point.kind == "late"] == [(1,), (2,), (3,)]


def test_a_whole_chord_late_throughout_is_that_and_nothing_else() -> None:
    """All the right chords, each two beats after its own: no chord is wrong, nothing is missing."""
    exercise, voicings = with_best("das-walt-gott")
    touch = Touch(60.0, left=2.0)
    events = tuple(played(exercise, voicings, touch, 10.0))
    text = write_exercise(exercise)
    said = judge(Take(exercise.id, text, conditions(touch), events, 10.0, STARTED))
    assert said.harmony.complete == said.harmony.judged
    found = points(Judge(exercise, conditions(touch)), said)
    of_time = [point for point in found if point.kind != "fault"]
    assert len(of_time) == 1 and of_time[0].text.endswith("two beats late throughout.")
    assert len(of_time[0].moments) == said.harmony.judged
