"""A listener that does nothing else, for comparison: what came at the port of NAME, and when.

    python neutral_ear.py NAME          `ready`, then for every line on standard input, a number of
                                        messages, all so far as soon as there are as many, or as
                                        nothing more has come for a while: one JSON list of
                                        [seconds, bytes]

It listens by a callback, otherwise than the program does: in this process nothing holds Python's
lock.
"""

import json
import sys
import time

import rtmidi

LONG = 10.0  # seconds without a message; one takes a few periods of the server's


def main(name: str) -> None:
    heard: list[tuple[float, list[int]]] = []
    ear = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="neutral-ear")
    ear.set_callback(lambda message, _: heard.append((time.monotonic(), message[0])))
    number = next(n for n, port in enumerate(ear.get_ports()) if port.startswith(name))
    ear.open_port(number)
    print("ready", flush=True)
    for line in sys.stdin:
        so_far, since = len(heard), time.monotonic()
        while len(heard) < int(line) and time.monotonic() - since < LONG:
            time.sleep(0.01)
            if len(heard) > so_far:
                so_far, since = len(heard), time.monotonic()
        print(json.dumps(heard), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
