"""Temperaments against comma arithmetic.

The commas and the pure third and fifth are ratios of whole numbers (81/80, 3^12/2^19, 5/4, 3/2):
arithmetic, no source needed. Which fifths a temperament narrows is common practice, no source.
"""

from fractions import Fraction
from math import log2

import pytest

from trainer.sound.tuning import (
    PITCH_STANDARDS,
    PYTHAGOREAN_COMMA,
    SYNTONIC_COMMA,
    TEMPERAMENTS,
    frequency,
)


def cents(ratio: Fraction) -> float:
    return 1200 * log2(ratio)


PURE_THIRD = cents(Fraction(5, 4))


def interval(name: str, lower: int, upper: int) -> float:
    table = TEMPERAMENTS[name].cents
    return (table[upper] - table[lower]) % 1200


def test_the_commas_are_those_of_the_ratios() -> None:
    assert pytest.approx(cents(Fraction(3**12, 2**19))) == PYTHAGOREAN_COMMA
    assert pytest.approx(cents(Fraction(81, 80))) == SYNTONIC_COMMA
    assert pytest.approx(23.460, abs=5e-4) == PYTHAGOREAN_COMMA
    assert pytest.approx(21.506, abs=5e-4) == SYNTONIC_COMMA


@pytest.mark.parametrize("name", TEMPERAMENTS)
def test_twelve_fifths_close_the_circle(name: str) -> None:
    total = sum(interval(name, k, (k + 7) % 12) for k in range(12))
    assert total == pytest.approx(7 * 1200)


def test_equal_temperament_has_a_hundred_cents_to_every_semitone() -> None:
    assert TEMPERAMENTS["equal"].cents == pytest.approx([100.0 * k for k in range(12)], abs=1e-9)


@pytest.mark.parametrize("root", [3, 10, 5, 0, 7, 2, 9, 4])
def test_quarter_comma_meantone_has_eight_pure_thirds(root: int) -> None:
    third = interval("meantone-quarter", root, (root + 4) % 12)
    assert third == pytest.approx(PURE_THIRD)


def test_quarter_comma_meantone_leaves_a_wolf_between_g_sharp_and_e_flat() -> None:
    # eleven fifths of 5^(1/4) against seven octaves: 128 / 5^(11/4)
    wolf = 1200 * (7 - 11 * log2(5) / 4)
    assert interval("meantone-quarter", 8, 3) == pytest.approx(wolf)


def test_sixth_comma_meantone_has_thirds_wide_by_a_third_of_the_comma() -> None:
    # four fifths, each narrow by a sixth, against the full comma: two sixths remain
    third = interval("meantone-sixth", 0, 4)
    assert third - PURE_THIRD == pytest.approx(SYNTONIC_COMMA / 3)


@pytest.mark.parametrize("name", ["well-quarter", "well-sixth", "well-fifth"])
def test_a_well_temperament_has_no_wolf(name: str) -> None:
    fifths = [interval(name, k, (k + 7) % 12) for k in range(12)]
    part = TEMPERAMENTS[name].part * PYTHAGOREAN_COMMA
    pure = cents(Fraction(3, 2))
    assert all(f == pytest.approx(pure) or f == pytest.approx(pure - part) for f in fifths)
    narrowed = sum(f < pure - 1 for f in fifths)
    assert narrowed * part == pytest.approx(PYTHAGOREAN_COMMA)


@pytest.mark.parametrize("name", TEMPERAMENTS)
@pytest.mark.parametrize("standard", PITCH_STANDARDS)
def test_the_standard_is_the_a_above_middle_c(name: str, standard: float) -> None:
    assert frequency(69, name, standard) == standard
    assert frequency(57, name, standard) == pytest.approx(standard / 2)


def test_middle_c_in_equal_temperament() -> None:
    # 440 Hz * 2^(-9/12); ISO 16 fixes a' = 440 Hz
    assert frequency(60) == pytest.approx(261.6256, abs=1e-4)
