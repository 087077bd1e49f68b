"""Processes that behave well or badly, as the tests ask: each function is the work of one."""

from __future__ import annotations

import os
import signal
import threading
import time

from trainer.apart import Line


def forever() -> None:
    while True:
        time.sleep(60)


def echo(line: Line) -> None:
    for message in line:
        line.tell(message)


def deaf(line: Line) -> None:
    """Ready, then reads nothing, answers nothing, and takes no notice of being asked to end."""
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    line.tell("ready")
    forever()


def falls(line: Line) -> None:
    for _ in line:
        os._exit(3)


def breaks(line: Line) -> None:
    raise ValueError("the bellows\nleak")


def rubbish(line: Line) -> None:
    line._out.write(b"\x00\xff\xff\xff\xff" + b"x" * 100)
    line._out.flush()
    forever()


def talks_to_stdout(line: Line) -> None:
    print("a library that prints", flush=True)
    os.write(1, b"and one that does not ask Python\n")
    echo(line)


def breathes(line: Line) -> None:
    """Gives signs of life until it is told to stop, then stays without a word."""
    silent = threading.Event()
    line.listen(lambda message: silent.set(), lambda: os._exit(0))
    line.tell("ready")
    while not silent.wait(0.02):
        line.beat()
    forever()


def signals(line: Line) -> None:
    """Tells whether it heeds ctrl-C, and in whose session it is."""
    line.tell((signal.getsignal(signal.SIGINT) == signal.SIG_IGN, os.getsid(0) == os.getpid()))
    echo(line)
