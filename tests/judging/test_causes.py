"""The cause named first is what happened; what follows from it hangs below."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from functools import cache
from random import Random

import pytest

from tests.faults.human import pieces
from tests.journal.samples import STARTED
from tests.judging.lessons import lesson
from tests.judging.lessons import marked as written
from trainer.judging.causes import causes, explained
from trainer.judging.judge import Judge
from trainer.judging.lessons import LESSONS, Mistake
from trainer.judging.passes import judge
from trainer.judging.take import Conditions, Take
from trainer.judging.task import task
from trainer.judging.verdict import WHYS, Cause, PassVerdict, Why
from trainer.judging.why import WrongChord
from trainer.listening.events import KeyDown, KeyEvent, KeyUp
from trainer.practice.demo import PERFECT, perform, realization
from trainer.practice.mishaps import MISHAPS, somewhere
from trainer.score.exercise import Exercise
from trainer.score.kern import write_exercise
from trainer.score.library import Library
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VOICES, Voicing

PASSES = 360
# three steps of the scale, and a piece from each of several keys: passes are many, pieces few
PIECES = (
    *("bellows", "blue-hour", "candle-ends", "cold-stove", "dundee", "all-souls-lane"),
    *("ach-gott-und-herr", "alle-menschen", "aus-tiefer-not", "christ-lag", "erhalt-uns"),
    *("evening-frost", "ferry-bell", "herzlich-tut", "in-dulci-jubilo", "innsbruck-2"),
    *("gott-des-himmels", "jesu-meine-freude-2", "liebster-jesu", "lamp-on-the-stairs-2"),
)


@cache
def piece(id: str) -> tuple[Exercise, tuple[Voicing, ...]]:
    exercise = Library().find(id)
    return exercise, realization(exercise, Conditions())


def keys_of(voicings: tuple[Voicing, ...]) -> dict[int, tuple[int, ...]]:
    return {n: tuple(p.midi for p in one if p is not None) for n, one in enumerate(voicings)}


def test_the_first_cause_named_is_the_true_one() -> None:
    """At a chord of a piece that is otherwise right, one thing happens."""
    tried: Counter[str] = Counter()
    wrong: list[tuple[str, ...]] = []
    for number in range(PASSES):
        exercise, voicings = piece(PIECES[number % len(PIECES)])
        judging, asked = Judge(exercise, Conditions()), task(exercise, Conditions())
        kind = MISHAPS[number % len(MISHAPS)]
        found = somewhere(asked, voicings, kind, Random(number), judging.complete)
        if found is None:
            continue
        index, come_out = found
        keys = tuple(pitch.midi for pitch in come_out if pitch is not None)
        verdict = judging.judge_chords(keys_of(voicings) | {index: keys})
        named = [one for one in causes(judging, verdict) if one.moment == index]
        tried[kind] += 1
        if not named or named[0].kind != kind:
            wrong.append((kind, exercise.id, str(index), str(named[:1])))
    assert sum(tried.values()) >= 300 and min(tried.values()) >= 15, tried
    assert len(wrong) <= 0.05 * sum(tried.values()), wrong


def test_a_figure_that_changes_over_the_same_keys_is_missed_by_lying_still() -> None:
    """The suspension that stays where it was."""
    exercise, voicings = piece("four-three-cadence")
    conditions = Conditions(tempo=60.0)
    asked = task(exercise, conditions)
    events = perform(exercise, conditions, voicings, 0.0, manner=PERFECT, slips=[])
    assert asked.line is not None
    at = 5
    due = asked.line.time(at)
    beat = asked.line.beat_length(at)
    near = [e.time for e in events if isinstance(e, KeyDown) and abs(e.time - due) < beat / 2]
    gone = [e for e in events if abs(e.time - near[0]) < beat / 3]
    held = tuple(e for e in events if e not in gone)
    take = Take(exercise.id, write_exercise(exercise), conditions, held, 0.0, STARTED)
    assert [(one.kind, one.moment) for one in judge(take).causes] == [("held-on", at)]


def test_every_fault_belongs_to_one_cause() -> None:
    chance = Random(5)
    exercise, voicings = piece("bellows")
    judge = Judge(exercise, Conditions())
    for _ in range(60):
        chords = keys_of(voicings)
        for index in chance.sample(sorted(chords), 3):
            chords[index] = tuple(
                sorted({k + chance.choice([-2, -1, 0, 1]) for k in chords[index]})
            )
        verdict = explained(judge, judge.judge_chords(chords))
        shared = [n for one in verdict.told for n in (*one.explains, *one.follow)]
        assert sorted(shared) == list(range(len(verdict.faults)))


def cause_of(id: str, chords: dict[int, tuple[int, ...]], at: int) -> Cause:
    exercise, voicings = piece(id)
    judge = Judge(exercise, Conditions())
    verdict = judge.judge_chords(keys_of(voicings) | chords)
    return next(one for one in causes(judge, verdict) if one.moment == at)


@pytest.mark.parametrize(
    ("id", "at", "keys", "kind", "text", "remedy"),
    [
        # the table of causes, one example each (common practice, no source)
        (
            "bellows",
            6,
            (50,),
            "bass-alone",
            "Bar 2, beat 3: only the bass was played.",
            "Over d stand f sharp and a.",
        ),
        (
            "cold-stove",
            14,
            (52, 67, 71, 76),
            "accidental-forgotten",
            "Bar 5, beat 1: g sharp is asked, not g.",
            "Read the accidental in the figures.",
        ),
        (
            "dundee",
            6,
            (41, 58, 65, 69),
            "finger-beside",
            "Bar 2, beat 2: one finger a semitone above its key, b flat for a.",
            "",
        ),
        (
            "candle-ends",
            6,
            (50, 69, 74, 77),
            "figure-not-read",
            "Bar 3, beat 1: a plain triad, where 6 stands.",
            "Over d stand f and b flat.",
        ),
        (
            "bellows",
            16,
            (40, 64, 67, 71),
            "bass-misread",
            "Bar 5, beat 3: the bass was read a third too low: e for g, and the chord is right over"
            " it.",
            "",
        ),
        (
            "bellows",
            6,
            (50, 64, 67, 71),
            "hand-shifted",
            "Bar 2, beat 3: the right hand lay a step too high.",
            "",
        ),
    ],
)
def test_each_cause_has_its_sentence(
    id: str, at: int, keys: tuple[int, ...], kind: str, text: str, remedy: str
) -> None:
    found = cause_of(id, {at: keys}, at)
    assert (found.kind, found.text, found.remedy) == (kind, text, remedy)


def test_every_cause_has_its_lesson() -> None:
    assert set(LESSONS) == set(WHYS)
    assert len({lesson.title for lesson in LESSONS.values()}) == len(LESSONS)


def wrong_at(id: str, chords: dict[int, tuple[int, ...]]) -> tuple[PassVerdict, PassVerdict]:
    """A pass in which these chords are wrong: judged, and with its causes."""
    exercise, voicings = piece(id)
    judge = Judge(exercise, Conditions())
    verdict = judge.judge_chords(keys_of(voicings) | chords)
    return verdict, explained(judge, verdict)


def test_what_only_follows_from_a_wrong_chord_is_not_counted_in_movement() -> None:
    """The bass alone at one chord: harmony counts the chord; to it and from it three voices go in
    unison with the bass, of which nobody is to be told as if that were more faults."""
    plain, whole = wrong_at("bellows", {6: (50,)})
    assert plain.movement.clean < plain.movement.successions
    (cause,) = whole.causes
    assert cause.follow and set(cause.follow) == whole.following
    right, _ = wrong_at("bellows", {})
    assert whole.movement == right.movement, "as if the chord were not there"
    assert whole.harmony == plain.harmony and whole.harmony.complete == whole.harmony.judged - 1
    assert whole.faults == plain.faults, "all of them are kept"


def test_what_is_wrong_besides_is_counted_in_movement_as_ever() -> None:
    """A chord whose middle voices lie an octave away is right, and badly led."""
    exercise, voicings = piece("bellows")
    judge = Judge(exercise, Conditions())
    right, _ = wrong_at("bellows", {})
    chance = Random(2)
    found = 0
    for index in range(9, len(voicings) - 1):
        keys = keys_of(voicings)[index]
        middle = [key + chance.choice((12, -12)) for key in keys[1:-1]]
        moved = tuple(sorted({keys[0], *middle, keys[-1]}))
        alone, _ = wrong_at("bellows", {index: moved})
        if not judge.complete(index, moved) or alone.movement.weak <= right.movement.weak:
            continue
        _, both = wrong_at("bellows", {6: (50,), index: moved})
        assert [cause.moment for cause in both.causes] == [6]
        assert both.movement == alone.movement
        found += 1
    assert found >= 3


def test_a_pass_judged_from_its_events_names_its_causes() -> None:
    exercise, voicings = piece("bellows")
    conditions = Conditions(tempo=60.0)
    wrong = (*voicings[:6], Voicing.parse("d3 e4 g4 b4"), *voicings[7:])
    events = perform(exercise, conditions, wrong, 0.0, manner=PERFECT, slips=[])
    take = Take(exercise.id, write_exercise(exercise), conditions, events, 0.0, STARTED)
    verdict = judge(take)
    assert [(one.kind, one.moment) for one in verdict.causes] == [("hand-shifted", 6)]
    assert [one.kind for one in verdict.told if one.moment == 6] == ["hand-shifted"]
    assert (
        verdict.weightiest(verdict.causes[0])
        == verdict.drawn[verdict.told.index(verdict.causes[0])]
    )


def test_without_causes_every_fault_stands_for_itself_in_the_order_of_the_music() -> None:
    plain, whole = wrong_at("bellows", {6: (50, 64, 67, 71)})
    assert plain.causes == () and len(plain.faults) > len(whole.told)
    assert [one.kind for one in plain.told] == ["fault"] * len(plain.faults)
    assert sorted(one.explains for one in plain.told) == [(n,) for n in range(len(plain.faults))]
    assert [one.text for one in plain.told] == [
        plain.faults[one.explains[0]].text for one in plain.told
    ]
    assert plain.drawn == tuple(plain.weightiest(one) for one in plain.told)
    moments = [one.moment for one in plain.told]
    assert moments == sorted(moments)


def test_of_what_was_written_at_leisure_no_finger_slipped() -> None:
    """The very chord of which, played, a hand is said to have lain beside its place."""
    verdict = written("C", "", "c3 f4 a4 d5")
    assert verdict.faults and verdict.causes == ()
    assert [one.kind for one in verdict.told] == ["fault"] * len(verdict.faults)


def test_a_right_pass_costs_no_search_for_causes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only chords that are wrong are asked for a reason."""
    asked: list[int] = []
    why = WrongChord.why
    monkeypatch.setattr(WrongChord, "why", lambda one: (asked.append(one.heard.index), why(one))[1])
    wrong_at("bellows", {})
    assert asked == []
    wrong_at("bellows", {6: (50, 64, 67, 71)})
    assert asked == [6]


def slate(example: Mistake) -> Exercise:
    """What is written, a quarter note a chord; where the second is held, one half note."""
    bass, melody = example.bass.split(), example.melody.split()
    exercise = lesson(example.key, bass[0], example.figurings, melody[0])
    if bass[1:] != ["held"]:
        return lesson(example.key, example.bass, example.figurings, example.melody)
    return replace(
        exercise,
        bass=(replace(exercise.bass[0], duration=Fraction(2)),),
        melody=(replace(exercise.melody[0], duration=Fraction(2)),),
    )


@pytest.mark.parametrize("kind", WHYS)
def test_the_example_of_a_cause_in_the_table_shows_it(kind: Why) -> None:
    """Played on keys, a chord a beat; keys that stay are not struck again."""
    example = LESSONS[kind].example
    exercise = slate(example)

    def played(chords: tuple[str, ...]) -> PassVerdict:
        events: list[KeyEvent] = []
        around = zip(("", *chords), chords, (*chords[1:], ""), strict=False)
        for n, (before, chord, after) in enumerate(around):
            keys = sorted({Pitch.parse(word).midi for word in chord.split()})
            if chord != before:
                events += [KeyDown(2.0 + n, key, 64) for key in keys]
            if chord != after:
                events += [KeyUp(2.95 + n, key) for key in keys]
        conditions = Conditions(tempo=60.0)
        text = write_exercise(exercise)
        return judge(Take(exercise.id, text, conditions, tuple(events), 2.0, STARTED))

    right, wrong = played(example.right), played(example.played)
    assert right.causes == () and right.harmony.share == 1.0
    (cause,) = wrong.causes
    at = 0 if kind == "an-octave-away" else len(example.played) - 1  # it begins there
    assert (cause.kind, cause.moment) == (kind, at)


@pytest.mark.parametrize(
    ("up", "of", "said"),
    [
        ({"soprano": 1, "alto": 1, "tenor": 1}, "the melody", "an octave higher"),
        ({"bass": -1}, "the bass", "an octave lower"),
        ({"bass": -2}, "the bass", "two octaves lower"),
        ({"soprano": 1}, "the melody", "an octave higher"),
    ],
    ids=["right hand up", "pedal down", "two down", "melody alone"],
)
@pytest.mark.parametrize("number", [0, 3])
def test_a_voice_an_octave_away_is_said_once(
    number: int, up: dict[str, int], of: str, said: str
) -> None:
    """It was said at every chord."""
    exercise, voicings = pieces()[number]

    keys = {
        n: [p.midi + 12 * up.get(v, 0) for v, p in zip(VOICES, one, strict=True) if p is not None]
        for n, one in enumerate(voicings)
    }
    judging = Judge(exercise, Conditions())
    verdict = explained(judging, judging.judge_chords(keys))
    (told,) = [one for one in verdict.told if one.kind == "an-octave-away"]
    others = [one for one in verdict.told if one != told]
    assert len(told.explains) > 8
    # the melody alone so high, other voices are nearer to where a common tone might have stayed
    assert all(verdict.weightiest(one).rule == "needless-motion" for one in others)
    assert f"{of} {said} than written" in told.text
    assert verdict.harmony.share == 1.0 and verdict.movement.share == 1.0


def test_two_chords_in_another_octave_are_two_remarks() -> None:
    exercise, voicings = pieces()[0]
    keys = {
        n: [p.midi - 12 * (n in (4, 5) and p == one.bass) for p in one if p is not None]
        for n, one in enumerate(voicings)
    }
    judging = Judge(exercise, Conditions())
    verdict = explained(judging, judging.judge_chords(keys))
    assert [(one.kind, one.moment) for one in verdict.told] == [("fault", 4), ("fault", 5)]
