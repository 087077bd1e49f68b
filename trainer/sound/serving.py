"""The process that sounds: what it is asked first says whether by the audio device or by an
instrument on a MIDI port, and it stays with that.

A key of the player's comes by two ways: straight from the process that listens, through a passage,
and from the program, which may be held up. Whichever comes first is done.
"""

from __future__ import annotations

import gc
import threading
import time
from queue import Empty, SimpleQueue

from trainer.apart import Inbox, Line, end_at_last, hurry
from trainer.apart.passage import Row, hear, taken
from trainer.errors import InputError
from trainer.sound.requests import Choice, Opened, Refused, Request
from trainer.sound.touches import Once, as_request

BEAT = 0.25  # seconds between two signs of life


def serve(line: Line) -> None:
    """Sound what is asked for until there is no more to ask; the first request is a Choice."""
    choice = next(iter(line), None)
    if choice is None:
        return
    assert isinstance(choice, Choice)
    if choice.midi_port:
        by_instrument(line, choice)
    else:
        by_device(line, choice)


def by_device(line: Line, choice: Choice) -> None:
    """Through the computer's own audio device. It lives as long as the device asks for blocks."""
    from trainer.sound.device import Device
    from trainer.sound.engine import Engine

    engine, inbox, once = Engine(choice), Inbox(line), Once()
    began = time.monotonic()  # what was sent to nobody before is in the passage still

    def requests() -> list[Request]:
        # what the program asks for first: a Stop ends what was struck before it, not after
        rows = [row for exit in line.handed for row in taken(exit) if row[0] >= began]
        return once.of([*inbox.taken(), *map(as_request, rows)])

    hurry(1)  # the device's thread takes after this one
    try:
        device = Device(engine, requests)
    except OSError as error:
        line.tell(Refused(f"no audio device ({error})"))
        return
    gc.freeze()  # what is loaded stays: no need to look it through while sounding
    line.tell(Opened())
    rendered = -1
    while not inbox.over.wait(BEAT):
        if device.failure is not None:
            raise device.failure
        if engine.mixer.frame != rendered:
            rendered = engine.mixer.frame
            line.beat()
    end_at_last(1.0)
    device.close()


def by_instrument(line: Line, choice: Choice) -> None:
    """Through an instrument on a MIDI port; a port that takes nothing any more is noticed, since
    who sends also gives the signs of life."""
    from trainer.sound.midi_out import MidiInstrument

    try:
        instrument, name = MidiInstrument.open(choice.midi_port)
    except InputError as error:
        line.tell(Refused(error.what, error.remedy))
        return
    began, once = time.monotonic(), Once()
    line.tell(Opened(name))
    requests: SimpleQueue[Request | None] = SimpleQueue()
    line.listen(requests.put, lambda: requests.put(None))
    requests.put(choice)
    hurry(1)

    def struck(row: Row) -> None:
        if row[0] >= began:
            requests.put(as_request(row))

    for exit in line.handed:
        threading.Thread(target=hear, args=(exit, struck), daemon=True, name="keys").start()
    beat = 0.0
    while True:
        now = time.monotonic()
        due = instrument.perform(now)
        if now >= beat:
            line.beat()
            beat = now + BEAT
        try:
            request = requests.get(timeout=max(0.0, min(beat, due or beat) - now))
        except Empty:
            continue
        if request is None:
            break
        if once.new(request):
            instrument.do(request, time.monotonic())
    instrument.close()
