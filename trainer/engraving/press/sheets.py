"""What is printed, as blocks one below another, laid on pages."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from trainer.engraving.press.music import Picture
from trainer.engraving.press.setting import CAP, INK, LEADING, Line, Words, lines


@dataclass(frozen=True, slots=True)
class Text:
    """A line with its baseline beginning at (x, y)."""

    x: float
    y: float
    line: Line


@dataclass(frozen=True, slots=True)
class Music:
    """A picture `width` wide with its upper left corner at (x, y)."""

    x: float
    y: float
    width: float
    picture: Picture

    @property
    def height(self) -> float:
        return self.width * self.picture.height / self.picture.width


@dataclass(frozen=True, slots=True)
class Rule:
    """A thin line across, `width` wide."""

    x: float
    y: float
    width: float
    ink: str = INK


@dataclass(frozen=True, slots=True)
class Place:
    """A place that links lead to by its `name`; with a `title` it stands in the outline of the
    document, at a `level` from 1."""

    y: float
    name: str
    title: str = ""
    level: int = 1


Mark = Text | Music | Rule | Place


@dataclass(frozen=True, slots=True)
class Block:
    """What stays together on a page. Of `below` of one block and `above` of the next the greater
    is left free; at the head of a page nothing is."""

    height: float
    marks: tuple[Mark, ...]
    above: float = 0.0
    below: float = 0.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """The paper and its margins."""

    width: float
    height: float
    side: float
    top: float
    bottom: float

    @property
    def measure(self) -> float:
        """The width of the lines."""
        return self.width - 2 * self.side

    @property
    def room(self) -> float:
        """The height of what is printed."""
        return self.height - self.top - self.bottom


@dataclass(frozen=True, slots=True)
class Section:
    """Blocks that begin on a new page, in so many columns that are `gutter` apart."""

    blocks: tuple[Block, ...]
    columns: int = 1
    gutter: float = 0.0

    def measure(self, sheet: Sheet) -> float:
        """The width of one column."""
        return (sheet.measure - (self.columns - 1) * self.gutter) / self.columns


@dataclass(frozen=True, slots=True)
class Page:
    """Marks at their places on the paper."""

    marks: tuple[Mark, ...]


def paged(sections: Iterable[Section], sheet: Sheet) -> tuple[Page, ...]:
    """The sections on pages. A block higher than a page stands on one alone and hangs over."""
    return tuple(page for section in sections for page in _pages(section, sheet))


def pages_of(pages: Sequence[Page]) -> dict[str, int]:
    """On which page, counted from 1, every named place is."""
    return {
        mark.name: number
        for number, page in enumerate(pages, 1)
        for mark in page.marks
        if isinstance(mark, Place)
    }


def stacked(blocks: Sequence[Block]) -> Block:
    """Blocks that stay together as one."""
    marks: list[Mark] = []
    y = 0.0
    for n, block in enumerate(blocks):
        y += max(blocks[n - 1].below, block.above) if n else 0.0
        marks += [shifted(mark, 0, y) for mark in block.marks]
        y += block.height
    return Block(y, tuple(marks), blocks[0].above, blocks[-1].below)


def paragraph(
    runs: Sequence[Words], measure: float, *, justified: bool = False, leading: float = LEADING
) -> Block:
    """Lines below one another, from the capitals of the first to the baseline of the last."""
    set_lines = lines(runs, measure, justified=justified)
    marks = []
    y = 0.0
    for n, line in enumerate(set_lines):
        size = max(run.size for run in line.runs)
        y += size * (CAP + (leading if n else 0))
        marks.append(Text(0, y, line))
    return Block(y, tuple(marks))


def centred(block: Block, measure: float) -> Block:
    """The same with every line in the middle."""
    return replace(block, marks=tuple(_in_the_middle(mark, measure) for mark in block.marks))


def _in_the_middle(mark: Mark, measure: float) -> Mark:
    if isinstance(mark, Text):
        return replace(mark, x=(measure - mark.line.width) / 2)
    return mark


def shifted(mark: Mark, x: float, y: float) -> Mark:
    """The mark further right and down."""
    if isinstance(mark, Place):
        return replace(mark, y=mark.y + y)
    return replace(mark, x=mark.x + x, y=mark.y + y)


@dataclass
class _Filling:
    """A page being filled: the column, where it is filled to, what must be left free there."""

    column: int = 0
    y: float = 0.0
    below: float | None = None  # None at the head of a column
    marks: list[Mark] = field(default_factory=list)


def _pages(section: Section, sheet: Sheet) -> Iterator[Page]:
    step = section.measure(sheet) + section.gutter
    now = _Filling()
    for block in section.blocks:
        gap = 0.0 if now.below is None else max(now.below, block.above)
        if now.below is not None and now.y + gap + block.height > sheet.room + 0.01:
            gap = 0.0
            if now.column + 1 < section.columns:
                now = _Filling(now.column + 1, marks=now.marks)
            else:
                yield Page(tuple(now.marks))
                now = _Filling()
        x, y = sheet.side + now.column * step, sheet.top + now.y + gap
        now.marks += [shifted(mark, x, y) for mark in block.marks]
        now.y, now.below = now.y + gap + block.height, block.below
    yield Page(tuple(now.marks))
