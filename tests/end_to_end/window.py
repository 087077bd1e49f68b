"""The windows of an X server, and what a window manager asks of them, through Xlib itself."""

from __future__ import annotations

import ctypes
import ctypes.util
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager


class _Message(ctypes.Structure):
    """XClientMessageEvent, padded to the size of XEvent."""

    _fields_ = (
        ("type", ctypes.c_int),
        ("serial", ctypes.c_ulong),
        ("send_event", ctypes.c_int),
        ("display", ctypes.c_void_p),
        ("window", ctypes.c_ulong),
        ("message_type", ctypes.c_ulong),
        ("format", ctypes.c_int),
        ("data", ctypes.c_long * 5),
        ("pad", ctypes.c_long * 24),
    )


_CLIENT_MESSAGE = 33


@contextmanager
def _windows(display: str) -> Iterator[tuple[ctypes.CDLL, ctypes.c_void_p, list[int]]]:
    """Xlib, a display opened with it, and the windows there; what is asked of them is done at the
    end."""
    x = ctypes.CDLL(ctypes.util.find_library("X11") or "libX11.so.6")
    x.XOpenDisplay.restype = ctypes.c_void_p
    for name in ("XInternAtom", "XDefaultRootWindow"):
        getattr(x, name).restype = ctypes.c_ulong
    opened = ctypes.c_void_p(x.XOpenDisplay(display.encode()))
    assert opened.value, f"no display {display}"
    root, ours = ctypes.c_ulong(x.XDefaultRootWindow(opened)), ctypes.c_ulong()
    children, count = ctypes.POINTER(ctypes.c_ulong)(), ctypes.c_uint()
    x.XQueryTree(
        opened, root, ctypes.byref(ours), ctypes.byref(ours),
        ctypes.byref(children), ctypes.byref(count),
    )  # fmt: skip
    try:
        yield x, opened, [children[index] for index in range(count.value)]
        x.XSync(opened, 0)
    finally:
        x.XCloseDisplay(opened)


def ask_to_close(display: str) -> int:
    """Ask every window of a display to close, as a click on its button does (ICCCM 4.2.8.1,
    WM_DELETE_WINDOW); how many there are."""
    with _windows(display) as (x, opened, windows):
        protocols = x.XInternAtom(opened, b"WM_PROTOCOLS", 0)
        delete = x.XInternAtom(opened, b"WM_DELETE_WINDOW", 0)
        for window in windows:
            message = _Message(
                _CLIENT_MESSAGE, 0, 1, opened.value, window, protocols, 32, (delete, 0)
            )
            x.XSendEvent(opened, ctypes.c_ulong(window), 0, 0, ctypes.byref(message))
        return len(windows)


def press(display: str, *keys: str) -> None:
    """Press keys, named as xdotool does, in whatever window has them."""
    subprocess.run(["xdotool", "key", "--delay", "60", *keys], env={"DISPLAY": display}, check=True)


def resize(display: str, width: int, height: int) -> None:
    """Give every window of a display another size, as a window manager does."""
    with _windows(display) as (x, opened, windows):
        for window in windows:
            x.XResizeWindow(opened, ctypes.c_ulong(window), width, height)
