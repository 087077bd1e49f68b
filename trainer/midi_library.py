"""Which MIDI library this machine has, for listening and for instruments that sound.

python-rtmidi where it can be imported. It has no wheel for the newest Pythons; there PortMidi is
used, which pygame brings along.
"""

from __future__ import annotations

import functools
import os
from typing import Literal

Library = Literal["rtmidi", "portmidi"]


@functools.cache
def library() -> Library:
    """The one in use."""
    try:
        import rtmidi  # noqa: F401
    except ImportError:
        return "portmidi"
    return "rtmidi"


def mido_backends() -> tuple[str, ...]:
    """What mido calls it, once for each way into a machine's MIDI: left to itself mido takes the
    first, whether it answers or not."""
    if library() == "portmidi":
        return ("mido.backends.pygame",)
    import rtmidi

    ways = {
        rtmidi.API_LINUX_ALSA: "LINUX_ALSA",
        rtmidi.API_UNIX_JACK: "UNIX_JACK",
        rtmidi.API_MACOSX_CORE: "MACOSX_CORE",
        rtmidi.API_WINDOWS_MM: "WINDOWS_MM",
    }
    compiled = [ways[api] for api in rtmidi.get_compiled_api() if api in ways]
    return tuple(f"mido.backends.rtmidi/{way}" for way in compiled)


def title() -> str:
    """Its name and version, for people."""
    if library() == "rtmidi":
        import rtmidi

        known = f"{rtmidi.get_rtmidi_version()} (python-rtmidi {rtmidi.version.version})"
        return f"RtMidi {known}"
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")  # it would greet on stdout
    import pygame.version

    return f"PortMidi (pygame {pygame.version.ver})"
