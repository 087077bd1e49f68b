"""The output that sounds in a process of its own, so that no device can hold the program up.

A device asks for samples in a thread of the system's, often in real time, and Python's lock must
not be what it waits for; a driver may stop, wait or fall. All that is theirs stays in the other
process. Here are the requests to it, and what sounds, so that the next one can go on where one
fell.
"""

from __future__ import annotations

import sys
import threading
import time
from dataclasses import replace
from typing import Any

from trainer.apart import Passage, Process
from trainer.errors import InputError
from trainer.sound.requests import (
    Choice,
    KeyOff,
    KeyOn,
    Opened,
    Play,
    Refused,
    Request,
    Stop,
)
from trainer.sound.track import Track

ENTRY = "trainer.sound.serving:serve"
PATIENCE = 6.0  # seconds without a sign of life after which the process is given up
PAUSES = (0.0, 0.5, 2.0, 5.0, 10.0)  # seconds before it is started again, each time that it fell
STEADY = 30.0  # seconds after which a process that fell counts as one that had worked
CLOSES_WITHIN = 1.0  # seconds
_OPENING = "opening the sound"
_SWITCH = 0.001  # seconds


class SoundApart:
    """An `Output`. It opens beside the program: `about` says when, or that it could not.

    Keys may come to the process through `passage` as well, before they are asked for here.
    """

    def __init__(self, choice: Choice, passage: Passage | None = None) -> None:
        self.about = choice.about if choice.silent else _OPENING
        self._choice = choice
        self._handing = () if passage is None else (passage.exit,)
        self._held: dict[int, KeyOn] = {}  # keys down
        self._track: Play | None = None
        self._lock = threading.Lock()  # never held while anything waits
        self._process: Process | None = None
        self._beginning = False
        self._turn = 0  # counts the processes begun, so that none speaks for its successor
        self._began = 0.0
        self._falls = 0
        self._answer: Opened | Refused | None = None
        self._answered = threading.Event()
        self._closed = threading.Event()
        # a key comes in a thread of its own and must not wait there for the views
        sys.setswitchinterval(min(_SWITCH, sys.getswitchinterval()))
        if not choice.silent:
            with self._lock:
                self._begin_beside()

    def key_on(self, key: int, velocity: int = 64, at: float | None = None) -> None:
        at = time.monotonic() if at is None else at
        with self._lock:
            self._held[key] = KeyOn(key, velocity, at)
            self._send(self._held[key])

    def key_off(self, key: int, at: float | None = None) -> None:
        at = time.monotonic() if at is None else at
        with self._lock:
            self._held.pop(key, None)
            self._send(KeyOff(key, at))

    def play(self, track: Track, at: float) -> None:
        request = Play(track.steps, at)
        with self._lock:
            self._track = request
            self._send(self._track)

    def stop(self) -> None:
        with self._lock:
            self._held.clear()
            self._track = None
            self._send(Stop())

    def retune(self, choice: Choice) -> None:
        with self._lock:
            leaving = None
            if self._choice.midi_port != choice.midi_port:
                leaving, self._process = self._process, None
            self._choice = choice
            if self._process is not None:
                self._send(choice)
            elif not choice.silent:
                self._falls = 0
                self._begin_beside()
            self._say()
        if leaving is not None:
            threading.Thread(target=leaving.end, args=(CLOSES_WITHIN,), daemon=True).start()

    def wait_until_open(self, within: float = 5.0) -> None:
        """Wait until it is known whether it can sound, but no longer than `within` seconds.

        Raises InputError for a MIDI instrument that is not there.
        """
        if not self._choice.silent:
            self._answered.wait(within)
        if isinstance(self._answer, Refused) and self._choice.midi_port:
            raise InputError(self._answer.what, remedy=self._answer.remedy)

    def close(self) -> None:
        """Let the releases sound out and end the process: within `CLOSES_WITHIN` seconds."""
        with self._lock:
            self._closed.set()
            process, self._process = self._process, None
        if process is not None:
            process.end(CLOSES_WITHIN)

    def _send(self, request: Request) -> None:
        if self._process is not None:
            self._process.send(request)

    def _begin_beside(self, pause: float = 0.0) -> None:
        """With the lock held: start a process in another thread, unless that is being done; it
        will be given what is chosen by then."""
        if self._beginning:
            return
        self._beginning = True
        self._turn += 1
        self._answer = None
        self._answered.clear()
        threading.Thread(
            target=self._begin, args=(self._turn, pause), daemon=True, name="sound"
        ).start()

    def _begin(self, turn: int, pause: float) -> None:
        if self._closed.wait(pause):
            return
        try:
            process = Process(
                ENTRY,
                lambda message: self._told(turn, message),
                lambda why: self._lost(turn, why),
                patience=PATIENCE,
                handing=self._handing,
            )
        except OSError as error:
            self._lost(turn, str(error))
            return
        with self._lock:
            wanted = turn == self._turn and not self._closed.is_set()
            if wanted:
                self._beginning = False
                self._process, self._began = process, time.monotonic()
                self._hand_over()
        if not wanted:
            process.end(CLOSES_WITHIN)

    def _hand_over(self) -> None:
        """All that a new process has to know."""
        self._send(self._choice)
        for struck in self._held.values():
            self._send(struck)
        if self._track is not None:
            self._send(self._track)

    def _told(self, turn: int, message: Any) -> None:
        with self._lock:
            if turn != self._turn:
                return
            self._answer = message
            if isinstance(message, Refused):
                self._process = None  # it ends by itself
            self._say()
            self._answered.set()

    def _lost(self, turn: int, why: str) -> None:
        with self._lock:
            refused = isinstance(self._answer, Refused)
            if turn != self._turn or refused or self._closed.is_set():
                return
            self._process, self._beginning = None, False
            steady = time.monotonic() - self._began > STEADY
            self._falls = 1 if steady else self._falls + 1
            if self._falls > len(PAUSES):
                self.about = f"the sound has stopped ({why})"
                self._answered.set()
            else:
                self.about = f"the sound has stopped ({why}): it is being started again"
                self._begin_beside(PAUSES[self._falls - 1])

    def _say(self) -> None:
        answer = self._answer
        if self._choice.silent:
            self.about = self._choice.about
        elif answer is None:
            self.about = _OPENING
        elif isinstance(answer, Refused):
            wrong = InputError(answer.what, remedy=answer.remedy)
            self.about = str(wrong) if self._choice.midi_port else f"{wrong}: playing silently"
        else:
            self.about = replace(self._choice, midi_port=answer.name).about
