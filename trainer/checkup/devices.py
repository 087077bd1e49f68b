"""What is plugged in: keyboards, sound, a display, a terminal.

What asks a driver or a server does it in a process of its own, which may hang or fall.
"""

from __future__ import annotations

import os
import shutil
import sys
import threading
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from trainer.apart import Line, Process
from trainer.checkup.finding import Finding, State
from trainer.display import DRIVER, has_display, open_display
from trainer.errors import InputError, SettingsError

if TYPE_CHECKING:
    from trainer.listening.chosen_ports import Port

ANSWERS_WITHIN = 15.0  # seconds that a device has to answer
SCREEN = "trainer.checkup.devices:serve_screen"
_SERVERS: Mapping[str, str] = {
    "ALSA": "on Linux load the kernel's sequencer (`modprobe snd-seq`) to hear USB keyboards",
    "JACK": "start its server if you play through one; else nothing is missing",
}


def midi() -> tuple[Finding, ...]:
    """The library, its ways into the machine, and the keyboards."""
    from trainer.listening.ports import found

    looked = found()
    findings = [Finding("MIDI", "good", looked.library)]
    answering = [title for title, why in looked.interfaces if not why]
    for title, why in looked.interfaces:
        if not why:
            findings.append(Finding(title, "good", "answers"))
            continue
        # one way is enough: where another answers, this one is not missed
        state: State = "without" if answering or title == "JACK" else "wrong"
        remedy = _SERVERS.get(title, "plug the keyboard in and look again")
        findings.append(Finding(title, state, f"does not answer ({why})", remedy))
    names = [f"{port.name} ({port.interface})" for port in looked.ports]
    if names:
        findings.append(Finding("keyboards", "good", ", ".join(names)))
    else:
        remedy = "plug one in and look again; the letters of the typing keyboard are keys too"
        findings.append(Finding("keyboards", "without", "none found", remedy))
    findings += _manuals(looked.ports)
    if "usual" in looked.hurries:
        said = "is woken like any other program: keys may sound late while the machine is busy"
        remedy = "on Linux give yourself real-time priority (rtprio in /etc/security/limits.d)"
        findings.append(Finding("listening", "without", said, remedy))
    elif looked.hurries:
        findings.append(Finding("listening", "good", "is woken before other programs"))
    return tuple(findings)


def _manuals(ports: Sequence[Port]) -> list[Finding]:
    """What the player has told the keyboards to play, where anything is told."""
    from trainer.listening.assigning import assignments, complaint
    from trainer.settings import load, settings_path

    try:
        manuals = assignments(load().player.manuals) if settings_path().exists() else ()
    except SettingsError:  # told where the settings are looked at
        return []
    if not manuals:
        return []
    wrong = complaint(manuals, ports)
    if wrong:
        remedy = "plug it in, or say anew what plays what: `mittelstimme settings set manuals`"
        return [Finding("manuals", "wrong", wrong, remedy)]
    return [Finding("manuals", "good", ", ".join(map(str, manuals)))]


def sound() -> tuple[Finding, ...]:
    """Opens what the player has chosen, without sounding it."""
    from trainer.conducting.chosen_sound import choice
    from trainer.settings import load, new_player, settings_path
    from trainer.sound.apart import ENTRY
    from trainer.sound.requests import Refused
    from trainer.sound.tone import STOPS
    from trainer.sound.tuning import TEMPERAMENTS

    player = load().player if settings_path().exists() else new_player("player")
    chosen = choice(player)
    stops = f"stops {', '.join(STOPS)}; {len(TEMPERAMENTS)} temperaments; chosen {chosen.about}"
    voices = Finding("stops", "good", stops)
    if chosen.silent:
        remedy = "`mittelstimme settings set sound organ` to hear yourself"
        return voices, Finding("sound", "without", "switched off in the settings", remedy)
    answer = _asked(ENTRY, chosen)
    if isinstance(answer, Refused) and chosen.midi_port:
        remedy = "plug it in, or `mittelstimme settings set midi_out ''`; or `practice --silent`"
        return voices, Finding("sound", "wrong", answer.what, remedy)
    if isinstance(answer, Refused):
        remedy = answer.remedy or "plug in loudspeakers or headphones; practice goes on silently"
        return voices, Finding("sound", "without", answer.what, remedy)
    if isinstance(answer, str):
        remedy = "another program may hold the device; practice goes on silently"
        return voices, Finding("sound", "wrong", answer, remedy)
    return voices, Finding("sound", "good", "the device opens")


def screen() -> tuple[Finding, ...]:
    """Whether a window can be seen here."""
    terminal = "the terminal view is used; `practice --view window` needs a display"
    if not has_display() and not os.environ.get(DRIVER):
        return (Finding("display", "without", "none here", terminal),)
    answer = _asked(SCREEN, None)
    if not isinstance(answer, dict):
        return (Finding("display", "wrong", f"no window can be opened ({answer})", terminal),)
    driver = answer["driver"]
    sizes = ", ".join(f"{wide}x{high}" for wide, high in answer["sizes"])
    return (Finding("display", "good", f"{driver} {sizes}".strip()),)


def serve_screen(line: Line) -> None:
    """The life of the process that asks for the displays."""
    next(iter(line), None)
    try:
        open_display()
    except InputError as error:
        line.tell(error.what)
        return
    import pygame

    line.tell({"driver": pygame.display.get_driver(), "sizes": pygame.display.get_desktop_sizes()})


def terminal() -> tuple[Finding, ...]:
    """What the terminal view has to draw with."""
    encoding = sys.stdout.encoding or "ascii"
    size = shutil.get_terminal_size()
    said = f"{encoding}, {size.columns}x{size.lines}" if sys.stdout.isatty() else encoding
    try:
        "♭♯→·".encode(encoding)
    except (UnicodeError, LookupError):
        remedy = "set the terminal to UTF-8, or set PYTHONUTF8=1: signs are shown as ? now"
        return (Finding("terminal", "without", said, remedy),)
    return (Finding("terminal", "good", said),)


def _asked(entry: str, question: Any) -> Any:
    """What a process of ours answers; a text, one line, where it does not."""
    answers: list[Any] = []
    answered = threading.Event()

    def told(message: Any) -> None:
        answers.append(message)
        answered.set()

    process = Process(entry, told, told, patience=2 * ANSWERS_WITHIN)
    try:
        process.send(question)
        answered.wait(ANSWERS_WITHIN)
        return answers[0] if answers else f"no answer within {ANSWERS_WITHIN:g} s"
    finally:
        process.end(0.5)
