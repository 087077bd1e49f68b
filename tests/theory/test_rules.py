"""Each rule is shown by its own example, and no rule is without one."""

from __future__ import annotations

import pytest

from tests.judging.lessons import lesson, marked
from trainer.judging.judge import Judge
from trainer.judging.take import Conditions
from trainer.theory.fault import Fault
from trainer.theory.pitch import Pitch
from trainer.theory.rules import RULES, SCHOOLS, Example, Rule, rule, weight


def judged(example: Example) -> list[Fault]:
    """The example's chords as keys struck, against its bass (or the one written), figured; what
    is held stays down in the last of them."""
    basses = example.bass or " ".join(chord.split()[0] for chord in example.chords)
    exercise = lesson(example.key, basses, example.figurings, example.melody)
    if example.bass or example.melody or example.held:
        keys = {
            i: [Pitch.parse(word).midi for word in chord.split()]
            for i, chord in enumerate(example.chords)
        }
        held = {len(keys) - 1: [Pitch.parse(word).midi for word in example.held.split()]}
        return list(Judge(exercise, Conditions()).judge_chords(keys, overheld=held).faults)
    return list(marked(example.key, ",".join(example.figurings), *example.chords).faults)


@pytest.mark.parametrize("broken", RULES, ids=lambda r: str(r.id))
def test_the_example_of_a_rule_breaks_it_and_no_graver_one(broken: Rule) -> None:
    faults = judged(broken.example)
    assert broken.id in [fault.rule for fault in faults]
    assert not [f for f in faults if f.weight == "gross" and f.rule != broken.id]


def test_identifiers_are_unique() -> None:
    assert len({r.id for r in RULES}) == len(RULES)


def test_a_school_departs_only_from_rules_that_exist() -> None:
    for departures in SCHOOLS.values():
        assert all(rule(name) for name in departures)


def test_a_gross_fault_weighs_one_step_less_across_a_fermata() -> None:
    assert weight("consecutive-fifths", "strict") == "gross"
    assert weight("consecutive-fifths", "strict", across_fermata=True) == "weak"
    assert weight("overlap", "strict", across_fermata=True) == "weak"
