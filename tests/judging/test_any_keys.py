"""Whatever is played over whatever is written, there is a verdict, and it is consistent."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.judging.lessons import lesson
from trainer.errors import FigureError
from trainer.judging.judge import Judge, Progress
from trainer.judging.take import Conditions
from trainer.theory.figures import Figuring
from trainer.theory.key import Key
from trainer.theory.pitch import Pitch
from trainer.theory.sonority import Sonority, sonority
from trainer.theory.table import TABLE

STACKS = sorted({words.strip() for row in TABLE for words in row.written.split("|")})
figurings = st.sampled_from([*STACKS, "t.s.", "unis.", "_", "b5", "#", "#6", "4+ 2", "8 4 2"])
basses = st.sampled_from(["c3", "d3", "e3", "f#3", "g2", "a2", "bb2", "b2", "-"])
melodies = st.sampled_from(["c5", "d5", "e5", "f#5", "g4", "bb4", "b4", "-"])
chords = st.lists(st.integers(21, 108), max_size=7).map(tuple)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(basses, figurings, melodies, chords), min_size=1, max_size=5))
def test_any_keys_over_any_figures_get_a_verdict(
    moments: list[tuple[str, str, str, tuple[int, ...]]],
) -> None:
    exercise = lesson(
        "C",
        " ".join(bass for bass, _, _, _ in moments),
        ["5 3" if i == 0 and f == "_" else f for i, (_, f, _, _) in enumerate(moments)],
        " ".join(melody for _, _, melody, _ in moments),
    )
    try:
        judge = Judge(exercise, Conditions())
    except FigureError as error:
        assert "bar" in str(error)
        return
    struck = {i: keys for i, (_, _, _, keys) in enumerate(moments)}
    verdict = judge.judge_chords(struck)
    progress = Progress()
    for found in verdict.moments:
        live = judge.harmony(found.index, struck[found.index])
        if found.outcome != "not-played":
            assert live.outcome == found.outcome
        progress, _, _ = judge.chord(progress, found.index, struck[found.index])
    assert verdict.harmony.complete <= verdict.harmony.judged
    assert verdict.movement.clean <= verdict.movement.successions
    for fault in verdict.faults:
        assert fault.text
        assert all(0 <= index < len(exercise.moments) for index in fault.moments)


@given(
    st.sampled_from(STACKS),
    st.sampled_from(["C", "a", "F", "d", "A", "f#", "Eb", "c"]),
    st.integers(1, 7),
)
def test_every_completion_is_complete_and_doubles_nothing_it_must_not(
    figures: str, key: str, degree: int
) -> None:
    parsed = Key.parse(key)
    name = parsed.note(degree)
    found = sonority(Pitch(name.step, name.alter, 3), Figuring.parse(figures), parsed)
    assert found.completions
    for numbers in found.completions:
        assert any(
            reading.bold - {1} <= set(numbers) <= reading.numbers for reading in found.readings
        )
        for member in found.members:
            if not member.doublable:
                assert numbers.count(member.number) + (member.number == 1) <= 1


@given(st.sampled_from(STACKS), st.integers(1, 7), st.integers(24, 96))
def test_a_key_is_spelled_so_that_it_sounds(figures: str, degree: int, midi: int) -> None:
    name = Key.parse("Eb").note(degree)
    found: Sonority = sonority(
        Pitch(name.step, name.alter, 3), Figuring.parse(figures), Key.parse("Eb")
    )
    pitch = found.spell(midi)
    assert pitch.midi == midi
    assert found.label(pitch)
