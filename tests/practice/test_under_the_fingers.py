"""What a key that is down counts for is said by what is heard, not by the key."""

from __future__ import annotations

from tests.judging.lessons import lesson
from tests.practice.playing import Pass, in_order, keys
from trainer.judging.take import Conditions
from trainer.practice.under_the_fingers import under_the_fingers
from trainer.theory.pitch import Pitch

CADENCE = lesson("C", "c3 f3 g3 c3", "", "e4 f4 d4 e4", fermatas=(3,))


def named(made: Pass) -> dict[str, str]:
    return {str(key): said for key, said in under_the_fingers(made.session).items()}


def midi(note: str) -> str:
    return str(Pitch.parse(note).midi)


def test_a_key_that_lies_over_leaves_and_the_rest_are_what_they_are_to_the_chord() -> None:
    made = Pass(CADENCE, Conditions(tempo=60.0))
    origin = made.begin()
    struck = in_order(keys(origin, "c3 g3 c4 e4", 1.3), keys(origin + 1, "f3 a3 c4 f4", 0.9))
    made.until(origin + 1.2, struck)
    found = named(made)
    assert found[midi("g3")] == found[midi("e4")] == "leaving"
    assert found[midi("f3")] == found[midi("f4")] == "given"
    assert found[midi("a3")] == found[midi("c4")] == "added"


def test_a_wrong_key_is_foreign_while_the_pass_goes_on() -> None:
    made = Pass(CADENCE, Conditions(tempo=60.0))
    origin = made.begin()
    made.until(origin + 1.1, in_order(keys(origin + 1, "f3 b3 c4 f4", 0.9)))
    assert named(made)[midi("b3")] == "foreign"


def test_what_the_program_plays_is_given() -> None:
    made = Pass(CADENCE, Conditions(tempo=60.0, supply=("bass", "melody")))
    origin = made.begin()
    made.until(origin + 0.1, in_order(keys(origin, "g3 c4", 0.9)))
    assert named(made) == {
        midi("c3"): "given",
        midi("e4"): "given",
        midi("g3"): "added",
        midi("c4"): "added",
    }
