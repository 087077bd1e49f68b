"""An instrument of its own, in a process of its own: plays MIDI bytes into JACK ports on time.

    python organ.py NAME [PORT ...]     then, on standard input, one JSON list a line of
                                        [seconds, bytes] or [seconds, bytes, number of the port],
                                        seconds on the clock of time.monotonic

It answers `ready` when its ports are there and `played` after each line, and leaves, ports and
all, when standard input ends. More than one port are as many clients (RtMidi), NAME and NAME-01 ...
At the word `again` its ports go and are back at once, under the same names; it answers `ready`.
"""

import json
import sys
import time
from collections.abc import Sequence
from typing import Any

import rtmidi


def opened(name: str, ports: Sequence[str]) -> list[Any]:
    outs = []
    for port in ports or ("keys",):
        outs.append(rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=name))
        outs[-1].open_virtual_port(port)
    print("ready", flush=True)
    return outs


def main(name: str, *ports: str) -> None:
    outs = opened(name, ports)
    for line in sys.stdin:
        if line.strip() == "again":
            for out in outs:
                out.close_port()
                out.delete()
            outs = opened(name, ports)
            continue
        for at, message, *number in json.loads(line):
            while (wait := at - time.monotonic()) > 0:
                time.sleep(wait)
            outs[number[0] if number else 0].send_message(message)
        print("played", flush=True)
    for out in outs:
        out.close_port()


if __name__ == "__main__":
    main(*sys.argv[1:])
