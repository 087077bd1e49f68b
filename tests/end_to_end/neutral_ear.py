"""A listener that does nothing else, for comparison: what came at the port of NAME, and when.

    python neutral_ear.py NAME          `ready`, then for every line on standard input all so far,
                                        one JSON list of [seconds, bytes]

It listens by a callback, otherwise than the program does: in this process nothing holds Python's
lock.
"""

import json
import sys
import time

import rtmidi


def main(name: str) -> None:
    heard: list[tuple[float, list[int]]] = []
    ear = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="neutral-ear")
    ear.set_callback(lambda message, _: heard.append((time.monotonic(), message[0])))
    number = next(n for n, port in enumerate(ear.get_ports()) if port.startswith(name))
    ear.open_port(number)
    print("ready", flush=True)
    for _ in sys.stdin:
        print(json.dumps(heard), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
