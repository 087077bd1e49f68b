"""Figurings in other notations: what is written is read back the same."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.errors import FigureError
from trainer.theory.figures import NOTHING, Figure, Figuring, Sign, Way
from trainer.theory.figures_text import (
    XmlFigure,
    from_kern,
    from_mei,
    from_musicxml,
    to_kern,
    to_mei,
    to_musicxml,
)

ACCIDENTALS = [sign for sign in Sign if not sign.raises]


@st.composite
def figures(draw: st.DrawFn) -> Figure:
    numeral = draw(st.none() | st.integers(1, 14))
    if numeral is None:
        return Figure(None, draw(st.sampled_from(ACCIDENTALS)))
    sign = draw(st.none() | st.sampled_from(list(Sign)))
    before = sign in ACCIDENTALS and draw(st.booleans())
    return Figure(numeral, sign, before)


figurings = st.builds(Figuring, st.lists(figures(), max_size=4).map(tuple)) | st.sampled_from(
    [Figuring((), way) for way in Way]
)


@given(figurings)
def test_plain_text_is_read_back(figuring: Figuring) -> None:
    assert Figuring.parse(str(figuring)) == figuring


@given(figurings.filter(lambda figuring: figuring != NOTHING))
def test_humdrum_is_read_back(figuring: Figuring) -> None:
    assert from_kern(to_kern(figuring)) == figuring


@given(figurings)
def test_mei_is_read_back(figuring: Figuring) -> None:
    assert from_mei(to_mei(figuring)) == figuring


@given(figurings)
def test_musicxml_is_read_back(figuring: Figuring) -> None:
    assert from_musicxml(to_musicxml(figuring)) == figuring


@given(st.text(max_size=12))
def test_any_text_is_a_figuring_or_one_clear_error(text: str) -> None:
    for read in (Figuring.parse, from_kern, lambda t: from_mei([t])):
        try:
            read(text)
        except FigureError as error:
            assert "\n" not in str(error)


@pytest.mark.parametrize(
    ("texts", "plain"),
    [
        (["6̸"], "6/"),
        (["6\u20e5", "3"], "6\\ 3"),
        (["\uea5c"], "6/"),
        (["\ue262\uea5b", "\uea55"], "#6 4"),
        (["+\uea55", "\uea52"], "4+ 2"),
        (["\uea5b _"], "6"),
        (["[\ue261]"], "n"),
        (["♭5"], "b5"),
        (["\uea64"], "b"),
        (["6 5"], "6 5"),
        (["Tasto solo"], "t.s."),
        (["all’ unisono"], "unis."),
    ],
)
def test_mei_text_as_engravers_write_it(texts: list[str], plain: str) -> None:
    """SMuFL's figured-bass range and standard accidentals; the forms verovio writes."""
    assert str(from_mei(texts)) == plain


@pytest.mark.parametrize(
    ("token", "plain"),
    [
        ("6 4+ 2", "6 4+ 2"),
        ("-5", "b5"),
        ("--7", "bb7"),
        ("6- 4", "6b 4"),
        ("n", "n"),
        ("6| 5_", "6/ 5"),
        ("_", "_"),
        ("_ _", "_"),
        (".", ""),
        ("0", "t.s."),
    ],
)
def test_humdrum_tokens(token: str, plain: str) -> None:
    assert str(from_kern(token)) == plain


def test_musicxml_prefix_number_suffix_and_extend() -> None:
    """Values of the `prefix`, `suffix` and `extend` elements of MusicXML 4.0 (W3C)."""
    assert str(from_musicxml([XmlFigure("sharp", "6"), XmlFigure(number="4")])) == "#6 4"
    assert str(from_musicxml([XmlFigure("", "6", "slash")])) == "6/"
    assert str(from_musicxml([XmlFigure("", "6", "back-slash")])) == "6\\"
    assert str(from_musicxml([XmlFigure("", "4", "plus"), XmlFigure("", "2")])) == "4+ 2"
    assert str(from_musicxml([XmlFigure("flat-flat", "7")])) == "bb7"
    assert str(from_musicxml([XmlFigure("sharp")])) == "#"
    assert str(from_musicxml([XmlFigure(extend="stop"), XmlFigure(extend="stop")])) == "_"


def test_a_line_beside_new_figures_stands_for_the_figure_before() -> None:
    six_four = Figuring.parse("6 4")
    assert str(from_musicxml([XmlFigure(extend="stop"), XmlFigure(number="3")], six_four)) == "6 3"
    assert str(from_kern("_ 3", six_four)) == "6 3"


def test_a_line_after_nothing_is_an_error() -> None:
    with pytest.raises(FigureError):
        from_kern("_ 3")


def test_an_unknown_suffix_is_an_error() -> None:
    with pytest.raises(FigureError):
        from_musicxml([XmlFigure("", "6", "wiggle")])
