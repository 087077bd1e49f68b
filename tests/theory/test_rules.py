"""Each rule is shown by its own example, and no rule is without one."""

from __future__ import annotations

import pytest

from tests.judging.lessons import marked, rules_broken
from trainer.theory.rules import RULES, SCHOOLS, Rule, rule, weight

GIVEN_WRONG = ("wrong-bass", "wrong-melody")  # need keys that differ from the page


@pytest.mark.parametrize(
    "broken", [r for r in RULES if r.id not in GIVEN_WRONG], ids=lambda r: str(r.id)
)
def test_the_example_of_a_rule_breaks_it(broken: Rule) -> None:
    example = broken.example
    verdict = marked(
        example.key, ",".join(example.figurings), *example.chords, melody=example.melody
    )
    assert broken.id in rules_broken(verdict)


def test_identifiers_are_unique() -> None:
    assert len({r.id for r in RULES}) == len(RULES)


def test_a_school_departs_only_from_rules_that_exist() -> None:
    for departures in SCHOOLS.values():
        assert all(rule(name) for name in departures)


def test_a_gross_fault_weighs_one_step_less_across_a_fermata() -> None:
    assert weight("consecutive-fifths", "strict") == "gross"
    assert weight("consecutive-fifths", "strict", across_fermata=True) == "weak"
    assert weight("overlap", "strict", across_fermata=True) == "weak"
