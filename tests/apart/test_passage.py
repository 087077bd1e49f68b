"""From one process to another, past the program."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from queue import SimpleQueue

import pytest

from trainer.apart import passage as open_passage
from trainer.apart.passage import Passage, Row, hear, send, taken

if os.name != "posix":
    pytest.skip("handles are handed on by POSIX systems only", allow_module_level=True)


@pytest.fixture()
def passage() -> Iterator[Passage]:
    found = open_passage()
    assert found is not None
    yield found
    found.close()


def test_what_is_sent_comes_out_in_order_and_once(passage: Passage) -> None:
    rows: list[Row] = [(n / 7, n % 2, n % 128, 127 - n % 128) for n in range(1000)]
    assert all(send(passage.entrance, row) for row in rows)
    assert taken(passage.exit) == rows and taken(passage.exit) == []


def test_where_nobody_takes_anything_out_it_is_full_and_says_so(passage: Passage) -> None:
    sent = 0
    while send(passage.entrance, (0.0, 1, 60, 64)):
        sent += 1
    assert sent > 1000
    assert len(taken(passage.exit)) == min(sent, 4096)
    assert send(passage.entrance, (0.0, 1, 60, 64))


def test_a_passage_that_is_closed_takes_nothing() -> None:
    found = open_passage()
    assert found is not None
    found.close()
    assert not send(found.entrance, (0.0, 1, 60, 64))


def test_rows_of_several_processes_are_never_torn(passage: Passage) -> None:
    code = (
        "import sys; from trainer.apart.passage import send\n"
        "who, entrance = int(sys.argv[1]), int(sys.argv[2])\n"
        "n = 0\n"
        "while n < 5000: n += send(entrance, (n, who, n % 256, who))"
    )
    heard: list[Row] = []
    over = threading.Event()

    def told(row: Row) -> None:
        heard.append(row)
        if len(heard) == 15_000:
            over.set()

    threading.Thread(target=hear, args=(passage.exit, told), daemon=True).start()
    senders = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(who), str(passage.entrance)],
            pass_fds=(passage.entrance,),
        )
        for who in range(3)
    ]
    assert [sender.wait(60) for sender in senders] == [0, 0, 0]
    assert over.wait(60)
    for who in range(3):
        mine = [row for row in heard if row[1] == who]
        assert mine == [(float(n), who, n % 256, who) for n in range(5000)]


def test_whoever_hears_goes_when_the_passage_is_closed_and_touches_no_other_handle() -> None:
    found = open_passage()
    assert found is not None
    heard: SimpleQueue[Row] = SimpleQueue()
    hearing = threading.Thread(target=hear, args=(found.exit, heard.put), daemon=True)
    hearing.start()
    assert send(found.entrance, (1.0, 1, 60, 64)) and heard.get(timeout=60) == (1.0, 1, 60, 64)
    found.close()
    other = open_passage()  # gets the same numbers
    assert other is not None and (other.entrance, other.exit) == (found.entrance, found.exit)
    hearing.join(60)
    assert not hearing.is_alive()
    assert send(other.entrance, (2.0, 0, 60, 64)) and taken(other.exit) == [(2.0, 0, 60, 64)]
    other.close()
