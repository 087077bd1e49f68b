"""What goes into rows, bytes and JSON comes out the same."""

from __future__ import annotations

import json
import struct
import zlib
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.journal.samples import FAULT, VERDICT
from trainer.errors import LogError
from trainer.journal.packing import (
    COMPRESSED,
    conditions_from,
    conditions_text,
    fault_from,
    fault_row,
    marking_row,
    moment_from,
    moment_row,
    pack_events,
    unpack_events,
    verdict_from,
)
from trainer.journal.plain_verdicts import verdict_of, verdict_plain
from trainer.judging.take import Conditions
from trainer.judging.verdict import (
    MANNERS,
    WHYS,
    Attack,
    Cause,
    ExtraChord,
    HandTiming,
    Harmony,
    MomentVerdict,
    Movement,
    Onset,
    PassVerdict,
    Timing,
    Touch,
)
from trainer.listening.events import KeyDown, KeyEvent, KeyUp, Onward, Pedal
from trainer.listening.manuals import Manual
from trainer.theory.fault import Fault
from trainer.theory.pitch import Pitch
from trainer.theory.voicing import VOICES, Voicing

times = st.floats(-1e9, 1e9)
keys = st.integers(0, 127)
events = st.one_of(
    st.builds(KeyDown, times, keys, st.integers(1, 127), st.sampled_from(Manual)),
    st.builds(KeyUp, times, keys, st.sampled_from(Manual)),
    st.builds(Pedal, times, st.booleans()),
    st.builds(Onward, times),
)
pitches = st.builds(Pitch, st.integers(0, 6), st.integers(-2, 2), st.integers(0, 8))
voicings = st.builds(Voicing, *(st.none() | pitches for _ in range(4)))
figures = st.lists(st.sampled_from(["3", "b7", "#4", "n6"]), max_size=3).map(tuple)
moments = st.builds(
    MomentVerdict,
    index=st.integers(0, 999),
    outcome=st.sampled_from(["complete", "incomplete", "foreign", "not-played"]),
    keys=st.lists(keys, max_size=6).map(tuple),
    voicing=st.none() | voicings,
    missing=figures,
    foreign=figures,
    additions=figures,
    late_ms=st.none() | times,
    late_beats=st.none() | times,
    spread_ms=st.none() | times,
    think_s=st.none() | times,
    attack=st.none() | st.deferred(lambda: attacks),
)
onsets = st.none() | st.builds(Onset, times, st.none() | times)
attacks = st.builds(Attack, st.sampled_from(MANNERS), onsets, onsets, onsets, onsets)
words = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=30)
faults = st.builds(
    Fault,
    rule=st.sampled_from(["consecutive-fifths", "spacing"]),
    weight=st.sampled_from(["gross", "weak", "remark"]),
    moments=st.lists(st.integers(0, 999), max_size=2).map(tuple),
    voices=st.lists(st.sampled_from(VOICES), max_size=3).map(tuple),
    pitches=st.lists(pitches, max_size=6).map(tuple),
    text=words,
    instead=st.none() | voicings,
    onset=st.none() | st.fractions(0, 1000, max_denominator=96),
)
counts = st.integers(0, 9999)
hands = st.none() | st.builds(HandTiming, counts, counts, times, times)
manners = st.lists(st.sampled_from(MANNERS), unique=True).map(
    lambda some: tuple((one, 7 + len(one)) for one in MANNERS if one in some)
)
touches = st.builds(Touch, hands, hands, times, times, manners)
causes = st.builds(
    Cause,
    kind=st.sampled_from(WHYS),
    moment=st.integers(0, 999),
    text=words,
    remedy=words,
    explains=st.just((0,)),
    follow=st.just(()),
)
verdicts = st.builds(
    PassVerdict,
    moments=st.lists(moments, max_size=4, unique_by=lambda m: m.index).map(tuple),
    faults=st.lists(faults, max_size=3).map(tuple),
    harmony=st.builds(Harmony, counts, counts),
    timing=st.none() | st.builds(Timing, counts, counts, times, times, st.none() | touches),
    movement=st.builds(Movement, counts, counts, counts, counts, counts),
    extra=st.lists(
        st.builds(ExtraChord, st.integers(-1, 99), times, st.lists(keys, max_size=4).map(tuple)),
        max_size=2,
    ).map(tuple),
).flatmap(
    lambda said: (
        st.lists(causes, max_size=2).map(lambda some: replace(said, causes=tuple(some)))
        if said.faults
        else st.just(said)
    )
)


@given(st.lists(events))
def test_events_are_the_same_after_packing(played: list[KeyEvent]) -> None:
    packed = pack_events(played)
    assert len(packed) == 11 * len(played)
    assert unpack_events(packed) == tuple(played)
    assert unpack_events(zlib.compress(packed), COMPRESSED) == tuple(played)


@given(times, keys, st.integers(1, 127), st.booleans())
def test_keys_on_manuals_that_play_everything_are_packed_as_they_always_were(
    time: float, key: int, velocity: int, down: bool
) -> None:
    """Against the layout as logs of version 1 and 2 have it."""
    event = KeyDown(time, key, velocity) if down else KeyUp(time, key)
    assert pack_events([event]) == struct.pack("<dBBB", time, down, key, velocity * down)


@pytest.mark.parametrize("told", [4 * 4, 255, 2 + 4, 3 + 12])
def test_a_kind_or_a_manual_that_there_is_not_is_refused(told: int) -> None:
    """No manual after the third; a pedal and the wish to go on lie on none."""
    with pytest.raises(LogError, match="not a key or a pedal"):
        unpack_events(struct.pack("<dBBB", 1.0, told, 0, 0))
    inside = struct.pack("<dBBB", 1.0, 3 * 4 + 1, 60, 70)
    assert unpack_events(inside) == (KeyDown(1.0, 60, 70, Manual.RIGHT_HAND),)


@given(st.binary(max_size=60), st.sampled_from([0, 1, 7]))
def test_bytes_that_are_no_events_are_refused_or_read(payload: bytes, packing: int) -> None:
    try:
        found = unpack_events(payload, packing)
    except LogError:
        return
    assert pack_events(found)[:8] == (payload if packing == 0 else b"")[:8] or packing == 1


@given(verdicts)
def test_a_verdict_is_the_same_after_rows(said: PassVerdict) -> None:
    rows = [moment_row(one) for one in said.moments]
    broken = [fault_row(number, one) for number, one in enumerate(said.faults)]
    again = verdict_from(marking_row(said), rows, broken)
    assert again == said
    assert [one.onset for one in again.faults] == [one.onset for one in said.faults]
    assert [moment_from(row) for row in rows] == list(said.moments)


@pytest.mark.parametrize(
    "stored",
    [
        '[["no such cause", 0, "", "", [0], []]]',
        '[["held-on", 0, "", "", [], []]]',
        '[["held-on", 0, "", "", [1], []]]',
        '[["held-on", 0, "", "", [0], [1]]]',
        '[["held-on", -1, "", "", [0], []]]',
        '[["held-on", 0, "", "", [true], []]]',
        '[["held-on", 0, 7, "", [0], []]]',
        '[["held-on", 0, "", "", [0]]]',
        "[7]",
        "7",
        "{",
    ],
)
def test_what_is_no_cause_of_the_faults_there_are_is_not_read(stored: str) -> None:
    """There is one fault, number 0."""
    row = marking_row(VERDICT) | {"causes": stored}
    with pytest.raises((ValueError, TypeError)):
        verdict_from(row, [], [fault_row(0, FAULT)])
    sound = row | {"causes": '[["held-on", 0, "", "", [0], []]]'}
    assert verdict_from(sound, [], [fault_row(0, FAULT)]).causes[0].explains == (0,)


@pytest.mark.parametrize(
    "change", [{"kind": "no such cause"}, {"explains": []}, {"explains": [1]}, {"follow": [-1]}]
)
def test_what_is_no_cause_is_refused_in_a_bundle(change: dict[str, object]) -> None:
    cause = Cause("held-on", 0, "", "", (0,))
    plain = verdict_plain(replace(VERDICT, causes=(cause,)))
    assert verdict_of(plain).causes == (cause,)
    plain["causes"][0] |= change
    with pytest.raises(LogError):
        verdict_of(plain)


def test_a_bundle_written_before_causes_were_named_has_none() -> None:
    plain = verdict_plain(VERDICT)
    del plain["causes"]
    assert verdict_of(plain) == VERDICT


@given(verdicts)
def test_a_verdict_is_the_same_after_json(said: PassVerdict) -> None:
    again = verdict_of(json.loads(json.dumps(verdict_plain(said))))
    assert again == said
    assert [one.onset for one in again.faults] == [one.onset for one in said.faults]


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)


@given(st.data())
def test_a_verdict_with_something_else_in_it_is_refused_or_read(data: st.DataObject) -> None:
    plain = verdict_plain(VERDICT)
    place: object = plain
    for _ in range(data.draw(st.integers(0, 3))):  # somewhere inside
        if isinstance(place, dict) and place:
            name = data.draw(st.sampled_from(sorted(place)))
            if not isinstance(place[name], dict | list) or not place[name]:
                place[name] = data.draw(json_values)
                break
            place = place[name]
        elif isinstance(place, list) and place:
            place[0] = data.draw(json_values) if data.draw(st.booleans()) else place[0]
            place = place[0]
    try:
        verdict_of(plain)
    except LogError as error:
        assert "\n" not in str(error)


def test_conditions_of_a_later_program_are_read_without_what_is_new() -> None:
    conditions = Conditions(tempo=72.0, supply=("bass",), slower=((0, 3, 0.5),))
    given_text = json.loads(conditions_text(conditions)) | {"mood": "bright"}
    assert conditions_from(json.dumps(given_text)) == conditions
    with pytest.raises(LogError):
        conditions_from("[1, 2]")


def test_a_fault_keeps_its_place_in_the_bar() -> None:
    row = fault_row(0, Fault("spacing", "weak", (1,), (), (), "", onset=Fraction(7, 2)))
    assert row["onset"] == "7/2" and fault_from(row).onset == Fraction(7, 2)
    assert fault_row(0, FAULT)["onset"] is None
