"""The process that sounds: what it is asked first says whether by the audio device or by an
instrument on a MIDI port, and it stays with that."""

from __future__ import annotations

import gc
import time
from queue import Empty, SimpleQueue

from trainer.apart import Inbox, Line
from trainer.errors import InputError
from trainer.sound.requests import Choice, Opened, Refused, Request

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

    engine, inbox = Engine(choice), Inbox(line)
    try:
        device = Device(engine, inbox.taken)
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
    line.tell(Opened(name))
    requests: SimpleQueue[Request | None] = SimpleQueue()
    line.listen(requests.put, lambda: requests.put(None))
    requests.put(choice)
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
        instrument.do(request, time.monotonic())
    instrument.close()
