"""The page as a reader has it: in Chromium, light and dark, wide and narrow, with and without
scripts, on paper."""

from __future__ import annotations

import re
import shutil
import subprocess
from datetime import datetime
from pathlib import Path

import pytest

from tests.review.browser import Browser
from tests.review.scenario import ADA
from trainer.journal.store import Journal
from trainer.review.review_page import review_page

NOW = datetime.fromisoformat("2026-03-20T12:00:00+01:00")


@pytest.fixture(scope="module")
def page(season_log: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("page") / "review.html"
    with Journal.open(season_log, write=False) as journal:
        file.write_text(review_page(journal, journal.player(ADA), 3, NOW), encoding="utf-8")
    return file


@pytest.fixture
def opened(browser: Browser, page: Path) -> Browser:
    browser.tool("Emulation.setScriptExecutionDisabled", value=False)
    browser.tool("Emulation.setEmulatedMedia", features=[])
    browser.tool("Emulation.clearDeviceMetricsOverride")
    browser.open(page)
    browser.complaints()
    browser.open(page)
    return browser


def test_the_file_needs_nothing_from_elsewhere(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    outside = re.findall(r"""(?:src|href)\s*=\s*["']?(?!#|data:)([^"'\s>]+)""", text)
    assert outside == []
    assert not re.search(r"url\((?!data:)", text) and "@import" not in text
    assert "default-src 'none'" in text


def test_it_opens_without_a_word_on_the_console(opened: Browser) -> None:
    assert opened.run("return document.title") == "Practice of Ada Lehner"
    assert opened.run("return document.querySelectorAll('.sheet').length") == 3
    assert opened.run("return document.fonts.check('16px \"EB Garamond 12\"')")
    assert opened.complaints() == []


def test_a_take_can_be_played_and_stopped(opened: Browser) -> None:
    opened.run(
        "window.waves = 0; const make = AudioContext.prototype.createOscillator;"
        "AudioContext.prototype.createOscillator = function () {"
        "  window.waves += 1; return make.call(this); };"
    )
    opened.click("button.play")
    assert opened.run("return document.querySelector('button.play').textContent") == "Stop"
    notes = opened.run(
        "return JSON.parse(document.querySelector('.sheet script').textContent).notes.length"
    )
    assert notes > 20 and opened.run("return window.waves") == 3 * notes
    shown = "return [...document.querySelectorAll('.here')].some(e => e.style.display == 'block')"
    assert opened.wait(shown)
    first = "return document.querySelector('.here').style.left"
    at = opened.run(first)
    assert opened.wait(f"{first} !== '{at}'")  # the line moves on with the music
    opened.click("button.play")
    assert opened.run("return document.querySelector('button.play').textContent").startswith("Play")
    assert not opened.run(shown)
    assert opened.complaints() == []


def test_another_take_takes_over_from_the_one_playing(opened: Browser) -> None:
    opened.click(".sheet:nth-of-type(2) button.play, .sheet button.play")
    opened.run("document.querySelectorAll('button.play')[1].click()")
    pressed = "return [...document.querySelectorAll('button.play')].map(b => b.ariaPressed)"
    assert opened.run(pressed) == ["false", "true", "false"]
    opened.run("document.querySelectorAll('button.play')[1].click()")
    assert opened.run(pressed) == ["false", "false", "false"]
    assert opened.complaints() == []


def test_a_rule_opens_with_its_explanation(opened: Browser) -> None:
    opened.click("#faults a")
    explained = (
        "const p = document.querySelector(location.hash);"
        "return p.closest('details').open && p.getBoundingClientRect().height > 10"
        " && p.textContent.length > 40"
    )
    assert opened.wait(explained)
    opened.click("details.rule[open] summary")
    assert opened.run("return document.querySelectorAll('details.rule[open]').length") == 0
    assert opened.complaints() == []


@pytest.mark.parametrize("width", [360, 800, 1600])
@pytest.mark.parametrize("ground", ["light", "dark"])
def test_light_and_dark_wide_and_narrow_nothing_sticks_out(
    opened: Browser, ground: str, width: int
) -> None:
    opened.tool(
        "Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": ground}]
    )
    opened.tool(
        "Emulation.setDeviceMetricsOverride",
        width=width,
        height=900,
        deviceScaleFactor=1,
        mobile=width < 500,
    )
    assert opened.run("return document.documentElement.scrollWidth") <= width
    paper = opened.run("return getComputedStyle(document.body).backgroundColor")
    assert paper == {"light": "rgb(244, 239, 228)", "dark": "rgb(30, 28, 26)"}[ground]
    inks = opened.run(
        "return [...document.querySelectorAll('.system .marks path')].map("
        "e => getComputedStyle(e).fill + getComputedStyle(e).stroke)"
    )
    player = {"light": "rgb(31, 78, 134)", "dark": "rgb(142, 184, 232)"}[ground]
    assert inks and any(player in ink for ink in inks)
    bars = opened.run(
        "return [...document.querySelectorAll('.chart path')].map(e => getComputedStyle(e).fill)"
    )
    assert player in bars  # the charts take the page's inks
    assert opened.screenshot().startswith(b"\x89PNG")


def test_a_chart_fits_a_telephone_with_letters_of_full_size(opened: Browser) -> None:
    opened.tool(
        "Emulation.setDeviceMetricsOverride",
        width=360,
        height=800,
        deviceScaleFactor=1,
        mobile=True,
    )
    hidden = opened.run(
        "return [...document.querySelectorAll('.chart')].map(e => e.scrollWidth - e.clientWidth)"
    )
    assert len(hidden) >= 6 and max(hidden) <= 0  # nothing to be pushed aside
    heights = opened.run(
        "return [...document.querySelectorAll('.plot text')].map("
        "e => e.getBoundingClientRect().height)"
    )
    assert len(heights) > 40 and min(heights) > 12


def test_without_scripts_all_but_playing_is_there(browser: Browser, page: Path) -> None:
    browser.tool("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.open(page)
        tree = browser.tool("DOMSnapshot.captureSnapshot", computedStyles=["display"])
        strings = tree["strings"]
        nodes, layout = tree["documents"][0]["nodes"], tree["documents"][0]["layout"]
        drawn = {strings[nodes["nodeName"][index]].lower() for index in layout["nodeIndex"]}
        assert {"svg", "table", "summary", "h1"} <= drawn
        assert "button" not in drawn  # a button that can do nothing is not shown
    finally:
        browser.tool("Emulation.setScriptExecutionDisabled", value=False)


def test_it_prints_on_paper_with_all_its_words(opened: Browser, tmp_path: Path) -> None:
    opened.tool(
        "Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": "dark"}]
    )
    pdf = tmp_path / "review.pdf"
    pdf.write_bytes(opened.printed())
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here: install poppler-utils")
    words = subprocess.run(
        ["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "Practice of Ada Lehner" in words and "Stop at pain" in words
    assert "Play it as it was played" not in words  # paper cannot be played
    assert words.count("\f") >= 3
    explained = opened.run("return document.querySelector('details.rule p').textContent")
    assert explained[:40] in words  # rules that are folded up on the screen are told on paper
    subprocess.run(["pdftoppm", "-gray", "-r", "20", pdf, tmp_path / "sheet"], check=True)
    first = sorted(tmp_path.glob("sheet*.pgm"))[0].read_bytes()
    pixels = first.split(b"\n", 3)[3]
    assert pixels[0] == 255  # white paper, whatever the screen's ground was
