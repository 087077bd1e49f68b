"""How messages lie in a pipe: a head with kind and length, then the message."""

from __future__ import annotations

import json
import pickle
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

MESSAGE, BEAT, LAST_WORDS = range(3)  # kinds of frame: a message, a sign of life, why it ends
LARGEST = 1 << 28  # bytes of one message; a longer one can only be rubbish

_HEAD = struct.Struct("<BI")


@dataclass(frozen=True, slots=True)
class Wire:
    """How a message becomes bytes and is read again.

    Who sends pickles can have anything done: JSON is for processes that handle foreign files.
    """

    name: str
    packed: Callable[[Any], bytes]
    unpacked: Callable[[bytes], Any]


def _json(message: Any) -> bytes:
    return json.dumps(message).encode()


PICKLED = Wire("PICKLED", pickle.dumps, pickle.loads)
JSON = Wire("JSON", _json, json.loads)
WIRES = {wire.name: wire for wire in (PICKLED, JSON)}


def framed(kind: int, data: bytes) -> bytes:
    """One frame, ready to be written. Raises ValueError for more than `LARGEST` bytes."""
    if len(data) > LARGEST:
        raise ValueError(f"a message of {len(data)} bytes")
    return _HEAD.pack(kind, len(data)) + data


def frames(pipe: BinaryIO) -> Iterator[tuple[int, bytes]]:
    """The frames of a pipe, each as kind and content, until it ends or holds rubbish."""
    while len(head := pipe.read(_HEAD.size)) == _HEAD.size:
        kind, length = _HEAD.unpack(head)
        if length > LARGEST:
            return
        data = pipe.read(length)
        if len(data) < length:
            return
        yield kind, data


def whole_frames(so_far: bytearray) -> Iterator[tuple[int, bytes]]:
    """The frames that have come whole; what is left in `so_far` is the beginning of another."""
    while len(so_far) >= _HEAD.size:
        kind, length = _HEAD.unpack_from(so_far)
        end = _HEAD.size + length
        if len(so_far) < end:
            return
        data = bytes(so_far[_HEAD.size : end])
        del so_far[:end]
        yield kind, data
