"""Which ports are listened to, and by how many octaves each is moved.

What the player writes: nothing or `all` (every port of the first interface that has one), or names
with commas between them, each a port's name or a part of it. A channel (1 to 16) may follow after
a slash, where one port carries several manuals, and octaves after a blank:

    Great, Swell +1, Pedals -1
    Console/1, Console/2 +1, Console/3 -1

Capitals and small letters are alike. A name that is a port's whole name means that one, else all
that have it in theirs are meant, in the first interface that has any: where the same keyboard
stands in the lists of two, it is not heard twice.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from trainer.listening.interfaces import plain_name

ALL = "all"
MOST = (
    16  # ports listened to at once; the system has no more than 32 queues for all programs (ALSA)
)
_WISH = re.compile(r"(?P<name>.*?)(?:/(?P<channel>\d{1,2}))?(?:\s+(?P<octaves>[+-]\d))?\s*$")


@dataclass(frozen=True, slots=True)
class Port:
    """An input port. `name` is without changing numbers; where two of one interface have the same,
    it says which: `Stage piano (2)`. `address` is the system's own, by which it is followed."""

    name: str
    interface: str
    address: str = ""


@dataclass(frozen=True, slots=True)
class Wish:
    """A keyboard asked for; `channel` from 0, None for all."""

    name: str
    channel: int | None = None
    octaves: int = 0


Channels = Mapping[int | None, int]  # octaves of each channel listened to; None: of all others


def octaves(channels: Channels) -> Callable[[int], int | None]:
    """By how many octaves a channel (0 to 15) is moved; None where it is not listened to."""
    default = channels.get(None)
    return lambda channel: channels.get(channel, default)


def named(title: str, found: Sequence[str]) -> tuple[Port, ...]:
    """The ports of an interface by their addresses."""
    plain = [plain_name(address, title) for address in found]
    seen: Counter[str] = Counter()
    ports: list[Port] = []
    for address, name in zip(found, plain, strict=True):
        seen[name] += 1
        shown = f"{name} ({seen[name]})" if plain.count(name) > 1 else name
        ports.append(Port(shown, title, address))
    return tuple(ports)


def wants_all(text: str | None) -> bool:
    """Whether no keyboard in particular is asked for."""
    return (text or ALL).strip().casefold() in (ALL, "")


def wishes(text: str | None, ports: Sequence[Port]) -> tuple[Wish, ...] | None:
    """What the player has written, taken apart; None for all there is. A port whose name has
    commas or slashes in it may be meant by its whole name."""
    if wants_all(text):
        return None
    whole = (text or "").strip()
    if any(port.name.casefold() == whole.casefold() for port in ports):
        return (Wish(whole),)
    found: list[Wish] = []
    for part in filter(None, (part.strip() for part in whole.split(","))):
        match = _WISH.fullmatch(part)
        assert match is not None  # every text fits
        channel = int(match["channel"]) - 1 if match["channel"] else None
        if not match["name"] or (channel is not None and not 0 <= channel <= 15):
            found.append(Wish(part))
        else:
            found.append(Wish(match["name"], channel, int(match["octaves"] or 0)))
    return tuple(found)


def chosen(text: str | None, ports: Sequence[Port]) -> dict[Port, Channels]:
    """The ports to listen to, those asked for first before the others."""
    asked = wishes(text, ports)
    if asked is None:
        first = [port for port in ports if port.interface == ports[0].interface]
        return {port: {None: 0} for port in first[:MOST]}
    found: dict[Port, dict[int | None, int]] = {}
    for wish in asked:
        for port in meant(wish.name, ports):
            found.setdefault(port, {})[wish.channel] = wish.octaves
    return dict(list(found.items())[:MOST])


def meant(name: str, ports: Sequence[Port]) -> list[Port]:
    """The ports meant by a name or a part of one."""
    name = name.casefold()
    for fits in (
        [port for port in ports if port.name.casefold() == name],
        [port for port in ports if name in port.name.casefold()],
        # a twin that is alone now has lost its number
        [port for port in ports if port.name.casefold() == re.sub(r" \(\d+\)$", "", name)],
    ):
        if fits:
            return [port for port in fits if port.interface == fits[0].interface]
    return []
