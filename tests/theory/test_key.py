"""Keys as they are named."""

from __future__ import annotations

import pytest

from trainer.theory.key import Key, key_in_words


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Bb major", "B flat major"),
        ("f# minor", "f sharp minor"),
        ("d dorian", "d dorian"),
        ("Eb", "E flat"),
    ],
)
def test_a_key_is_named_as_it_is_said(name: str, words: str) -> None:
    assert key_in_words(name) == words


def test_a_key_says_its_name() -> None:
    assert Key.parse("f#").in_words == "f sharp minor"
    assert Key.parse("Eb").in_words == "E flat major"
