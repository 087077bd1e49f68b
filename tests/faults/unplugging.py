"""Cables pulled and servers killed, again and again: `python -m tests.faults.unplugging`

    python -m tests.faults.unplugging --cables 40 --servers 8

A JACK server of its own; two keyboards, of which one vanishes and comes back, then the server
itself. Each time a key is held. It is printed how long it took until that was noticed and until a
key was heard again, and what is left over of threads, handles and processes; the status is 1 if a
key goes on sounding, a loss is not told, what comes back is not heard, or anything is left over.
"""

from __future__ import annotations

import argparse
import os
import sys
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from tests.end_to_end.jack import NoServerError, Organ, Server
from tests.faults.sound import spread
from trainer.listening.events import KeyDown, KeyUp, PortFound, PortLost
from trainer.listening.keyboard import Keyboard

WITHIN = 60.0  # seconds: what takes longer, on however busy a machine, does not come about


@dataclass
class Times:
    """Seconds from the loss until it was told, and from the return until a key was heard."""

    told: list[float] = field(default_factory=list)
    heard: list[float] = field(default_factory=list)


class Listener:
    """All keyboards listened to, as the program does."""

    def __init__(self) -> None:
        self._events: SimpleQueue[Any] = SimpleQueue()
        self.keyboard = Keyboard(self._events.put)

    def until(self, kind: type, **what: object) -> list[Any]:
        """The events up to one of that kind, the last; raises AssertionError if none comes."""
        found: list[Any] = []
        while True:
            try:
                found.append(self._events.get(timeout=WITHIN))
            except Empty:
                raise AssertionError(f"no {kind.__name__} {what} came after {found}") from None
            last = found[-1]
            if isinstance(last, kind) and all(getattr(last, k) == v for k, v in what.items()):
                return found


def key(organ: Organ, number: int, velocity: int = 70) -> None:
    organ.send([(time.monotonic(), [0x90, number, velocity])])
    organ.wait()


def pulled(times: int, listener: Listener, other: Organ) -> Times:
    """One of two keyboards vanishes with a key held and comes back; the other is played on."""
    measured = Times()
    organ = Organ("swell")
    listener.until(PortFound, name="swell:keys")
    for n in range(times):
        key(organ, 60)
        listener.until(KeyDown, key=60)
        began = time.monotonic()
        organ.kill()
        events = listener.until(PortLost, name="swell:keys")
        measured.told.append(time.monotonic() - began)
        assert any(isinstance(event, KeyUp) and event.key == 60 for event in events), events
        assert events[-1].others and events[-1].since <= events[-1].time
        key(other, 40 + n % 8)
        listener.until(KeyDown, key=40 + n % 8)
        key(other, 40 + n % 8, 0)
        organ = Organ("swell")
        began = time.monotonic()
        listener.until(PortFound, name="swell:keys")
        key(organ, 61)
        listener.until(KeyDown, key=61)
        measured.heard.append(time.monotonic() - began)
        key(organ, 61, 0)
    organ.close()
    listener.until(PortLost, name="swell:keys")
    return measured


def killed(times: int, listener: Listener, server: Server) -> Times:
    """The server is killed with a key held, and another takes its place."""
    measured = Times()
    for _ in range(times):
        organ = Organ("great")
        listener.until(PortFound, name="great:keys")
        key(organ, 60)
        listener.until(KeyDown, key=60)
        began = time.monotonic()
        server.kill()
        events = listener.until(PortLost, name="great:keys")
        measured.told.append(time.monotonic() - began)
        assert any(isinstance(event, KeyUp) and event.key == 60 for event in events), events
        organ.kill()
        server.start()
        began = time.monotonic()
        organ = Organ("great")
        listener.until(PortFound, name="great:keys")
        key(organ, 62)
        listener.until(KeyDown, key=62)
        measured.heard.append(time.monotonic() - began)
        organ.close()
        listener.until(PortLost, name="great:keys")
    return measured


def left() -> tuple[int, int, int]:
    """Threads, handles and child processes of this process; handles and children on Linux only."""
    handles = Path("/proc/self/fd")
    children = Path(f"/proc/self/task/{os.getpid()}/children")
    return (
        threading.active_count(),
        len(list(handles.iterdir())) if handles.exists() else 0,
        len(children.read_text().split()) if children.exists() else 0,
    )


def main(cables: int = 40, servers: int = 8) -> int:
    try:
        server = Server(f"unplugging-{os.getpid()}")
    except NoServerError as error:
        print(f"nothing was tried: {error}")
        return 1
    held = True
    try:
        before = left()
        listener = Listener()
        other = Organ("great")
        listener.until(PortFound, name="great:keys")
        told("cables pulled", pulled(cables, listener, other))
        other.close()
        listener.until(PortLost, name="great:keys")
        told("servers killed", killed(servers, listener, server))
        listener.keyboard.close()
        limit = time.monotonic() + WITHIN
        while left() != before and time.monotonic() < limit:
            time.sleep(0.05)
        held = left() == before
        print(f"  threads, handles, processes before {before}, after {left()}")
    except AssertionError as error:
        print(f"  {error}")
        held = False
    finally:
        server.close()
    print("  HOLDS" if held else "  FAILS")
    return 0 if held else 1


def told(what: str, times: Times) -> None:
    print(f"  {len(times.told)} {what}: told after {spread(times.told)}")
    print(f"    a key was heard again after {spread(times.heard)}", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--cables", type=int, default=40)
    parser.add_argument("--servers", type=int, default=8)
    asked = parser.parse_args()
    sys.exit(main(asked.cables, asked.servers))
