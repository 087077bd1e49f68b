"""Colours and sizes: what must be read can be read."""

from __future__ import annotations

import pytest

from trainer.engraving.ink import INKS
from trainer.screen.drawing.theme import (
    LARGEST,
    PAIRS,
    SMALLEST,
    THEMES,
    Ground,
    Measure,
    Role,
    contrast,
)


def test_contrast_is_that_of_the_standard() -> None:
    # WCAG 2.2, relative luminance: black on white is 21, and the grey #767676 on white 4.54
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((118, 118, 118), (255, 255, 255)) == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("ground", ["light", "dark"])
@pytest.mark.parametrize(("upon", "under"), PAIRS)
def test_every_pair_in_use_meets_level_aa(ground: Ground, upon: Role, under: Role) -> None:
    theme = THEMES[ground]
    assert contrast(theme.colour(upon), theme.colour(under)) >= 4.5


def test_the_inks_of_printed_pages_meet_level_aa_on_white() -> None:
    for colour in INKS.values():
        red, green, blue = (int(colour[n : n + 2], 16) for n in (1, 3, 5))
        assert contrast((red, green, blue), (255, 255, 255)) >= 4.5


def test_every_role_text_is_set_in_is_among_the_pairs() -> None:
    on_paper = {upon for upon, under in PAIRS if under == "paper"}
    assert on_paper == {"ink", "soft", "player", "mark", "remark", "pencil"}


@pytest.mark.parametrize("size", [SMALLEST, (1920, 1080), LARGEST])
@pytest.mark.parametrize("scale", [0.8, 1.0, 2.0])
def test_text_grows_with_its_scale_and_is_never_tiny(size: tuple[int, int], scale: float) -> None:
    em = Measure.of(*size, scale).em
    assert em >= 15 * scale * 0.99
    assert em == pytest.approx(scale * Measure.of(*size, 1.0).em)
