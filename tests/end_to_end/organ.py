"""An instrument of its own, in a process of its own: plays MIDI bytes into a JACK port on time.

    python organ.py NAME        then, on standard input, one JSON list of [seconds, bytes] a line,
                                seconds on the clock of time.monotonic

It answers `ready` when its port is there and `played` after each line, and leaves, port and all,
when standard input ends.
"""

import json
import sys
import time

import rtmidi


def main(name: str) -> None:
    out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=name)
    out.open_virtual_port("keys")
    print("ready", flush=True)
    for line in sys.stdin:
        for at, message in json.loads(line):
            while (wait := at - time.monotonic()) > 0:
                time.sleep(wait - 0.002 if wait > 0.004 else 0.0)
            out.send_message(message)
        print("played", flush=True)
    out.close_port()


if __name__ == "__main__":
    main(sys.argv[1])
