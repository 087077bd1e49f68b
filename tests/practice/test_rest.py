"""A pause is suggested after twenty-five minutes of playing, and only then."""

from __future__ import annotations

from trainer.practice.rest import REST, rest_due

MINUTE = 60.0


def passes(count: int, minutes: float, gap: float = 0.5) -> list[tuple[float, float]]:
    """Stretches of `minutes` each with `gap` minutes between them."""
    each = (minutes + gap) * MINUTE
    return [(n * each, n * each + minutes * MINUTE) for n in range(count)]


def test_twenty_four_minutes_need_no_pause() -> None:
    played = passes(24, 1.0)
    assert not rest_due(played, played[-1][1])


def test_after_twenty_five_minutes_a_pause_is_due() -> None:
    played = passes(25, 1.0)
    assert rest_due(played, played[-1][1])


def test_looking_and_thinking_between_passes_is_not_playing() -> None:
    played = passes(20, 1.0, gap=4.0)
    assert not rest_due(played, played[-1][1])


def test_a_gap_of_five_minutes_is_a_pause() -> None:
    before = passes(24, 1.0)
    later = before[-1][1] + 5 * MINUTE
    assert not rest_due([*before, (later, later + 3 * MINUTE)], later + 3 * MINUTE)


def test_having_rested_already_no_pause_is_due() -> None:
    played = passes(30, 1.0)
    assert not rest_due(played, played[-1][1] + 5 * MINUTE)


def test_the_words_ask_for_nothing_more() -> None:
    assert "more" not in REST
    assert "rest" in REST
