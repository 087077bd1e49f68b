"""Who gets stuck and begins again from an earlier bar is followed there; who only stops is not sent
back. Common practice, no source: so a teacher at the second keyboard does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random

import pytest

from tests.faults.human import pieces, said_live
from tests.practice.playing import Pass, play
from trainer.conducting.todays_drill import after_words
from trainer.errors import InputError
from trainer.judging.passes import judge
from trainer.judging.take import Conditions
from trainer.judging.task import Task, task
from trainer.judging.verdict import PassVerdict
from trainer.listening.events import KeyEvent
from trainer.practice.begin_again import begun_again
from trainer.practice.demo import PERFECT, Manner, perform, realization
from trainer.practice.effects import BegunAgain, Played, TakenBack
from trainer.practice.ladder import begin, verdict_at
from trainer.practice.plan import Next, Part
from trainer.practice.plan import Task as Asked
from trainer.practice.points import points
from trainer.practice.result import result_of
from trainer.practice.slips import Slip
from trainer.review.sheet import take_sheet
from trainer.score.exercise import Exercise
from trainer.score.library import Library
from trainer.theory.voicing import Voicing

TEMPO = Conditions(tempo=72.0)
Piece = tuple[Exercise, tuple[Voicing, ...]]


def piece(name: str) -> Piece:
    exercise = Library().find(name)
    return exercise, realization(exercise, Conditions())


def stuck(
    one: Piece, moment: int, first: int, breath: float, conditions: Conditions = TEMPO
) -> Pass:
    """Played right but for getting stuck at `moment` and beginning again at `first`."""
    exercise, voicings = one
    asked = task(exercise, conditions)

    def playing(origin: float, begins: int, seed: int) -> tuple[KeyEvent, ...]:
        return perform(exercise, conditions, voicings, origin, manner=PERFECT, first=begins)

    def events(origin: float) -> Sequence[KeyEvent]:
        return begun_again(asked, playing, playing, origin, 0, asked.first, moment, first, breath)

    return play(exercise, conditions, events)


def bar_before(asked: Task, moment: int) -> int:
    moments = asked.exercise.moments
    bar = moments[moment].bar - 1
    return asked.wanted_from(next(m.index for m in moments if m.bar == bar))


def said(made: Pass) -> PassVerdict:
    assert made.session.verdict is not None
    return made.session.verdict


def right(made: Pass) -> bool:
    verdict = said(made)
    late = [abs(m.late_ms or 0.0) for m in verdict.moments]
    whole = verdict.harmony.complete == verdict.harmony.judged and verdict.extra == ()
    return whole and max(late) < 10


@pytest.mark.parametrize("breath", [1.9, 2.4, 3.7])
@pytest.mark.parametrize("name", ["werde-munter-2", "candle-ends", "lock-and-key"])
def test_from_the_bar_before_it_is_followed_within_three_chords(name: str, breath: float) -> None:
    one = piece(name)
    asked = task(one[0], TEMPO)
    moment = len(one[0].moments) // 2
    first = bar_before(asked, moment)
    made = stuck(one, moment, first, breath)
    assert right(made) and made.session.take.begun_again == (first,)
    (again,) = made.of(BegunAgain)
    since = [
        effect.event.time
        for effect in made.effects[: made.effects.index(again)]
        if isinstance(effect, Played) and effect.event.time > again.at - 0.01  # type: ignore[attr-defined]
    ]
    assert asked.line is not None
    second = asked.wanted_from(first + 1)
    until = asked.line.time(asked.wanted_from(asked.wanted_from(second + 1) + 1))
    assert max(since) - again.at < until - asked.line.time(first)  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", ["werde-munter-2", "candle-ends", "lock-and-key"])
def test_without_a_stop_it_takes_longer_to_believe(name: str) -> None:
    """The chord comes when the next one was to be expected."""
    one = piece(name)
    moment = len(one[0].moments) // 2
    first = bar_before(task(one[0], TEMPO), moment)
    made = stuck(one, moment, first, 1.3)
    assert right(made) and made.session.take.begun_again == (first,)


def test_the_beat_goes_by_more_than_the_first_chord() -> None:
    """A first chord struck a fifth of a beat early made all that followed late."""
    one = piece("werde-munter-2")
    exercise, voicings = one
    asked = task(exercise, TEMPO)
    first = bar_before(asked, 20)
    early = 0.2 * 60 / 72.0

    def playing(origin: float, begins: int, seed: int) -> tuple[KeyEvent, ...]:
        return perform(exercise, TEMPO, voicings, origin, manner=PERFECT, first=begins)

    def hasty(origin: float, begins: int, seed: int) -> list[KeyEvent]:
        assert asked.line is not None
        until = origin + asked.line.time(begins) + 0.1
        return [
            replace(e, time=e.time - early) if e.time < until else e
            for e in playing(origin, begins, seed)
        ]

    made = play(
        exercise,
        TEMPO,
        lambda origin: begun_again(asked, playing, hasty, origin, 0, asked.first, 20, first, 2.0),
    )
    assert made.session.take.begun_again == (first,)
    later = [m.late_beats or 0.0 for m in said(made).moments if m.index > first + 1]
    assert max(map(abs, later)) <= 0.11 and said(made).extra == ()


def test_what_it_says_at_the_end_is_what_its_take_says() -> None:
    one = piece("werde-munter-2")
    first = bar_before(task(one[0], TEMPO), 20)
    made = stuck(one, 20, first, 2.0)
    assert judge(made.session.take) == said(made)
    live = said_live(made.effects)
    assert {n: m.keys for n, m in live.items()} == {m.index: m.keys for m in said(made).moments}


def test_it_is_the_first_thing_said_and_no_fault() -> None:
    one = piece("werde-munter-2")
    first = bar_before(task(one[0], TEMPO), 20)
    session = stuck(one, 20, first, 2.0).session
    assert session.verdict is not None
    found = points(session.judge, session.verdict, (), session.take.begun_again)
    assert found[0].kind == "again" and {point.kind for point in found[1:]} <= {"fault"}
    assert found[0].text.endswith("begun again from here.")


def test_the_margin_of_the_take_says_it() -> None:
    one = piece("werde-munter-2")
    first = bar_before(task(one[0], TEMPO), 20)
    made = stuck(one, 20, first, 2.0)
    sheet = take_sheet("take", made.session.take, one[0], said(made))
    moment = one[0].moments[first]
    place = f"bar {moment.bar} beat {float(moment.beat):g}"
    assert (
        sheet.comments[-1].text
        == f"Begun again from {place} while the beat went on; what was played last is shown."
    )


def test_twice_in_one_pass() -> None:
    one = piece("werde-munter-2")
    exercise, voicings = one
    asked = task(exercise, TEMPO)
    early, late = bar_before(asked, 12), bar_before(asked, 24)

    def once(origin: float, begins: int, seed: int) -> tuple[KeyEvent, ...]:
        return perform(exercise, TEMPO, voicings, origin, manner=PERFECT, first=begins)

    def then(origin: float, begins: int, seed: int) -> tuple[KeyEvent, ...]:
        return begun_again(asked, once, once, origin, 0, begins, 24, late, 1.6)

    made = play(
        exercise,
        TEMPO,
        lambda origin: begun_again(asked, once, then, origin, 0, asked.first, 12, early, 2.4),
    )
    assert right(made) and made.session.take.begun_again == (early, late)


def test_near_the_end_the_pass_waits_for_it() -> None:
    one = piece("werde-munter-2")
    asked = task(one[0], TEMPO)
    made = stuck(one, 42, bar_before(asked, 42), 3.0)
    assert right(made) and len(made.session.take.begun_again) == 1


@pytest.mark.parametrize("pause", [0.5, 1.0, 2.0, 3.0, 4.5])
@pytest.mark.parametrize("number", range(6))
def test_who_only_stops_is_not_sent_back(number: int, pause: float) -> None:
    exercise, voicings = pieces()[3 * number]
    line = task(exercise, TEMPO).line
    assert line is not None
    beat = 60 / 72.0
    at = line.time(len(exercise.moments) // 2) - 0.3 * beat

    def events(origin: float) -> list[KeyEvent]:
        right = perform(exercise, TEMPO, voicings, origin, manner=PERFECT)
        return [
            e if e.time < origin + at else replace(e, time=e.time + pause * beat) for e in right
        ]

    made = play(exercise, TEMPO, events)
    verdict = said(made)
    assert made.of(BegunAgain) == []
    assert verdict.harmony.complete == verdict.harmony.judged and verdict.extra == ()


@pytest.mark.parametrize("beats", [1.0, 2.0])
def test_who_is_late_is_waited_for_while_the_pass_goes_on_and_at_its_end(beats: float) -> None:
    """A chord that comes more than a beat late was called left out until the end."""
    exercise, voicings = piece("nun-lasst-uns-gott")
    late = beats * 60 / 72.0

    def events(origin: float) -> list[KeyEvent]:
        right = perform(exercise, TEMPO, voicings, origin, manner=PERFECT)
        return [replace(event, time=event.time + late) for event in right]

    made = play(exercise, TEMPO, events)
    live, verdict = said_live(made.effects), said(made)
    assert verdict.harmony.complete == verdict.harmony.judged
    assert {m.index for m in live.values() if m.outcome == "complete"} >= {
        m.index for m in verdict.moments[1:-1]
    }
    said_of = [moment.index for moment in made.before_its_end]
    assert said_of == sorted(set(said_of))
    for back in made.of(TakenBack):
        assert "late, not left out" in back.text  # type: ignore[attr-defined]


def test_where_the_program_plays_the_bass_it_leads() -> None:
    exercise, voicings = piece("werde-munter-2")
    led = Conditions(tempo=72.0, supply=("bass", "melody"))
    asked = task(exercise, TEMPO)  # the hands do what they would without it
    first = bar_before(asked, 20)

    def playing(origin: float, begins: int, seed: int) -> tuple[KeyEvent, ...]:
        return perform(exercise, led, voicings, origin, manner=PERFECT, first=begins)

    made = play(
        exercise,
        led,
        lambda origin: begun_again(asked, playing, playing, origin, 0, asked.first, 20, first, 2.0),
    )
    assert made.of(BegunAgain) == [] and made.session.take.pauses == ()


def test_it_is_not_played_through_and_no_ladder_is_climbed_by_it() -> None:
    exercise, _ = one = piece("werde-munter-2")
    session = stuck(one, 20, bar_before(task(exercise, TEMPO), 20), 2.0).session
    assert session.verdict is not None
    result = result_of(session.take, session.verdict, exercise, finished=True, seconds=60.0)
    ladder = replace(begin(exercise.id, result.key, result.hands, 72.0), tempo=72.0)
    assert result.harmony == 1.0 and result.time == 1.0 and not result.whole
    assert verdict_at(ladder, result) == "no matter"
    assert verdict_at(ladder, replace(result, whole=True)) == "good"
    following = Next(Part("piece", "A piece", "", 5.0, ()), Asked(exercise.id), 72.0, ladder)
    (said,) = after_words(following, result)
    assert said.startswith("begun again, so not counted: harmony 100%")


def test_a_moment_that_is_none_is_refused_in_one_line() -> None:
    take = stuck(piece("nun-lasst-uns-gott"), 12, 8, 2.0).session.take
    wrong = replace(take, pauses=((*take.pauses[0][:2], 4000),))
    with pytest.raises(
        InputError, match="nobody begins again at moment 4000 of nun-lasst-uns-gott"
    ):
        judge(wrong)


def test_messy_playing_is_hardly_ever_taken_for_it() -> None:
    """Wrong, late, left out, struck twice, two beats behind: the page does not jump back."""
    chance = Random(11)
    jumped = 0
    for number in range(30):
        exercise, voicings = chance.choice(pieces())
        inner = [m.index for m in exercise.moments[2:-2] if m.chord]
        kinds = ("wrong", "late", "skipped", "extra", "doubled")
        slips = tuple(Slip(chance.choice(kinds), at) for at in chance.sample(inner, 4))
        behind = chance.choice([0.0, 0.3, 1.0, 2.0])
        jumped += _jumps(exercise, voicings, slips, behind, number)
    assert jumped <= 1


def _jumps(
    exercise: Exercise,
    voicings: tuple[Voicing, ...],
    slips: tuple[Slip, ...],
    behind: float,
    n: int,
) -> int:
    manner = Manner(beat=0.03, hands=0.03, bias=behind * 60 / 72.0)

    def events(origin: float) -> tuple[KeyEvent, ...]:
        return perform(exercise, TEMPO, voicings, origin, manner=manner, slips=slips, seed=n)

    return len(play(exercise, TEMPO, events, every=0.05).of(BegunAgain))
