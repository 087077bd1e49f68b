"""How far a plan has got, what comes next, and how the time is counted."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from trainer.practice.item import Item
from trainer.practice.ladder import begin
from trainer.practice.plan import (
    Next,
    Part,
    Plan,
    Task,
    matches,
    next_task,
    shortened,
    time_spent,
)
from trainer.practice.planning import _filled, _need
from trainer.practice.result import Answer, PassResult

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
SIX = Item("figuring", "6", "G major", "3", 8)
FIVE = replace(SIX, degree="5")
LADDER = begin("old-tune", "G major", "1+3", 100)


def a_pass(
    exercise_id: str, tempo: float | None = None, at: float = 0.0, seconds: float = 10.0
) -> PassResult:
    """A faultless pass that began so many seconds after the plan was made."""
    return PassResult(
        exercise_id=exercise_id,
        key="G major",
        hands="1+3",
        tempo=tempo,
        at=START + timedelta(seconds=at),
        seconds=seconds,
        finished=True,
        whole=True,
        harmony=1.0,
        time=None if tempo is None else 1.0,
        movement=1.0,
        judged=8,
        wrong=0,
        gross=0,
    )


def answer(right: bool, item: Item = SIX, at: float = 0.0) -> PassResult:
    return replace(a_pass(f"ask-{item.degree}", at=at), answers=(Answer(item, right, 1.0),))


def ask(item: Item = SIX, most: int = 2) -> Task:
    return Task(f"ask-{item.degree}", item=item, most=most)


def plan(*parts: Part) -> Plan:
    return Plan(date(2026, 3, 2), sum(part.minutes for part in parts), 1, "1+3", parts)


def part(*tasks: Task, minutes: float = 10.0, kind: str = "due") -> Part:
    return Part(kind, "A part", "why", minutes, tasks)  # type: ignore[arg-type]


def following(*tasks: Task, since: tuple[PassResult, ...] = ()) -> str | None:
    found = next_task(plan(part(*tasks, minutes=1000.0)), since)
    return None if found is None else found.task.exercise_id


# ── whether a pass was one at a task ─────────────────────────────────────────────────────────


def test_a_pass_is_at_the_task_of_its_piece_key_and_clock() -> None:
    piece = Task("old-tune", tempo=60.0)
    assert matches(piece, a_pass("old-tune", 60.0)) is True
    assert matches(piece, a_pass("old-tune", 45.0)) is True
    assert matches(piece, a_pass("another", 60.0)) is False
    assert matches(piece, a_pass("old-tune", None)) is False
    assert matches(ask(), a_pass("ask-3", None)) is True
    assert matches(ask(), a_pass("ask-3", 60.0)) is False


def test_a_pass_in_another_key_is_at_another_task() -> None:
    assert matches(Task("old-tune", key="G major"), a_pass("old-tune", 60.0)) is True
    assert matches(Task("old-tune", key="D major"), a_pass("old-tune", 60.0)) is False
    assert matches(Task("old-tune", ladder=LADDER), a_pass("old-tune", 60.0)) is True
    other = replace(LADDER, key="D major")
    assert matches(Task("old-tune", ladder=other), a_pass("old-tune", 60.0)) is False
    assert matches(Task("old-tune", "G major", ladder=other), a_pass("old-tune", 60.0)) is True


def test_a_pass_given_up_before_a_key_was_struck_was_none() -> None:
    piece, broken = Task("old-tune"), replace(a_pass("old-tune", 60.0), finished=False)
    assert matches(piece, replace(broken, seconds=0.0)) is False
    assert matches(piece, broken) is True
    assert matches(piece, replace(a_pass("old-tune", 60.0), seconds=0.0)) is True


# ── what comes next ──────────────────────────────────────────────────────────────────────────


def test_a_piece_is_played_twice_unless_more_is_asked() -> None:
    piece = Task("old-tune", tempo=60.0)
    once = a_pass("old-tune", 60.0)
    assert following(piece) == "old-tune"
    assert following(piece, since=(once,)) == "old-tune"
    assert following(piece, since=(once, once)) is None
    assert following(replace(piece, most=3), since=(once, once)) == "old-tune"


def test_a_question_is_asked_until_it_is_right_and_not_for_ever() -> None:
    assert following(ask()) == "ask-3"
    assert following(ask(), since=(answer(True),)) is None
    assert following(ask(), since=(answer(False),)) == "ask-3"
    assert following(ask(), since=(answer(False), answer(False))) is None
    assert following(ask(most=9), since=(answer(False), answer(True))) is None
    assert following(ask(most=9), since=(answer(True), answer(False))) == "ask-3"


def test_only_an_answer_to_the_question_itself_counts() -> None:
    beside = replace(a_pass("ask-3"), answers=(Answer(FIVE, True, 1.0),))
    assert following(ask(), since=(beside,)) == "ask-3"
    wrong_beside = replace(
        a_pass("ask-3"), answers=(Answer(FIVE, False, 1.0), Answer(SIX, True, 1.0))
    )
    assert following(ask(), since=(wrong_beside,)) is None
    once_wrong = replace(a_pass("ask-3"), answers=(Answer(SIX, True, 1.0), Answer(SIX, False, 1.0)))
    assert following(ask(), since=(once_wrong,)) == "ask-3"


def test_what_was_answered_wrongly_comes_again_after_the_others() -> None:
    both = (ask(), ask(FIVE))
    assert following(*both) == "ask-3"
    assert following(*both, since=(answer(False),)) == "ask-5"
    assert following(*both, since=(answer(False), answer(True, FIVE))) == "ask-3"


def test_pieces_take_turns_two_passes_each() -> None:
    tunes = Task("one", most=9), Task("two", most=9)
    first, second = a_pass("one", 60.0), a_pass("two", 60.0)
    assert following(*tunes, since=(first,)) == "one"
    assert following(*tunes, since=(first, first)) == "two"
    assert following(*tunes, since=(first, first, second)) == "two"
    assert following(*tunes, since=(first, first, second, second)) == "one"
    assert following(*tunes, since=(first,) * 3) == "two"


def test_a_ladder_is_climbed_by_the_passes_of_the_day() -> None:
    task = Task("old-tune", ladder=LADDER, most=9)
    found = next_task(plan(part(task)), ())
    assert found == Next(part(task), task, 60.0, LADDER)
    assert found.rung == LADDER.rung
    passes = (a_pass("old-tune", 60.0), a_pass("old-tune", 60.0, at=10))
    found = next_task(plan(part(task)), passes)
    assert found is not None and found.tempo == 72
    assert found.ladder is not None and found.ladder.highest == 60


def test_a_piece_secure_at_its_tempo_is_still_played_twice() -> None:
    top = replace(LADDER, tempo=100.0, highest=100.0)
    task = Task("old-tune", ladder=top, most=9)
    again = a_pass("old-tune", 100.0)
    assert following(task) == "old-tune"
    assert following(task, since=(again,)) == "old-tune"
    assert following(task, since=(again, again)) is None
    lower = replace(task, ladder=LADDER)
    assert following(lower, since=(a_pass("old-tune", 60.0),) * 3) == "old-tune"


def test_without_a_ladder_the_tempo_is_the_tasks_own() -> None:
    found = next_task(plan(part(Task("old-tune", tempo=54.0))), ())
    assert found is not None
    assert (found.tempo, found.ladder, found.rung) == (54.0, None, None)


def test_a_part_whose_minutes_are_over_gives_way_to_the_next() -> None:
    two = plan(
        part(Task("one", most=99), minutes=1.0), part(Task("two"), minutes=2.0, kind="sight")
    )

    def after(seconds: float) -> str | None:
        found = next_task(two, (a_pass("three", 60.0, seconds=seconds),))
        return None if found is None else found.task.exercise_id

    assert after(0.0) == "one"
    assert after(59.9) == "one"
    assert after(60.0) == "two"
    assert after(179.9) == "two"
    assert after(180.0) is None


def test_minutes_a_part_did_not_need_go_to_those_after_it() -> None:
    two = plan(part(ask(), minutes=2.0), part(Task("two", most=99), minutes=1.0, kind="sight"))
    found = next_task(two, (answer(True), a_pass("two", 60.0, at=10, seconds=160.0)))
    assert found is not None and found.task.exercise_id == "two"


def test_a_part_passed_over_is_left_out_though_there_is_time() -> None:
    two = plan(part(Task("one")), part(Task("two"), kind="sight"))
    found = next_task(two, (), ["due"])
    assert found is not None and found.task.exercise_id == "two"
    assert next_task(two, (), ["due", "sight"]) is None


# ── time ─────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("gap", "seconds"),
    [
        (0.0, 20.0),
        (0.5, 20.5),
        (30.0, 50.0),
        (60.0, 80.0),
        (60.5, 20.0),
        (61.0, 20.0),
        (-0.5, 20.0),
        (-5.0, 20.0),
    ],
)
def test_up_to_a_minute_between_two_passes_is_practice_too(gap: float, seconds: float) -> None:
    """Longer ones are pauses; passes of two stations may overlap."""
    assert time_spent((a_pass("one", 60.0), a_pass("two", 60.0, at=10.0 + gap))) == seconds


def test_each_gap_is_counted_from_the_end_of_the_pass_before() -> None:
    assert time_spent(()) == 0.0
    three = (a_pass("one"), a_pass("one", at=15.0, seconds=20.0), a_pass("one", at=40.0))
    assert time_spent(three) == 50.0


def test_a_shortened_plan_keeps_the_proportions() -> None:
    whole = plan(part(ask(), minutes=15.0), part(Task("two"), minutes=5.0, kind="sight"))
    half = shortened(whole, 10.0)
    assert (half.minutes, [one.minutes for one in half.parts]) == (10.0, [7.5, 2.5])
    longer = shortened(whole, 40.0)
    assert (longer.minutes, [one.minutes for one in longer.parts]) == (20.0, [15.0, 5.0])


# ── giving out the minutes ───────────────────────────────────────────────────────────────────


def test_questions_need_a_quarter_of_a_minute_passes_a_minute_and_ladders_all_there_is() -> None:
    assert _need(part(ask(), ask(FIVE))) == pytest.approx(0.5)
    assert _need(part(Task("one", most=2), Task("two", most=3))) == 5.0
    assert _need(part(Task("one"), Task("two", ladder=LADDER))) == float("inf")
    assert _need(part(ask(), Task("one", most=2))) == pytest.approx(2.25)


def minutes(*parts: Part, of: float) -> list[float]:
    return [one.minutes for one in _filled(parts, of)]


def test_what_a_short_part_leaves_goes_to_those_that_can_use_it_in_proportion() -> None:
    short = part(Task("one", most=2), minutes=6.0)
    climbing = part(Task("two", ladder=LADDER), minutes=4.0)
    higher = part(Task("three", ladder=LADDER), minutes=2.0)
    assert minutes(short, climbing, higher, of=12.0) == pytest.approx([2.0, 20 / 3, 10 / 3])


def test_where_none_can_use_more_all_are_given_in_proportion_to_what_they_need() -> None:
    one = part(Task("one", most=2), minutes=6.0)
    two = part(Task("two", most=4), minutes=6.0)
    assert minutes(one, two, of=12.0) == pytest.approx([4.0, 8.0])


def test_a_part_that_needs_just_its_minutes_is_given_no_more() -> None:
    just = part(Task("one", most=2), minutes=2.0)
    climbing = part(Task("two", ladder=LADDER), minutes=4.0)
    assert minutes(just, climbing, of=10.0) == pytest.approx([2.0, 8.0])
