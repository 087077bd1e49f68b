"""A pass as a value: events in, state and effects out."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tests.judging.lessons import lesson
from tests.practice.cadence import CADENCE, TEMPO, right
from tests.practice.playing import BEGUN, Pass, in_order, keys, play, verdict
from trainer.errors import InputError
from trainer.judging.passes import judge
from trainer.judging.take import Conditions
from trainer.judging.timing import count_in
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Pedal
from trainer.practice.accompany import LEAD
from trainer.practice.effects import (
    Accompany,
    Begin,
    MomentJudged,
    PassBegan,
    PassEnded,
    Played,
)
from trainer.practice.lens import LensMark, lens
from trainer.practice.session import feed, start
from trainer.theory.rules import RULES_VERSION

# ---- in tempo ---------------------------------------------------------------------------------


def test_a_right_pass_is_complete_in_time_and_clean() -> None:
    made = play(CADENCE, TEMPO, right)
    said = verdict(made)
    assert [m.outcome for m in said.moments] == ["complete"] * 4
    assert [m.late_ms for m in said.moments] == [0.0] * 4
    assert said.timing is not None and said.timing.in_time == 4
    assert said.movement.clean == said.movement.successions == 3


def test_a_pass_asks_for_the_same_things_in_the_same_order_every_time() -> None:
    made = play(CADENCE, TEMPO, right)
    kinds = [type(effect) for effect in made.effects if not isinstance(effect, Played)]
    assert kinds == [PassBegan, Accompany, *[MomentJudged] * 4, PassEnded]
    assert play(CADENCE, TEMPO, right).effects[1:] == made.effects[1:]


def test_the_take_holds_every_event_and_is_judged_again_alike() -> None:
    made = play(CADENCE, TEMPO, right)
    take = made.session.take
    assert take.events == tuple(right(take.origin)) and judge(take) == verdict(made)
    assert take.rules == RULES_VERSION  # by which its marks are known later


def test_nothing_played_is_nothing_heard() -> None:
    said = verdict(play(CADENCE, TEMPO, lambda _: []))
    assert {m.outcome for m in said.moments} == {"not-played"}
    assert said.harmony.complete == 0 and said.timing is not None and said.timing.judged == 0


def test_frames_may_come_fast_or_slowly() -> None:
    made = [verdict(play(CADENCE, TEMPO, right, every)) for every in (0.003, 0.016, 0.25, 1.5)]
    assert made[0] == made[1] == made[2] == made[3]


def test_a_count_in_of_a_bar_comes_first() -> None:
    made = Pass(CADENCE, TEMPO)
    origin = made.begin()
    assert origin == pytest.approx(BEGUN + LEAD + 4.0)
    (accompany,) = made.of(Accompany)
    assert isinstance(accompany, Accompany)
    assert accompany.at == pytest.approx(BEGUN + LEAD) and accompany.notes == ()
    assert [beat.start for beat in accompany.beats] == [float(n) for n in range(8)]
    assert [beat.accent for beat in accompany.beats] == [True, False, False, False] * 2
    assert made.session.beat(BEGUN + LEAD + 1.5) == pytest.approx(2.5)
    assert made.session.position(BEGUN + LEAD) == pytest.approx(-4.0)
    assert made.session.position(origin + 1.25) == pytest.approx(1.25)


@pytest.mark.parametrize("tempo", [20.0, 66.0, 143.0, 300.0])
def test_supplied_voices_begin_exactly_where_the_score_has_them(tempo: float) -> None:
    made = Pass(CADENCE, Conditions(tempo=tempo, supply=("bass", "melody")))
    origin = made.begin()
    (accompany,) = made.of(Accompany)
    assert isinstance(accompany, Accompany)
    beat = 60.0 / tempo
    for part in (CADENCE.bass, CADENCE.melody):
        for note in part:
            assert note.pitch is not None
            onset = origin + float(note.onset) * beat - accompany.at
            assert any(
                n.key == note.pitch.midi and n.start == pytest.approx(onset, abs=1e-9)
                for n in accompany.notes
            )
    assert len(accompany.notes) == 8
    for note, after in zip(accompany.notes[::2], accompany.notes[2::2], strict=False):
        assert note.start + note.duration <= after.start


def test_tied_notes_are_one_note_of_the_accompaniment() -> None:
    tied = replace(CADENCE.bass[1], onset=Fraction(1), pitch=CADENCE.bass[0].pitch, tied=True)
    piece = replace(CADENCE, bass=(CADENCE.bass[0], tied, *CADENCE.bass[2:]))
    made = Pass(piece, Conditions(tempo=60.0, supply=("bass",)))
    made.begin()
    (accompany,) = made.of(Accompany)
    assert isinstance(accompany, Accompany)
    assert [round(n.duration, 2) for n in accompany.notes] == [1.96, 0.96, 0.96]


def test_each_moment_is_judged_soon_after_the_next_one_is_struck() -> None:
    made = Pass(CADENCE, TEMPO)
    origin = made.begin()
    made.until(origin + 1.3, right(origin))
    assert [e.verdict.index for e in made.of(MomentJudged) if isinstance(e, MomentJudged)] == [0]
    assert made.session.current == 1 and made.session.stage == "playing"


def test_a_fault_is_told_with_its_moment() -> None:
    def played(origin: float) -> list[KeyEvent]:
        return in_order(keys(origin, "c3 g3 c4 e4", 0.9), keys(origin + 1, "d3 a3 d4 f4", 0.9))

    made = play(lesson("C", "c3 d3", ""), TEMPO, played)
    told = {f.rule for e in made.of(MomentJudged) if isinstance(e, MomentJudged) for f in e.faults}
    assert {"consecutive-octaves", "consecutive-fifths"} <= told
    assert {"consecutive-octaves", "consecutive-fifths"} <= {f.rule for f in verdict(made).faults}


def test_a_latency_that_is_known_is_taken_off() -> None:
    late = [replace(event, time=event.time) for event in right(0.0)]
    made = play(
        CADENCE,
        Conditions(tempo=60.0, latency=0.05),
        lambda origin: [replace(event, time=origin + event.time + 0.05) for event in late],
    )
    assert [m.late_ms for m in verdict(made).moments] == [0.0] * 4


def test_hands_on_a_small_keyboard_are_moved_by_octaves() -> None:
    def smaller(origin: float) -> list[KeyEvent]:
        moved: list[KeyEvent] = []
        for event in right(origin):
            if isinstance(event, KeyDown | KeyUp) and event.key < 60:
                event = replace(event, key=event.key - 12)
            moved.append(event)
        return moved

    made = play(CADENCE, Conditions(tempo=60.0, shift_left=1), smaller)
    assert {m.outcome for m in verdict(made).moments} == {"complete"}


def test_inner_voices_alone_are_enough_where_the_program_plays_the_others() -> None:
    inner = ("g3 c4", "a3 c4", "g3 b3", "g3 c4")

    def played(origin: float) -> list[KeyEvent]:
        return in_order(*(keys(origin + n, text, 0.9) for n, text in enumerate(inner)))

    made = play(CADENCE, Conditions(tempo=60.0, supply=("bass", "melody")), played)
    assert {m.outcome for m in verdict(made).moments} == {"complete"}


def test_part_of_a_piece_may_be_played() -> None:
    made = play(
        CADENCE,
        Conditions(tempo=60.0, first=1, last=2),
        lambda origin: [replace(e, time=e.time - 1.0) for e in right(origin) if e.time > 0.95],
    )
    assert [m.index for m in verdict(made).moments] == [1, 2]


def test_a_wrong_note_put_right_is_not_held_against_the_player() -> None:
    def played(origin: float) -> list[KeyEvent]:
        slip = [KeyDown(origin + 1, 58), KeyUp(origin + 1.2, 58), KeyDown(origin + 1.22, 57)]
        whole = [e for e in right(origin) if not (isinstance(e, KeyDown) and e.key == 57)]
        return in_order(whole, slip)

    said = verdict(play(CADENCE, TEMPO, played))
    assert said.moments[1].outcome == "complete" and said.moments[1].late_ms == 0.0


def test_held_common_tones_are_as_good_as_struck_ones() -> None:
    def played(origin: float) -> list[KeyEvent]:
        held = right(origin)
        drop = [KeyUp(origin + 0.9, 60), KeyDown(origin + 1.0, 60)]  # c4 stays from 1 to 2
        return [event for event in held if replace_velocity(event) not in drop]

    def replace_velocity(event: KeyEvent) -> KeyEvent:
        return replace(event, velocity=64) if isinstance(event, KeyDown) else event

    assert [m.outcome for m in verdict(play(CADENCE, TEMPO, played)).moments] == ["complete"] * 4


def test_a_tone_kept_by_the_pedal_completes_the_harmony_and_is_no_voice() -> None:
    def played(origin: float) -> list[KeyEvent]:
        short = in_order(keys(origin, "c3 c4 e4", 0.2), keys(origin + 0.02, "g3", 0.1))
        rest = [e for e in right(origin) if e.time > origin + 0.95]
        return in_order(short, [Pedal(origin + 0.05, True), Pedal(origin + 1.1, False)], rest)

    said = verdict(play(CADENCE, TEMPO, played))
    assert [m.outcome for m in said.moments] == ["complete"] * 4


def test_the_pedal_held_through_a_change_of_harmony_blurs_it() -> None:
    made = play(
        CADENCE,
        TEMPO,
        lambda origin: in_order(
            [Pedal(origin + 0.1, True), Pedal(origin + 3.9, False)], right(origin)
        ),
    )
    assert verdict(made).moments[2].outcome in ("foreign", "wrong-bass")


def test_an_extra_chord_is_told_and_does_no_harm() -> None:
    made = play(
        CADENCE, TEMPO, lambda origin: in_order(right(origin), keys(origin + 1.5, "c#4 d#4", 0.1))
    )
    said = verdict(made)
    assert {m.outcome for m in said.moments} == {"complete"}
    assert [(one.after, one.keys) for one in said.extra] == [(1, (61, 63))]


# ---- what views see, and what cannot be --------------------------------------------------------


def test_the_lens_shows_what_sounds_what_is_missing_and_what_does_not_belong() -> None:
    made = Pass(CADENCE, TEMPO)
    for text, expected in (
        ("c3 g3 c4 e4", ["3", "8", "5"]),
        ("c3 g3 c4", ["8", "5", "(3)"]),
        ("c3 f3 c4 e4", ["3", "8", "/4/"]),
    ):
        fresh = Pass(CADENCE, TEMPO)
        for event in keys(fresh.now, text):
            if isinstance(event, KeyDown):
                fresh.feed(event)
        shapes = {"sounding": "{}", "missing": "({})", "foreign": "/{}/", "addition": "+{}"}
        assert [shapes[m.state].format(m.figure) for m in lens(fresh.session).marks] == expected
    assert lens(made.session).marks == () and LensMark("3", "sounding").state == "sounding"


def test_a_value_is_not_changed_by_feeding_it() -> None:
    session = start(CADENCE, TEMPO, 0.0)
    after, _ = feed(session, Begin(), 0.0)
    assert session.stage == "ready" and after.stage == "playing"


def test_impossible_conditions_are_refused_before_anything_begins() -> None:
    with pytest.raises(InputError, match="cannot be played"):
        start(CADENCE, Conditions(tempo=4000.0), 0.0)
    with pytest.raises(InputError, match="moments"):
        start(CADENCE, Conditions(tempo=60.0, first=2, last=9), 0.0)
    with pytest.raises(InputError, match="part of a tempo"):
        start(CADENCE, Conditions(tempo=60.0, slower=((0, 1, 0.0),)), 0.0)


def test_the_count_in_begins_before_the_first_moment() -> None:
    assert all(beat.time < 0 for beat in count_in(CADENCE.moments[0], 1.0))


@pytest.mark.parametrize("lateness", [-0.2, -0.05, 0.03, 0.2, 0.35])
def test_a_pass_played_earlier_or_later_as_a_whole_keeps_its_harmony(lateness: float) -> None:
    def performed(origin: float) -> list[KeyEvent]:
        wrong = keys(origin + 1.0, "f3 a3 c4 e4")
        good = right(origin)
        return in_order([e for e in good if not 0.9 < e.time - origin < 1.6], wrong)

    def moved(origin: float) -> list[KeyEvent]:
        return performed(origin + lateness)

    on_time, late = verdict(play(CADENCE, TEMPO, performed)), verdict(play(CADENCE, TEMPO, moved))
    assert {m.outcome for m in on_time.moments} > {"complete"}
    for before, after in zip(on_time.moments, late.moments, strict=True):
        assert (after.outcome, after.voicing) == (before.outcome, before.voicing)
        assert before.late_ms is not None and after.late_ms is not None
        assert after.late_ms - before.late_ms == pytest.approx(1000 * lateness, abs=0.01)
    assert late.faults == on_time.faults
