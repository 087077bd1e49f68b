"""The rows that lie on the pages of a SQLite file, page by page, whatever the database says.

A database that finds one thing amiss reads no further; what lies on the other pages is whole all
the same. So no tree is followed here: every page is looked at for itself, in the file and in its
write-ahead log, and what its cells hold is handed out. Free pages are passed over.

The format is SQLite's own: https://www.sqlite.org/fileformat2.html
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO, Literal

from trainer.files import opened

Value = None | int | float | str | bytes
Order = Literal["<", ">"]  # of the bytes in a number
Kind = Literal["table", "index"]  # an index, or a table without numbers of rows, which looks alike

_MAGIC = b"SQLite format 3\0"
_USUAL = 4096  # bytes of a page, where the head of the file does not say
_TABLE_LEAF, _INDEX_LEAF, _INDEX_INTERIOR, _TABLE_INTERIOR = 13, 10, 2, 5
_MOST = 64 * 1024 * 1024  # bytes of a row
_COLUMNS = 64  # more than any table of ours has


@dataclass(frozen=True, slots=True)
class Row:
    """What one cell holds. `number` is the row's own (0 in an index); of a text that is not
    Unicode the bytes; of a row that is cut off what stands before the cut, then None."""

    kind: Kind
    number: int
    values: tuple[Value, ...]


def rows(path: Path) -> Iterator[Row]:
    """Everything the pages of a database hold, the newest state of a page before older ones.

    Raises OSError where the file itself cannot be read.
    """
    with opened(path) as main:
        head = main.read(100)
        size, usable = _sizes(head)
        main.seek(0, 2)
        count = -(-main.tell() // size)
        ahead = _ahead(Path(f"{path}-wal"), size)
        source = _Source(main, size, usable, count, ahead)
        free = _free(source)
        for number in range(1, max(count, max(ahead, default=0)) + 1):
            if number not in free:
                for page in source.states(number):
                    yield from _rows(source, page, 100 if number == 1 else 0)


def _sizes(head: bytes) -> tuple[int, int]:
    """Bytes of a page, and how many of them are used."""
    if len(head) < 100:
        return _USUAL, _USUAL
    size = int.from_bytes(head[16:18], "big")
    size = 65536 if size == 1 else size
    if not head.startswith(_MAGIC) or size < 512 or size & (size - 1):
        return _USUAL, _USUAL
    kept = head[20]
    return size, size - kept if size - kept >= 480 and kept <= 32 else size


@dataclass(frozen=True, slots=True)
class _Source:
    """Pages of a file of `count` pages; `ahead` are those of the write-ahead log, newest first."""

    main: BinaryIO
    size: int
    usable: int
    count: int
    ahead: dict[int, list[bytes]]

    def states(self, number: int) -> list[bytes]:
        """The page as it is; where its newest state may be damaged, older ones behind it."""
        newer = self.ahead.get(number, [])
        if newer and newer[-1] is not _OLDER:
            return newer
        states = [page for page in newer if page is not _OLDER]
        here = self.stored(number)
        return states if not here or here in states else [*states, here]

    def stored(self, number: int) -> bytes:
        """The page in the file, empty where there is none; the last may be cut off."""
        if not 1 <= number <= self.count:
            return b""
        self.main.seek((number - 1) * self.size)
        page = self.main.read(self.size)
        return page.ljust(self.size, b"\0") if page else b""


_OLDER = b"older"  # in `ahead`: what the file itself holds of this page counts too


# ---- the write-ahead log --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Frame:
    """A page in a write-ahead log; the database reads what is `committed`."""

    number: int
    page: bytes
    committed: bool


def ahead_is_broken(path: Path) -> bool:
    """Whether the write-ahead log of a database is damaged before its end."""
    with opened(path) as main:
        size, _ = _sizes(main.read(100))
    return _frames(Path(f"{path}-wal"), size)[1]


def _ahead(path: Path, size: int) -> dict[int, list[bytes]]:
    """The pages of a write-ahead log, newest first.

    The database reads it up to the first frame that is damaged. Those behind it are whole each
    for itself, as every checksum goes on from the one stored before; they count as well, and so
    do then the older states that the database would see.
    """
    frames, broken = _frames(path, size)
    newest: dict[int, bytes] = {}
    seen: dict[int, bytes] = {}
    for frame in frames:
        if broken or frame.committed:
            newest[frame.number] = frame.page
        if frame.committed:
            seen[frame.number] = frame.page
    if not broken:
        return {number: [page] for number, page in newest.items()}
    return {
        number: [*dict.fromkeys((page, seen.get(number, page))), _OLDER]
        for number, page in newest.items()
    }


def _frames(path: Path, size: int) -> tuple[list[_Frame], bool]:
    """The frames of a write-ahead log that are whole, and whether any between them is not."""
    try:
        with opened(path) as file:
            data = file.read()
    except OSError:
        return [], False
    step = 24 + size
    raw = [data[at : at + step] for at in range(32, len(data) - step + 1, step)]
    if not raw:
        return [], False
    whole_head = _is_head(data[:32])
    salts = data[16:24] if whole_head else raw[0][8:16]
    order = _order_of(raw) if not whole_head else ">" if data[3:4] == b"\x83" else "<"
    before = data[24:32]
    frames: list[_Frame] = []
    last = 0  # how many frames the database would read
    ended = broken = not whole_head
    for one in raw:
        before, follows = one[16:24], before
        if one[8:16] != salts or _sum(follows, one[:8] + one[24:], order) != before:
            ended = True  # here, if what follows is only what an older round has left
            continue
        broken = broken or ended
        number, pages = struct.unpack_from(">II", one)
        frames.append(_Frame(number, one[24:], False))
        if pages and not broken:
            last = len(frames)
    return [replace(one, committed=at < last) for at, one in enumerate(frames)], broken


def _is_head(head: bytes) -> bool:
    order: Order = ">" if head[3:4] == b"\x83" else "<"
    return head[:3] == b"\x37\x7f\x06" and _sum(bytes(8), head[:24], order) == head[24:32]


def _order_of(frames: list[bytes]) -> Order:
    """In which order of bytes the sums of a log without its head were made."""
    first, second = frames[0], frames[min(1, len(frames) - 1)]
    big = _sum(first[16:24], second[:8] + second[24:], ">") == second[16:24]
    return ">" if big else "<"


def _sum(before: bytes, data: bytes, order: Order) -> bytes:
    """The checksum of a write-ahead log, going on from the one before."""
    one, two = struct.unpack(">II", before)
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for at in range(0, len(words), 2):
        one = (one + words[at] + two) & 0xFFFFFFFF
        two = (two + words[at + 1] + one) & 0xFFFFFFFF
    return struct.pack(">II", one, two)


def _free(source: _Source) -> frozenset[int]:
    """The pages nothing is kept on any more; none where the list of them is not to be trusted."""
    head = source.states(1)
    if not head or not head[0].startswith(_MAGIC):
        return frozenset()
    trunk, told = struct.unpack_from(">II", head[0], 32)
    found: set[int] = set()
    while trunk:
        page = next(iter(source.states(trunk)), b"")
        if not page or trunk in found or len(found) > told:
            return frozenset()
        found.add(trunk)
        trunk, leaves = struct.unpack_from(">II", page)
        if leaves > source.usable // 4 - 2:
            return frozenset()
        found.update(struct.unpack_from(f">{leaves}I", page, 8))
    return frozenset(found) if len(found) == told else frozenset()


# ---- a page ---------------------------------------------------------------------------------


def _rows(source: _Source, page: bytes, head: int) -> Iterator[Row]:
    kind = page[head]
    if kind in (_TABLE_LEAF, _INDEX_LEAF, _INDEX_INTERIOR):
        yield from (row for row in _cells(source, page, head, kind) if row is not None)
    elif kind != _TABLE_INTERIOR:
        # Perhaps only the byte that names its kind is damaged: then every cell makes sense.
        for kind in (_TABLE_LEAF, _INDEX_LEAF):
            found = list(_cells(source, page, head, kind))
            if found and None not in found:
                yield from (row for row in found if row is not None)
                return


def _cells(source: _Source, page: bytes, head: int, kind: int) -> Iterator[Row | None]:
    """The rows of a page read as one of that kind; None for a cell that makes no sense."""
    (count,) = struct.unpack_from(">H", page, head + 3)
    first = head + (12 if kind == _INDEX_INTERIOR else 8)
    for place in range(first, min(first + 2 * count, len(page) - 1), 2):
        (at,) = struct.unpack_from(">H", page, place)
        try:
            yield _cell(source, page, at, kind) if at >= first else None
        except (IndexError, ValueError, struct.error):
            yield None


def _cell(source: _Source, page: bytes, at: int, kind: int) -> Row | None:
    if kind == _INDEX_INTERIOR:
        at += 4
    size, at = _varint(page, at)
    number = 0
    if kind == _TABLE_LEAF:
        number, at = _varint(page, at)
        number -= number >> 63 << 64
    if not 2 <= size <= _MOST:
        return None
    values = _values(_payload(source, page, at, size, kind))
    return (
        None if values is None else Row("table" if kind == _TABLE_LEAF else "index", number, values)
    )


def _payload(source: _Source, page: bytes, at: int, size: int, kind: int) -> bytes:
    """The bytes of a row, with those on the pages it runs over to, as far as they can be found."""
    usable = source.usable
    most = usable - 35 if kind == _TABLE_LEAF else (usable - 12) * 64 // 255 - 23
    if size <= most:
        return page[at : at + size]
    least = (usable - 12) * 32 // 255 - 23
    here = least + (size - least) % (usable - 4)
    here = here if here <= most else least
    parts, left = [page[at : at + here]], size - here
    (following,) = struct.unpack_from(">I", page, at + here)
    for _ in range(-(-left // (usable - 4))):
        over = next(iter(source.states(following)), b"")
        if not over:
            break
        parts.append(over[4 : 4 + min(left, usable - 4)])
        left -= len(parts[-1])
        (following,) = struct.unpack_from(">I", over)
    return b"".join(parts)


def _values(payload: bytes) -> tuple[Value, ...] | None:
    """The columns of a row; None where it cannot be a row."""
    end, at = _varint(payload, 0)
    if not at <= end <= len(payload) or end > 9 * _COLUMNS:
        return None
    values: list[Value] = []
    place = end
    while at < end:
        code, at = _varint(payload, at)
        size = _SIZES[code] if code < 12 else (code - 12) // 2
        raw = payload[place : place + size]
        lost = len(raw) < size and (code < 12 or not raw)
        values.append(None if lost else _value(code, raw))
        place += size
    return tuple(values)


_SIZES = (0, 1, 2, 3, 4, 6, 8, 8, 0, 0, 0, 0)  # the last two only where a byte is damaged


def _value(code: int, raw: bytes) -> Value:
    if code >= 12:
        if not code % 2:
            return raw
        try:
            return raw.decode()
        except UnicodeDecodeError:
            return raw
    match code:
        case 0 | 10 | 11:  # SQLite reads the codes it keeps for itself as nothing, too
            return None
        case 7:
            (real,) = struct.unpack(">d", raw)
            return float(real)
        case 8 | 9:
            return code - 8
    return int.from_bytes(raw, "big", signed=True)


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A number of one to nine bytes, and where it ends. Raises IndexError where it is cut off."""
    first = data[at]
    if first < 128:
        return first, at + 1
    value = first & 127
    for place in range(at + 1, at + 8):
        byte = data[place]
        value = value << 7 | byte & 127
        if byte < 128:
            return value, place + 1
    return value << 8 | data[at + 8], at + 9
