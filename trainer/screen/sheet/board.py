"""The engraved page in a view: systems as they arrive, where each stands, what is written on them.

Systems have their places one under another. In a pass, a system that has been played gives way to
the next one not yet in sight, so that the page is turned ahead of the player and nothing moves
where they are reading.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field, replace

import pygame

from trainer.engraving.geometry import Geometry
from trainer.engraving.ink import Drawing
from trainer.screen.drawing.forme import Forme
from trainer.screen.drawing.painter import Painted
from trainer.screen.drawing.stage import picture
from trainer.screen.sheet.engraver import Delivery, Engraved, Engraver, Failed, Pictured, Sheet


@dataclass(frozen=True)
class Written:
    """Something written on one system: its drawings, in the system's pixels.

    It is known by what is drawn and by nothing else, so that no picture kept for one pass can
    ever stand for another.
    """

    system: int
    drawings: tuple[Drawing, ...]
    _hash: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        # reckoned once: it is asked for at every frame
        object.__setattr__(self, "_hash", hash((self.system, self.drawings)))

    def __hash__(self) -> int:
        return self._hash


@dataclass
class Board:
    """The systems of one exercise within an area of the window."""

    engraver: Engraver
    area: pygame.Rect = field(default_factory=lambda: pygame.Rect(0, 0, 1, 1))
    trouble: str = ""
    systems: tuple[Geometry, ...] = ()
    top: int = 0  # when the page is looked through: the first system in sight
    _sheet: Sheet | None = None
    _number: int = 0
    _pictures: dict[int, pygame.Surface] = field(default_factory=dict)
    _painted: dict[Hashable, Painted | None] = field(default_factory=dict)
    _old: tuple[tuple[Geometry, ...], dict[int, pygame.Surface]] = ((), {})

    def show(self, sheet: Sheet, area: pygame.Rect) -> None:
        """Have a sheet engraved, unless it is the one that is there or on its way."""
        self.area = area
        if sheet != self._sheet:
            self._sheet = sheet
            self._number = self.engraver.ask(sheet)
            self._pictures = {}
            self.trouble = ""

    def receive(self, delivery: Delivery) -> bool:
        """Take a delivery; False if it belongs to another request."""
        if delivery.number != self._number:
            return False
        match delivery:
            case Engraved(_, systems):
                self.trouble = ""  # a process that ended has been followed by one that works
                self.systems = systems
                self._painted.clear()
                self.top = min(self.top, max(0, len(systems) - 1))
            case Pictured(_, system, size, pixels):
                self._pictures[system] = pygame.image.frombuffer(pixels, size, "RGB").convert()
            case Failed(_, why):
                self.trouble = why
        return True

    @property
    def asked(self) -> bool:
        """Whether a page is wanted at all."""
        return self._sheet is not None and not self.trouble

    @property
    def ready(self) -> bool:
        """Whether the first system can be seen."""
        return bool(self.systems) and 0 in self._pictures

    @property
    def complete(self) -> bool:
        return bool(self.systems) and len(self._pictures) == len(self.systems)

    @property
    def space(self) -> float:
        """Pixels between staff lines."""
        return self.systems[0].space if self.systems else 8.0

    @property
    def places(self) -> int:
        """How many systems are in sight at once."""
        if not self.systems:
            return 1
        tallest = max(g.height for g in self.systems)
        fits = max(1, int(self.area.height // tallest))
        return min(fits, len(self.systems))

    def system_of(self, moment: int) -> int:
        """The index of the system a moment stands in; the last one before it if it has no place."""
        for index, geometry in enumerate(self.systems):
            if moment in geometry.moments:
                return index
        later = [i for i, g in enumerate(self.systems) if g.moments and min(g.moments) <= moment]
        return later[-1] if later else 0

    def in_sight(self, moment: int | None) -> tuple[int, ...]:
        """The system that stands in each place: turned ahead of `moment`, or, with None, from
        `top` on."""
        count = len(self.systems)
        places = self.places
        if moment is None:
            first = max(0, min(self.top, count - places))
            return tuple(range(first, min(count, first + places)))
        current = self.system_of(moment)
        if places == 1:
            return (current,)
        turned = current
        geometry = self.systems[current]
        if geometry.moments:
            inside = sorted(geometry.moments)
            if inside.index(moment) * 2 < len(inside) if moment in inside else False:
                turned = max(0, current - 1)  # what was just played stays for half a system
        found = []
        for place in range(places):
            system = turned - turned % places + place
            if system < turned:
                system += places
            if system >= count:
                system -= places
            found.append(system)
        return tuple(found)

    def origin(self, place: int) -> tuple[int, int]:
        """The top left corner of a place."""
        pitch = self._pitch()
        free = self.area.height - pitch * self.places
        if self.places == len(self.systems):
            free += pitch - max(g.height for g in self.systems)  # none follows the last
        return self.area.x, round(self.area.y + max(0.0, 0.3 * free) + place * pitch)

    def _pitch(self) -> float:
        """From one system to the next: the page is filled, but never torn apart."""
        if not self.systems:
            return float(self.area.height)
        tallest = max(g.height for g in self.systems)
        return min(self.area.height / self.places, tallest * 1.18)

    def set(
        self,
        forme: Forme,
        moment: int | None,
        written: tuple[Written, ...] = (),
        *,
        only_first: bool = False,
    ) -> None:
        """Put the systems in sight, or only the first of them, and what is written on them, into
        a forme."""
        for place, system in enumerate(self.in_sight(moment)[: 1 if only_first else None]):
            x, y = self.origin(place)
            image = self._pictures.get(system)
            if image is None:
                continue
            forme.items.append(picture(image, x, y, (self._number, "system", system)))
            for item in written:
                if item.system == system:
                    self._ink(forme, item, x, y)

    def _ink(self, forme: Forme, item: Written, x: int, y: int) -> None:
        key = (self._number, forme.type.theme.ground, item)
        if key not in self._painted:
            if len(self._painted) > 4000:
                self._painted.clear()
            self._painted[key] = forme.type.painter.paint(item.drawings, forme.type.theme.inks())
        painted = self._painted[key]
        if painted is not None:
            forme.painted(replace(painted, x=painted.x + x, y=painted.y + y), key)

    def spot(self, moment: int, at: int | None) -> tuple[float, float, Geometry] | None:
        """Where a moment's column begins in the window: x, the y of its system's picture, and the
        system; None if it is not in sight. `at` is the moment the page is turned for."""
        for place, system in enumerate(self.in_sight(at)):
            geometry = self.systems[system]
            if moment in geometry.moments and system in self._pictures:
                x, y = self.origin(place)
                return x + geometry.moments[moment], y, geometry
        return None

    def free_around(self, at: int) -> tuple[float, float, float, float] | None:
        """Of the system that is played: down to where the page above it is taken, where its own
        ink begins and ends, and where what is below begins; None if it is not in sight."""
        seen, current = self.in_sight(at), self.system_of(at)
        if current not in seen:
            return None
        inks = []
        for place, system in enumerate(seen):
            y, ink = self.origin(place)[1], self.systems[system].systems[0]
            inks.append((y + ink.top, y + ink.bottom))
        here = seen.index(current)
        edge = 0.5 * self.space
        ceiling = inks[here - 1][1] if here else self.area.y - edge
        floor = inks[here + 1][0] if here + 1 < len(inks) else self.area.bottom + edge
        return ceiling, *inks[here], floor

    def moment_near(self, position: tuple[int, int], at: int | None) -> int | None:
        """The moment whose column is nearest to a place in the window."""
        for place, system in enumerate(self.in_sight(at)):
            x, y = self.origin(place)
            geometry = self.systems[system]
            if geometry.moments and y <= position[1] < y + geometry.height:
                return min(
                    geometry.moments,
                    key=lambda m: abs(x + geometry.moments[m] + geometry.space - position[0]),
                )
        return None


def spaces_for(theme_space: float) -> tuple[float, ...]:
    """The sizes a page may be engraved in, largest first: a short piece is set larger."""
    base = max(6, round(theme_space))
    sizes = (round(base * times) for times in (1.8, 1.6, 1.4, 1.2, 1.0))
    return tuple(float(size) for size in dict.fromkeys(sizes))
