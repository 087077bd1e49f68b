

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
