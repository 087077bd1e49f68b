"""All examinations, in the order in which they are told."""

from __future__ import annotations

from trainer.checkup import devices, own_files, program
from trainer.checkup.finding import Examination

EXAMINATIONS: dict[str, Examination] = {
    "program": program.program,
    "libraries": program.libraries,
    "fonts": program.fonts,
    "exercises": program.exercises,
    "settings": own_files.settings,
    "folders": own_files.home,
    "log": own_files.log,
    "MIDI": devices.midi,
    "sound": devices.sound,
    "display": devices.screen,
    "terminal": devices.terminal,
}
