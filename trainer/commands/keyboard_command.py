"""`keyboard`: which ports there are, what arrives from them, how late it arrives."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any

import click

from trainer.commands.groups import Group
from trainer.commands.manuals_option import chosen_manuals, manuals_option
from trainer.commands.printing import print_json
from trainer.errors import InputError
from trainer.listening.events import KeyDown, KeyUp, ListeningEvent, Pedal, PortFound, PortLost
from trainer.listening.manuals import Manual, manual_plain

if TYPE_CHECKING:
    from trainer.conducting.way_out import WayOut
    from trainer.listening.assigning import Assignment
    from trainer.listening.keyboard import Keyboard

_NAMES = ("c", "c#", "d", "eb", "e", "f", "f#", "g", "ab", "a", "bb", "b")
_LISTEN_FOR = 4  # beats of the tactus before the first tap that counts


@click.group(cls=Group)
def command() -> None:
    """MIDI keyboards: list them, watch what arrives, measure the delay."""


@command.command("list")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def list_ports(as_json: bool) -> None:
    """List the MIDI ports that can be listened to, with their measured offsets."""
    from trainer.listening.ports import ports
    from trainer.settings import load

    found, measured = ports(), dict(load().latency)
    if as_json:
        rows = [
            {
                "name": port.name,
                "interface": port.interface,
                "address": port.address,
                "offset_ms": round(1000 * measured[port.name], 3)
                if port.name in measured
                else None,
            }
            for port in found
        ]
        print_json({"format": "mittelstimme-ports", "version": 1, "ports": rows})
        return
    if not found:
        print("no MIDI port; the letters of the typing keyboard are keys too (--input typing)")
    for port in found:
        known = measured.get(port.name)
        about = "not calibrated" if known is None else f"offset {1000 * known:+.1f} ms"
        print(f"{port.name}  ({port.interface}, {about})")


@command.command()
@click.argument("port", required=False)
@click.option("--seconds", type=float, metavar="S", help="Stop after so long (else with ctrl-c).")
@manuals_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object at the end.")
def watch(port: str | None, seconds: float | None, manuals: str | None, as_json: bool) -> None:
    """Show what arrives from PORT (else from all there are), through loss and return."""
    from trainer.conducting.way_out import WayOut
    from trainer.settings import load

    assigned = chosen_manuals(manuals, load())
    began = time.monotonic()
    kept: list[dict[str, Any]] = []
    with WayOut() as way:
        for event in _events(port, assigned, seconds, way):
            kept.append(_plain(event, began))
            if not as_json:
                print(_words(event, began), flush=True)
    if as_json:
        print_json({"format": "mittelstimme-keys", "version": 1, "events": kept})
    raise click.exceptions.Exit(way.status)


@command.command()
@click.argument("port", required=False)
@click.option("--tempo", default=80.0, show_default=True, metavar="BPM", help="Beats a minute.")
@click.option("--beats", default=20, show_default=True, metavar="N", help="How many beats.")
@click.option("--dry", is_flag=True, help="Measure only; store nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def calibrate(
    ctx: click.Context, port: str | None, tempo: float, beats: int, dry: bool, as_json: bool
) -> None:
    """Tap one key with the tactus: the constant offset of PORT is measured and kept for it.

    Timing in every later pass on that port is judged with the offset taken off.
    """
    from trainer.conducting.chosen_sound import opening_sound
    from trainer.conducting.way_out import WayOut
    from trainer.practice.calibrate import FEWEST, STEADY, offset, tactus
    from trainer.settings import load, save
    from trainer.sound.track import Click, Track

    _check_tapping(tempo, beats, _LISTEN_FOR + FEWEST)
    settings = load()
    beat = 60.0 / tempo
    name, queue, first = "", SimpleQueue[ListeningEvent](), 0.0
    with WayOut() as way:
        keyboard = _listen(port, (), queue.put, way)
        name = keyboard.name or ""
        output = way.closing("the sound", opening_sound(settings.player))
        output.wait_until_open()
        first = time.monotonic() + 1.0
        counted = tactus(tempo, beats)
        output.play(Track((), tuple(Click(b.start, b.accent) for b in counted)), first)
        print(json.dumps({"first_beat": first, "beat": beat}), file=sys.stderr, flush=True)
        if not as_json:
            print(f"{name}: listen to four beats, then tap one key on each")
        way.only_at_looks()
        told = not as_json and sys.stdout.isatty()
        for number in _beats_counted(first, beat, beats, keyboard, name, way):
            if told:
                print("tap" if number >= _LISTEN_FOR else "listen", number % 4 + 1, flush=True)
    if way.status:
        ctx.exit(way.status)
    taps = [event.time for event in _drained(queue) if isinstance(event, KeyDown)]
    found = offset(taps, first, tempo, beats, _LISTEN_FOR)
    if found.steady and not dry:
        save(settings.with_latency(name, round(found.seconds, 6)))
    if as_json:
        print_json(
            {
                "format": "mittelstimme-offset",
                "version": 1,
                "port": name,
                "offset_ms": round(1000 * found.seconds, 3),
                "deviation_ms": round(1000 * found.deviation, 3),
                "taps": found.taps,
                "stored": found.steady and not dry,
            }
        )
    else:
        print(
            f"offset {1000 * found.seconds:+.1f} ms, ± {1000 * found.deviation:.1f}, "
            f"{found.taps} taps" + ("" if found.steady else "; not steady enough to be kept")
        )
    if not found.steady:
        if not as_json:
            print(f"try again, a little slower: the taps should lie within {1000 * STEADY:.0f} ms")
        ctx.exit(1)


def _check_tapping(tempo: float, beats: int, fewest: int) -> None:
    if not 30 <= tempo <= 200:
        raise InputError(f"--tempo {tempo:g}: nobody taps to that", remedy="choose 30 to 200")
    if beats < fewest:
        raise InputError(f"--beats {beats} is too few", remedy=f"give {fewest} or more")


def _beats_counted(
    first: float, beat: float, beats: int, keyboard: Keyboard, name: str, way: WayOut
) -> Iterator[int]:
    """The number of each beat as it comes, while the keyboard is there."""
    shown = -1
    while (now := time.monotonic()) < first + beats * beat:
        way.look()
        if keyboard.name is None:
            raise InputError(f"{name} is gone", remedy="plug it in and calibrate again")
        number = int((now - first) // beat)
        if number > shown:
            shown = number
            yield number
        time.sleep(0.01)


def _listen(
    port: str | None,
    manuals: Sequence[Assignment],
    put: Callable[[ListeningEvent], None],
    way: WayOut,
) -> Keyboard:
    """A keyboard that is open and hands its events to `put`; InputError if there is none. It says
    where what is told does not fit the keyboards there are."""
    from trainer.listening.keyboard import Keyboard

    keyboard = way.closing("the keyboards", Keyboard(put, wanted=port, manuals=manuals))
    keyboard.settle()
    names = ", ".join(found.name for found in keyboard.ports) or "none"
    if keyboard.name is None:
        why = keyboard.why_none
        raise InputError(why, remedy=f"plug a keyboard in; ports here: {names}")
    if keyboard.complaint:
        click.echo(f"mittelstimme: {keyboard.complaint} (ports here: {names})", err=True)
    return keyboard


def _drained(queue: SimpleQueue[ListeningEvent]) -> Iterator[ListeningEvent]:
    while not queue.empty():
        yield queue.get_nowait()


def _events(
    port: str | None, manuals: Sequence[Assignment], seconds: float | None, way: WayOut
) -> Iterator[ListeningEvent]:
    queue: SimpleQueue[ListeningEvent] = SimpleQueue()
    _listen(port, manuals, queue.put, way)
    ends = None if seconds is None else time.monotonic() + seconds
    way.only_at_looks()
    while ends is None or time.monotonic() < ends:
        yield from _drained(queue)
        way.look()
        time.sleep(0.005)
    yield from _drained(queue)


def _words(event: ListeningEvent, began: float) -> str:
    at = f"{event.time - began:9.3f}  "
    match event:
        case KeyDown(_, key, velocity, manual):
            return f"{at}{_key_name(key):<4} down  key {key}, velocity {velocity}{_told(manual)}"
        case KeyUp(_, key, manual):
            return f"{at}{_key_name(key):<4} up    key {key}{_told(manual)}"
        case Pedal(_, down):
            return f"{at}pedal {'down' if down else 'up'}"
        case PortFound(_, name):
            return f"{at}listening to {name}"
        case PortLost(_, name):
            return f"{at}{name} is gone"
        case _:
            return at


def _told(manual: Manual) -> str:
    return "" if manual is Manual.EVERYTHING else f", {manual.words}"


def _plain(event: ListeningEvent, began: float) -> dict[str, Any]:
    at = {"time": round(event.time - began, 6)}
    match event:
        case KeyDown(_, key, velocity, manual):
            return at | {"down": key, "velocity": velocity} | manual_plain(manual)
        case KeyUp(_, key, manual):
            return at | {"up": key} | manual_plain(manual)
        case Pedal(_, down):
            return at | {"pedal": down}
        case PortFound(_, name):
            return at | {"found": name}
        case PortLost(_, name):
            return at | {"lost": name}
        case _:
            return at


def _key_name(key: int) -> str:
    return f"{_NAMES[key % 12]}{key // 12 - 1}"
