"""How a workbook looks: its words and its music on pages."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from trainer.engraving.press import MM
from trainer.engraving.press.music import Picture
from trainer.engraving.press.setting import CAP, Line, Words
from trainer.engraving.press.sheets import (
    Block,
    Mark,
    Music,
    Page,
    Place,
    Section,
    Sheet,
    Text,
    centred,
    paged,
    pages_of,
    paragraph,
    shifted,
    stacked,
)

_CAUTION = (
    "Stop at the first pain, and ask a teacher or a physician. Pause after twenty-five minutes."
)
_ROW = 0.72 * 11  # points between the rows of the contents
_DOT = 0.55 * 11  # points from dot to dot
_ABOVE_TITLE = 1 / 3.2  # the share of the free height of the title page that is above the title


@dataclass(frozen=True, slots=True)
class Entry:
    """An exercise as the book has it. `key` is empty where the title says it."""

    number: int
    title: str
    key: str
    facts: str
    systems: tuple[Picture, ...]
    solution: tuple[Picture, ...]
    own: bool
    commentary: tuple[str, ...]

    @property
    def here(self) -> str:
        """The name of its place."""
        return f"exercise-{self.number}"

    @property
    def solved(self) -> str:
        """The name of its solution's place."""
        return f"solution-{self.number}"


@dataclass(frozen=True, slots=True)
class Tune:
    """A tune and the numbers of its settings."""

    name: str
    numbers: tuple[int, ...]


def pages(
    title: str,
    subtitle: str,
    entries: Sequence[Entry],
    tunes: Sequence[Tune],
    sheet: Sheet,
    undivided: int,
) -> tuple[Page, ...]:
    """The whole book. A piece of up to `undivided` systems is not divided between pages."""
    known: dict[str, int] = {}
    while True:  # the width of a number may move a line, and with it what comes after
        book = _Book(sheet, undivided, known)
        found = paged(book.sections(title, subtitle, entries, tunes), sheet)
        if pages_of(found) == known:
            return tuple(_numbered(page, n, sheet) for n, page in enumerate(found, 1))
        known = pages_of(found)


def _numbered(page: Page, number: int, sheet: Sheet) -> Page:
    """The number of the page in the outer corner of its foot; the title page has none."""
    if number == 1:
        return page
    words = Line((Words(str(number), 10),))
    x = sheet.width - sheet.side - words.width if number % 2 else sheet.side
    return Page((*page.marks, Text(x, sheet.height - 10 * MM, words)))


class _Book:
    """`known` says on which page every place was when the book was last laid out."""

    def __init__(self, sheet: Sheet, undivided: int, known: dict[str, int]) -> None:
        self._sheet = sheet
        self._undivided = undivided
        self._known = known

    def sections(
        self, title: str, subtitle: str, entries: Sequence[Entry], tunes: Sequence[Tune]
    ) -> Iterator[Section]:
        solved = [entry for entry in entries if entry.solution]
        yield Section((self._title_page(title, subtitle),))
        ends = [("Solutions", "solutions")] if solved else []
        ends += [("Index of tunes", "tunes")] if tunes else []
        yield Section(tuple(self._contents(entries, ends)))
        exercises = (block for entry in entries for block in self._exercise(entry))
        yield Section((self._chapter("Exercises", "exercises"), *exercises))
        if solved:
            solutions = (block for entry in solved for block in self._solution(entry))
            yield Section((self._chapter("Solutions", "solutions"), *solutions))
        if tunes:
            yield self._index(tunes)

    def _page_of(self, place: str) -> str:
        return str(self._known.get(place, 0))

    def _title_page(self, title: str, subtitle: str) -> Block:
        measure = self._sheet.measure
        head = [centred(paragraph([Words(title, 32)], measure), measure)]
        if subtitle:
            line = centred(paragraph([Words(subtitle, 15, "italic")], measure), measure)
            head.append(replace(line, above=10 * MM))
        above = stacked(head)
        below = centred(paragraph([Words(_CAUTION, 9.5)], measure), measure)
        room = self._sheet.room
        free = (room - above.height - below.height) * _ABOVE_TITLE
        marks = [shifted(mark, 0, free) for mark in above.marks]
        marks += [shifted(mark, 0, room - below.height) for mark in below.marks]
        return Block(room, tuple(marks))

    def _chapter(self, words: str, name: str) -> Block:
        block = paragraph([Words(words, 18)], self._sheet.measure)
        return replace(block, marks=(*block.marks, Place(0, name, words)), below=9 * MM)

    def _contents(
        self, entries: Sequence[Entry], ends: Sequence[tuple[str, str]]
    ) -> Iterator[Block]:
        yield self._chapter("Contents", "contents")
        for entry in entries:
            said = [Words(entry.title, to=entry.here)]
            said += [Words(", ", to=entry.here)] if entry.key else []
            said += [Words(entry.key, face="italic", to=entry.here)] if entry.key else []
            yield self._row(str(entry.number), said, entry.here)
        for n, (words, place) in enumerate(ends):
            row = self._row("", [Words(words, to=place)], place)
            yield row if n else replace(row, above=6 * MM)

    def _row(self, number: str, said: Sequence[Words], place: str) -> Block:
        indent, right = 2.8 * 11.0, self._sheet.measure
        counted = Words(number, to=place)
        page = Words(self._page_of(place), to=place)
        block = _led(said, [page], right - indent)
        marks: list[Mark] = [shifted(mark, indent, 0) for mark in block.marks]
        if number:
            marks.append(Text(2.2 * 11 - counted.width, CAP * 11, Line((counted,))))
        return Block(block.height, tuple(marks), _ROW, _ROW)

    def _exercise(self, entry: Entry) -> Iterator[Block]:
        other: list[Words] = []
        if entry.solution:
            said = f"solution on page {self._page_of(entry.solved)}"
            other = [Words(said, 10, "italic", to=entry.solved)]
        head = self._head(entry, entry.here, entry.facts, other)
        yield from self._piece(head, entry.systems, 5 * MM)

    def _solution(self, entry: Entry) -> Iterator[Block]:
        whose = "suggested solution" if entry.own else "one of many: the smoothest by the rules"
        said = f"exercise on page {self._page_of(entry.here)}"
        other = [Words(said, 10, "italic", to=entry.here)]
        head = self._head(entry, entry.solved, whose, other)
        yield from self._piece(head, entry.solution, 4 * MM)
        for words in entry.commentary:
            block = paragraph([Words(words)], self._sheet.measure, justified=True)
            yield replace(block, above=3 * MM, below=3 * MM)

    def _head(self, entry: Entry, name: str, facts: str, other: Sequence[Words]) -> Block:
        measure = self._sheet.measure
        said = f"{entry.number}.  {entry.title}"
        heading = paragraph([Words(said, 13)], measure)
        heading = replace(heading, marks=(*heading.marks, Place(0, name, said, 2)))
        across = sum(run.width for run in other)
        under = paragraph([Words(facts, 10, "italic")], measure - across - 11)
        marks = list(under.marks)
        if other:
            marks.append(Text(measure - across, CAP * 10, Line(tuple(other))))
        return stacked([heading, replace(under, marks=tuple(marks), above=2.4 * MM)])

    def _piece(self, head: Block, systems: Sequence[Picture], gap: float) -> Iterator[Block]:
        """A piece of a few systems is not divided; a long one never leaves its heading alone."""
        drawn = [self._music(system, gap) for system in systems]
        short = len(drawn) <= self._undivided
        together = len(drawn) if short else 2
        first = [replace(head, below=2.5 * MM), replace(drawn[0], above=2.5 * MM)]
        yield replace(stacked([*first, *drawn[1:together]]), above=8 * MM, below=gap)
        yield from drawn[together:]

    def _music(self, picture: Picture, gap: float) -> Block:
        mark = Music(0, 0, self._sheet.measure, picture)
        return Block(mark.height, (mark,), gap, gap)

    def _index(self, tunes: Sequence[Tune]) -> Section:
        section = Section((), columns=2, gutter=10 * MM)
        measure = section.measure(self._sheet)
        rows = []
        for tune in tunes:
            settings: list[Words] = []
            for n, number in enumerate(tune.numbers):
                place = f"exercise-{number}"
                settings += [Words(", ")] if n else []
                settings.append(Words(f"{number} ", to=place))
                settings.append(Words(f"(p. {self._page_of(place)})", 9, "italic", to=place))
            rows.append(
                replace(_led([Words(tune.name)], settings, measure), above=_ROW, below=_ROW)
            )
        return replace(section, blocks=(self._chapter("Index of tunes", "tunes"), *rows))


def _led(said: Sequence[Words], end: Sequence[Words], measure: float) -> Block:
    """Words, and dots that lead the eye from the last of them to the end of the line.

    What is too long for that goes on below, and the end stands on a line of its own if it must.
    """
    behind = paragraph(end, measure)
    last = behind.marks[-1]
    assert isinstance(last, Text)
    wide = sum(run.width for run in end)
    room = measure - wide - 3 * _DOT
    if len(behind.marks) > 1 or room < measure / 4:
        return stacked([paragraph(said, measure), replace(behind, above=_ROW)])
    block = paragraph(said, room)
    foot = block.marks[-1]
    assert isinstance(foot, Text)
    count = int((measure - wide - foot.line.width - 1.5 * _DOT) / _DOT)
    # dots stand below one another on the whole page, counted from the right
    begin = measure - wide - (count + 0.5) * _DOT
    dots = Words(". " * count, wider=_DOT - Words(". ").width)
    ends = Text(begin, foot.y, Line((dots,))), Text(measure - wide, foot.y, last.line)
    return replace(block, marks=(*block.marks, *ends))
