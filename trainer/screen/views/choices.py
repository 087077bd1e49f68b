"""The settings: every line of the table, changed where it stands and in force at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pygame

from trainer.errors import SettingsError
from trainer.listening.assigning import Told, assigned, assignments, complaint, in_words
from trainer.listening.assigning import changed as reassigned
from trainer.listening.chosen_ports import Port
from trainer.listening.manuals import Manual
from trainer.screen.drawing.forme import Forme
from trainer.screen.parts.widgets import Do, Field, Rows, foot_of, set_actions, set_heading
from trainer.screen.room import Keys, Room
from trainer.setting_values import Choice, Number, Parts, Switch, Text
from trainer.settings import PLAYER_SETTINGS, Setting, Settings, changed
from trainer.theory.hands import DIVISIONS

# the order of the page: heading -> settings, each with its name in words
GROUPS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "hands",
        (
            ("hands", "division of the hands"),
            ("supply", "the program plays"),
            ("shift_left", "left hand, octaves up"),
            ("shift_right", "right hand, octaves up"),
            ("input", "keyboard"),
        ),
    ),
    (
        "sound",
        (
            ("sound", "tone"),
            ("volume", "loudness"),
            ("temperament", "tuning"),
            ("pitch", "pitch of a’"),
            ("midi_out", "sounds through"),
        ),
    ),
    (
        "page",
        (
            ("ground", "paper"),
            ("text_scale", "size of text and score"),
            ("key_strip", "strip of keys"),
            ("reduced_motion", "reduced motion"),
        ),
    ),
    (
        "practice",
        (
            ("school", "strictness"),
            ("tolerance", "in time within"),
            ("minutes", "minutes a day"),
            ("begin_at", "course begins at step"),
        ),
    ),
)
_STEPS = {"tolerance": 0.01, "volume": 0.05, "text_scale": 0.1, "minutes": 5, "pitch": 1}
_PITCHES = (392.0, 415.0, 440.0, 466.0)
_WORDS: dict[str, str] = {
    **{hands: division.words for hands, division in DIVISIONS.items()},
    "meantone-quarter": "quarter-comma meantone",
    "meantone-sixth": "sixth-comma meantone",
    "well-quarter": "well, quarter commas",
    "well-sixth": "well, sixth commas",
    "well-fifth": "well, fifth commas",
}
_SAID: dict[str, Callable[[Any], str]] = {  # how a value is told, where it is more than a word
    "supply": lambda voices: " and ".join(voices) or "nothing",
    "input": lambda port: port or "all there are",
    "midi_out": lambda port: port or "this computer",
    "pitch": lambda frequency: f"{frequency:g} Hz",
    "tolerance": lambda part: f"{part:.0%} of a beat",
    "volume": lambda part: f"{part:.0%}",
    "text_scale": lambda part: f"{part:.0%}",
    "shift_left": lambda octaves: f"{octaves:+d}" if octaves else "as written",
    "shift_right": lambda octaves: f"{octaves:+d}" if octaves else "as written",
}
_SETTINGS: dict[str, Setting] = {setting.name: setting for setting in PLAYER_SETTINGS}


@dataclass(frozen=True, slots=True)
class Line:
    """A heading (`name` empty) or a setting; of `manuals` a line for each keyboard."""

    words: str
    name: str = ""
    keyboard: str = ""


PLAYER, CALIBRATE, MANUALS = "player", "calibrate", "manuals"


class ChoicesView:
    """Left and right change the chosen line; what is changed is in force and kept."""

    def __init__(
        self,
        room: Room,
        applied: Callable[[Settings, str], None],
        ports: Callable[[], tuple[tuple[str, ...], tuple[str, ...]]],
        calibrate: Callable[[], None],
    ) -> None:
        """`applied` is called after a change with the setting's name; `ports` gives the names of
        the keyboards and of the instruments there are, asked for whenever they are wanted."""
        self.room = room
        self._applied = applied
        self._ports = ports
        self._calibrate = calibrate
        self._trouble = ""
        self.lively = False  # but where keyboards have come or gone
        self._keyboards: tuple[str, ...] = ports()[0]
        self._lines = _lines(self._keyboards)
        self.rows = Rows(count=len(self._lines), chosen=1)
        self._name: Field | None = None  # a new player's name, while it is written

    @property
    def chosen(self) -> str:
        """The name of the setting that is chosen."""
        return self._lines[self.rows.chosen].name

    @property
    def typing(self) -> bool:
        return self._name is not None

    def step(self, now: float) -> None:
        keyboards = self._ports()[0]
        self.lively = keyboards != self._keyboards
        if self.lively:
            chosen = self._lines[self.rows.chosen]
            self._keyboards, self._lines = keyboards, _lines(keyboards)
            self.rows.resize(len(self._lines))
            if chosen in self._lines:
                self.rows.choose(self._lines.index(chosen))
            else:
                self._skip_headings(-1)

    def close(self) -> None:
        return

    def mouse(self, event: pygame.event.Event) -> bool:
        if event.type == pygame.MOUSEWHEEL:
            self.rows.scroll(-2 * event.y)
            return True
        return False

    def keys(self) -> Keys:
        return (
            ("↑ ↓", "choose a line"),
            ("← →", "change it"),
            ("enter", "the next value, or open"),
            ("n", "a new player"),
            ("escape", "back"),
        )

    def key(self, event: pygame.event.Event) -> bool:
        if self._name is not None:
            return self._write_name(event)
        before = self.rows.chosen
        if self.rows.key(event):
            down = event.key in (pygame.K_DOWN, pygame.K_PAGEDOWN, pygame.K_END)
            self._skip_headings(1 if down or self.rows.chosen > before else -1)
            return True
        if event.type != pygame.KEYDOWN:
            return False
        match event.key:
            case pygame.K_RIGHT:
                self.change(1)
            case pygame.K_LEFT:
                self.change(-1)
            case pygame.K_RETURN | pygame.K_SPACE | pygame.K_KP_ENTER:
                self._act(self.rows.chosen)
            case pygame.K_n:
                self._name = Field()
            case pygame.K_ESCAPE:
                self.room.back()
            case _:
                return False
        return True

    def _write_name(self, event: pygame.event.Event) -> bool:
        assert self._name is not None
        if event.type == pygame.KEYDOWN and event.key == pygame.K_ESCAPE:
            self._name = None
        elif event.type == pygame.KEYDOWN and event.key in (pygame.K_RETURN, pygame.K_KP_ENTER):
            name, self._name = self._name.text.strip(), None
            if name:
                self._keep(self.room.settings.played_by(name), PLAYER)
        else:
            return self._name.key(event)
        return True

    def _skip_headings(self, way: int) -> None:
        while not self._lines[self.rows.chosen].name:
            at = self.rows.chosen
            self.rows.choose(at + way)
            if self.rows.chosen == at:
                way = -way

    def _act(self, row: int) -> None:
        if self._lines[row].name == CALIBRATE:
            self._calibrate()
        else:
            self.change(1)

    def change(self, by: int) -> None:
        """The chosen setting one value on, or back."""
        name = self.chosen
        settings = self.room.settings
        if name == CALIBRATE or not name:
            return
        if name == PLAYER:
            names = [player.name for player in settings.players]
            following = names[(names.index(settings.playing) + by) % len(names)]
            self._keep(settings.played_by(following), PLAYER)
            return
        text = self._following(name, by)
        if text is None:
            return
        try:
            self._keep(changed(settings, name, text), name)
        except SettingsError as error:
            self._trouble = str(error)

    def _keep(self, settings: Settings, name: str) -> None:
        try:
            self.room.choose(settings)
            self._trouble = ""
        except SettingsError as error:
            self._trouble = str(error)
        self._applied(settings, name)

    def _told(self, keyboard: str) -> Told:
        """What a keyboard plays."""
        manuals = assignments(self.room.settings.player.manuals)
        told = assigned(manuals, self._named)
        return next((told[port] for port in told if port.name == keyboard), {})

    def _assigned(self, keyboard: str, by: int) -> str:
        """The setting with what is after or before what that keyboard plays."""
        order = tuple(Manual)
        now = self._told(keyboard).get(None, Manual.EVERYTHING)
        following = order[(order.index(now) + by) % len(order)]
        return reassigned(self.room.settings.player.manuals, keyboard, following, self._named)

    @property
    def _named(self) -> tuple[Port, ...]:
        return tuple(Port(name, "") for name in self._keyboards)

    def _following(self, name: str, by: int) -> str | None:
        """The value after or before the one in force, as text."""
        kind, value = _SETTINGS[name].kind, getattr(self.room.settings.player, name)
        if name == MANUALS:
            return self._assigned(self._lines[self.rows.chosen].keyboard, by)
        if name == "pitch":
            near = min(range(4), key=lambda n: abs(_PITCHES[n] - value))
            return f"{_PITCHES[(near + by) % 4]:g}"
        match kind:
            case Choice():
                return str(kind.words[(kind.words.index(value) + by) % len(kind.words)])
            case Switch():
                return "off" if value else "on"
            case Parts():
                ways = ("none", "bass", "melody", "bass,melody")
                return ways[(ways.index(",".join(value) or "none") + by) % len(ways)]
            case Number():
                step = _STEPS.get(name, 1)
                moved = min(kind.high, max(kind.low, value + by * step))
                return f"{round(moved, 4):g}"
            case Text():
                keyboards, instruments = self._ports()
                names = ("", *(keyboards if name == "input" else instruments))
                at = names.index(value) if value in names else 0
                return names[(at + by) % len(names)]
        return None

    def _shown(self, name: str) -> str:
        settings = self.room.settings
        if name == PLAYER:
            return settings.playing
        if name == CALIBRATE:
            known = [f"{seconds * 1000:+.0f} ms for {port}" for port, seconds in settings.latency]
            return "; ".join(known) or "by tapping with the tactus"
        value = getattr(settings.player, name)
        said = _SAID.get(name)
        if said is not None:
            return said(value)
        if isinstance(value, bool):
            return "on" if value else "off"
        return _WORDS.get(str(value), str(value))

    def set(self, forme: Forme, now: float) -> None:
        em, measure = forme.em, forme.measure
        top = set_heading(forme, "Settings", "every change is in force at once")
        foot = foot_of(forme)
        width = min(measure.width - 2 * measure.margin, round(40 * em))
        area = pygame.Rect(
            measure.margin + round(0.6 * em),
            round(top + 0.9 * em),
            width,
            round(foot - 2.6 * em - top - 0.9 * em),
        )
        self.rows.set(forme, area, 1.62 * em, self._row, self._act)
        line = self._lines[self.rows.chosen]
        said = self._trouble
        if not said and line.name in _SETTINGS:
            said = _SETTINGS[line.name].meaning
        if not self._trouble and line.name == MANUALS:
            manuals = assignments(self.room.settings.player.manuals)
            said = complaint(manuals, self._named) or said
        if self._name is not None:
            self._name.set(forme, measure.margin, foot - 1.7 * em, width, "the new player’s name")
        else:
            forme.text(
                said,
                measure.margin,
                foot - 1.7 * em,
                face="italic",
                role="mark" if self._trouble else "soft",
                room=measure.width - 2 * measure.margin,
            )
        set_actions(
            forme,
            foot,
            (
                Do("← →", "change", lambda: self.change(1)),
                Do("n", "new player", self._new_player),
                Do("escape", "back", self.room.back),
            ),
        )

    def _new_player(self) -> None:
        self._name = Field()

    def _row(self, forme: Forme, row: int, rect: pygame.Rect, chosen: bool) -> None:
        em, line = forme.em, self._lines[row]
        y = rect.y + 0.7 * rect.height
        if not line.name:
            forme.text(line.words, rect.x + 0.5 * em, y, face="italic", role="soft")
            forme.rule(
                rect.x + forme.width(line.words, face="italic") + 1.2 * em,
                y - 0.25 * em,
                rect.right - 0.5 * em,
            )
            return
        middle = rect.x + 0.47 * rect.width
        shown = in_words(self._told(line.keyboard)) if line.keyboard else self._shown(line.name)
        forme.text(line.words, rect.x + 1.4 * em, y, room=middle - rect.x - 2 * em)
        room = rect.right - middle - 2.6 * em
        set_there = forme.text(shown, middle + em, y, room=room)
        if chosen and line.name != CALIBRATE:
            forme.text("‹", middle, y, action=lambda: self.change(-1))
            forme.text("›", set_there.right + 0.7 * em, y, action=lambda: self.change(1))


def _lines(keyboards: tuple[str, ...]) -> list[Line]:
    """The page, with a line on what each keyboard plays."""
    lines = [Line("player"), Line("who plays", PLAYER)]
    for heading, settings in GROUPS:
        lines += [Line(heading), *(Line(words, name) for name, words in settings)]
    at = next(i for i, line in enumerate(lines) if line.name == "input")
    about = [Line(f"{keyboard} plays", MANUALS, keyboard) for keyboard in keyboards]
    lines[at + 1 : at + 1] = [*about, Line("calibrate the keyboard", CALIBRATE)]
    return lines
