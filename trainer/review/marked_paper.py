"""A marked piece on paper: how it looks there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from trainer.engraving.ink import INKS
from trainer.engraving.press import MM
from trainer.engraving.press.binding import bound
from trainer.engraving.press.music import picture
from trainer.engraving.press.setting import CAP, Line, Words
from trainer.engraving.press.sheets import (
    Block,
    Music,
    Page,
    Rule,
    Section,
    Text,
    paged,
    paragraph,
    shifted,
    stacked,
)
from trainer.engraving.press.sheets import Sheet as Paper
from trainer.review.named import named
from trainer.review.sheet import INKS as PAGE_INKS
from trainer.review.sheet import Comment, Sheet

_PAPER = Paper(210 * MM, 297 * MM, 18 * MM, 18 * MM, 20 * MM)
_GREY = "#4d4d4d"
_RULE_GREY = "#999999"
_INDENT = 1.6 * 11.0  # points, to the sentence beside its number
_LOOSE = 0.7 * 11.0  # points between comments


def marked_pdf(sheet: Sheet, under: str) -> bytes:
    """The piece with its marks, the comments, the rules and causes that are named; `under` is the
    line below its title."""
    pages = paged([Section(tuple(_blocks(sheet, under)))], _PAPER)
    return bound([_numbered(page, n) for n, page in enumerate(pages, 1)], _PAPER, sheet.title)


def _numbered(page: Page, number: int) -> Page:
    words = Line((Words(str(number)),))
    x = (_PAPER.width - words.width) / 2
    return Page((*page.marks, Text(x, _PAPER.height - 10 * MM, words)))


def _blocks(sheet: Sheet, under: str) -> Iterator[Block]:
    measure = _PAPER.measure
    yield paragraph([Words(sheet.title, 20)], measure)
    yield replace(paragraph([Words(under, ink=_GREY)], measure), above=4.5 * MM)
    yield replace(_facts(sheet), above=4 * MM)
    for system in sheet.systems:
        mark = Music(0, 0, measure, picture(_on_paper(system)))
        yield Block(mark.height, (mark,), above=11.0)
    for comment in sheet.comments:
        yield _comment(comment)
    if not sheet.comments:
        yield replace(paragraph([Words("Nothing to mark.")], measure), above=_LOOSE)
    rules = named(one.rule for one in sheet.comments)
    if rules:
        yield Block(0, (Rule(0, 0, measure, _RULE_GREY),), above=5 * MM, below=4 * MM)
    for rule in rules:
        runs = [
            Words(f"{rule.title}. ", face="italic"),
            Words(f"{rule.explanation} "),
            Words(f"Source: {rule.source}.", 9.5, ink=_GREY),
        ]
        yield replace(paragraph(runs, measure), above=0.8 * 11)


def _facts(sheet: Sheet) -> Block:
    """Names and what is said of them, below one another."""
    across = max(Words(name).width for name, _ in sheet.facts) + 11
    rows = []
    for name, said in sheet.facts:
        block = paragraph([Words(said)], _PAPER.measure - across)
        named = Text(0, CAP * 11, Line((Words(name, ink=_GREY),)))
        rows.append(replace(_moved(block, across, named), above=0.5 * 11))
    return stacked(rows)


def _comment(one: Comment) -> Block:
    mark = INKS["mark"]
    runs = [
        Words(f"{one.text} "),
        Words(f"{one.weight}", face="italic", ink=mark),
        Words(f": {one.title}."),
    ]
    if one.instead:
        runs.append(Words(f" Within reach: {one.instead} (bass first)."))
    block = paragraph(runs, _PAPER.measure - _INDENT)
    number = Words(str(one.number or "–"), face="italic", ink=mark)
    return replace(_moved(block, _INDENT, Text(0, CAP * 11, Line((number,)))), above=_LOOSE)


def _moved(block: Block, x: float, beside: Text) -> Block:
    """The block further right, with a mark before it."""
    return replace(block, marks=(beside, *(shifted(mark, x, 0) for mark in block.marks)))


def _on_paper(system: str) -> str:
    """The drawing with printer's inks in place of the page's variables."""
    text = str(system)
    for ink, variable in PAGE_INKS.items():
        text = text.replace(variable, INKS[ink])
    return text.replace("currentColor", INKS["print"])
