"""What each keyboard is told to play.

What the player writes: nothing, and every keyboard plays everything; or keyboards, each with what
it plays, and commas between them. A keyboard is a port's name or a part of it, as
`trainer.listening.chosen_ports` reads names; channels (1 to 16) may follow, each after a slash,
where one port carries several manuals:

    Pedals = bass
    Great = left hand, Swell = right hand
    Console/3 = bass, Console/1/2 = right hand

A channel that is named goes before the port it belongs to.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from trainer.listening.chosen_ports import Port, meant
from trainer.listening.manuals import Manual

Told = Mapping[int | None, Manual]  # what each channel (0 to 15) of a port plays; None: all others
NOTHING_TOLD: Mapping[str, Told] = MappingProxyType({})
EXAMPLE = "Pedals = bass, Console/1 = right hand"
_WORDS = {manual.words: manual for manual in Manual}
_ONE = re.compile(
    rf"\s*(?P<name>[^\s,].*?)\s*=\s*(?P<plays>{'|'.join(_WORDS)})\s*(?:,|$)", re.IGNORECASE
)
_CHANNELS = re.compile(r"(?P<name>.*?)\s*(?P<channels>(?:/\d+)+)")


@dataclass(frozen=True, slots=True)
class Assignment:
    """A keyboard, as it is `written`, and what it plays."""

    written: str
    plays: Manual

    @property
    def name(self) -> str:
        """Without its channels."""
        found = _CHANNELS.fullmatch(self.written)
        return self.written if found is None else found["name"]

    @property
    def channels(self) -> tuple[int | None, ...]:
        """From 0; None alone for the whole port."""
        found = _CHANNELS.fullmatch(self.written)
        if found is None:
            return (None,)
        return tuple(int(number) - 1 for number in found["channels"].split("/")[1:])

    def __str__(self) -> str:
        return f"{self.written} = {self.plays.words}"


def assignments(text: str | None) -> tuple[Assignment, ...]:
    """What the player has written, taken apart; raises ValueError that says what cannot be."""
    text, at = text or "", 0
    found: list[Assignment] = []
    while text[at:].strip():
        match = _ONE.match(text, at)
        if match is None:
            raise ValueError(_what_is_wrong(text[at:].partition(",")[0].strip()))
        found.append(Assignment(match["name"], _WORDS[match["plays"].casefold()]))
        at = match.end()
    for one in found:
        if not all(channel is None or 0 <= channel <= 15 for channel in one.channels):
            raise ValueError(f"{one.written!r} names no channel: they are 1 to 16")
    clash = _clash((one.name.casefold(), at, one) for one in found for at in one.channels)
    if clash:
        raise ValueError(clash)
    return tuple(found)


def assigned(found: Sequence[Assignment], ports: Sequence[Port]) -> dict[Port, Told]:
    """What the ports there are play; of what does not agree (see `complaint`) the first holds."""
    plays: dict[Port, dict[int | None, Manual]] = {}
    for port, channel, one in _places(found, ports):
        plays.setdefault(port, {}).setdefault(channel, one.plays)
    return dict(plays)


def complaint(found: Sequence[Assignment], ports: Sequence[Port]) -> str:
    """One line on a keyboard that is not there, or is told two things; empty where all is well."""
    for one in found:
        if not _meant(one, ports)[0]:
            return f"there is no keyboard {one.name!r} to play the {one.plays.words}"
    return _clash((port.name, channel, one) for port, channel, one in _places(found, ports))


def plays(channels: Told) -> Callable[[int], Manual]:
    """What a channel (0 to 15) of a port plays."""
    others = channels.get(None, Manual.EVERYTHING)
    return lambda channel: channels.get(channel, others)


def in_words(channels: Told) -> str:
    """What a port plays, in a line."""
    others = channels.get(None, Manual.EVERYTHING)
    numbered = sorted((at, plays) for at, plays in channels.items() if at is not None)
    return ", ".join([others.words, *(f"channel {at + 1} {plays.words}" for at, plays in numbered)])


def changed(text: str, name: str, plays: Manual, ports: Sequence[Port]) -> str:
    """The text with another thing told of the port of that name as a whole; of its channels, and of
    other keyboards, all stays."""
    kept: list[Assignment] = []
    for one in assignments(text):
        here, channels = _meant(one, ports)
        if channels != (None,) or all(port.name != name for port in here):
            kept.append(one)
        else:
            kept += [Assignment(port.name, one.plays) for port in here if port.name != name]
    if plays is not Manual.EVERYTHING:
        kept.append(Assignment(name, plays))
    return ", ".join(map(str, kept))


def _meant(one: Assignment, ports: Sequence[Port]) -> tuple[list[Port], tuple[int | None, ...]]:
    """The ports meant and their channels; a name with slashes in it may be a port's whole name."""
    whole = [port for port in ports if port.name.casefold() == one.written.casefold()]
    if whole:
        return whole, (None,)
    return meant(one.name, ports), one.channels


def _places(
    found: Sequence[Assignment], ports: Sequence[Port]
) -> Iterator[tuple[Port, int | None, Assignment]]:
    for one in found:
        here, channels = _meant(one, ports)
        for port in here:
            yield from ((port, channel, one) for channel in channels)


def _clash(places: Iterable[tuple[str, int | None, Assignment]]) -> str:
    """One line on the first place that is told two things; empty where there is none."""
    first: dict[tuple[str, int | None], Assignment] = {}
    for name, channel, one in places:
        other = first.setdefault((name, channel), one)
        if other.plays is not one.plays:
            where = other.written if channel is None else f"channel {channel + 1} of {other.name}"
            return f"{where} is told to play two things: {other.plays.words}, {one.plays.words}"
    return ""


def _what_is_wrong(part: str) -> str:
    name, sign, words = (word.strip() for word in part.partition("="))
    if not (sign and name):
        return f"{part!r} does not say what plays what: write as {EXAMPLE!r}"
    return f"{name!r} cannot play {words!r}, only {', '.join(_WORDS)}"
