"""What the players of one machine have chosen: one small TOML file, hand-editable.

Only what differs from the defaults is written; comments and order in the file are kept. A file
with a mistake in it is named with its line and is never overwritten.
"""

from __future__ import annotations

import getpass
import os
import tomllib
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal, get_args

import tomlkit
from tomlkit.exceptions import TOMLKitError

from trainer.errors import SettingsError
from trainer.files import text_of
from trainer.folders import config_folder, replace_text
from trainer.judging.take import Conditions, Part
from trainer.setting_values import Choice, Keyboards, Kind, Number, Parts, Switch, Text, line_of
from trainer.theory.hands import HANDS, Hands
from trainer.theory.rules import SCHOOLS, School

Sound = Literal["organ", "plucked", "none"]
Ground = Literal["light", "dark"]


@dataclass(frozen=True, slots=True)
class Player:
    """One player's choices; the defaults suit a beginner at an 8-foot keyboard.

    `id` tells players apart wherever their logs meet, whatever their names. `tolerance` is the
    onset error still called in time, as a part of a beat; `minutes` the length of a day's
    drill, `begin_at` the step of the course taken as known up to there;
    `pitch` the frequency of a' in Hz; `volume` 0 to 1; `midi_out` and `input` are port names
    (empty: own tone; all keyboards there are); `manuals` says what each of these plays.
    """

    name: str
    id: str
    hands: Hands = "1+3"
    shift_left: int = 0
    shift_right: int = 0
    school: School = "strict"
    tolerance: float = 0.15
    supply: tuple[Part, ...] = ()
    minutes: int = 20
    begin_at: int = 1
    input: str = ""
    manuals: str = ""
    sound: Sound = "organ"
    temperament: str = "equal"
    pitch: float = 440.0
    volume: float = 0.3
    midi_out: str = ""
    text_scale: float = 1.0
    ground: Ground = "light"
    reduced_motion: bool = False
    key_strip: bool = True
    first_run_seen: bool = False

    def conditions(self, tempo: float | None = None, latency: float = 0.0) -> Conditions:
        """How this player plays a pass; `tempo` in beats a minute, None for untimed."""
        return Conditions(
            tempo=tempo,
            hands=self.hands,
            school=self.school,
            supply=self.supply,
            tolerance=self.tolerance,
            shift_left=self.shift_left,
            shift_right=self.shift_right,
            latency=latency,
        )


@dataclass(frozen=True, slots=True)
class Setting:
    """One line of the table of settings: its name, what may stand there, what it does."""

    name: str
    kind: Kind
    meaning: str


PLAYER_SETTINGS: tuple[Setting, ...] = (
    Setting("hands", Choice(*HANDS), "voices in the left and in the right hand"),
    Setting("shift_left", Number(-3, 3, whole=True), "octaves added to the left hand's keys"),
    Setting("shift_right", Number(-3, 3, whole=True), "octaves added to the right hand's keys"),
    Setting("school", Choice(*SCHOOLS), "how strictly movement is judged"),
    Setting("tolerance", Number(0.02, 0.5), "onset error still called in time, part of a beat"),
    Setting("supply", Parts("bass", "melody"), "given voices the program plays itself"),
    Setting("minutes", Number(5, 120, whole=True), "length of a day's drill, minutes"),
    Setting("begin_at", Number(1, 24, whole=True), "step of the course to begin at"),
    Setting("input", Text(), "keyboards to listen to; empty: all there are"),
    Setting("manuals", Keyboards(), "what each keyboard plays: Pedals = bass, Great = right hand"),
    Setting("sound", Choice(*get_args(Sound)), "the tone one practises with"),
    Setting(
        "temperament",
        Choice(
            "equal",
            "meantone-quarter",
            "meantone-sixth",
            "well-quarter",
            "well-sixth",
            "well-fifth",
        ),
        "tuning of the tone",
    ),
    Setting("pitch", Number(392, 466), "frequency of a', Hz: 392, 415, 440 and 466 are in use"),
    Setting("volume", Number(0, 1), "loudness of the tone, 0 to 1; begin softly"),
    Setting("midi_out", Text(), "MIDI port that sounds instead of the own tone; empty: own tone"),
    Setting("text_scale", Number(0.8, 2), "size of text and score, 0.8 to 2"),
    Setting("ground", Choice(*get_args(Ground)), "paper: light with dark ink, or dark"),
    Setting("reduced_motion", Switch(), "marks and moment jump instead of gliding"),
    Setting("key_strip", Switch(), "the strip of keys below the page"),
    Setting("first_run_seen", Switch(), "the first page with its cautions has been read"),
)
_BY_NAME = {setting.name: setting for setting in PLAYER_SETTINGS}
_DEFAULTS = {
    field.name: field.default for field in fields(Player) if field.name not in ("name", "id")
}


@dataclass(frozen=True, slots=True)
class Settings:
    """All that the file holds. `log` is a path or a database URL, empty for the usual place;
    `exercises` are the user's own folders; `latency` is (port, seconds) per calibrated port."""

    playing: str
    players: tuple[Player, ...]
    log: str = ""
    exercises: tuple[str, ...] = ()
    latency: tuple[tuple[str, float], ...] = ()

    @property
    def player(self) -> Player:
        """The player at the keyboard."""
        return next(player for player in self.players if player.name == self.playing)

    def with_player(self, player: Player) -> Settings:
        """The player of the same id replaced, or one more; the one playing stays."""
        players = tuple(player if other.id == player.id else other for other in self.players)
        if player not in players:
            players = (*players, player)
        playing = player.name if self.player.id == player.id else self.playing
        return replace(self, players=players, playing=playing)

    def played_by(self, name: str) -> Settings:
        """The player of that name at the keyboard, added with the defaults if new."""
        if not name.strip():
            raise SettingsError(
                "a player needs a name", remedy="write one; in quotes if it has spaces"
            )
        if all(player.name != name for player in self.players):
            return replace(self, playing=name, players=(*self.players, new_player(name)))
        return replace(self, playing=name)

    def latency_of(self, port: str) -> float:
        """The calibrated constant offset of a port in seconds; 0 where none was measured.

        Of several ports, written with commas between them, that of the first that has one counts
        for all, where they were not measured together.
        """
        known = dict(self.latency)
        return next((known[name] for name in (port, *port.split(", ")) if name in known), 0.0)

    def with_latency(self, port: str, seconds: float) -> Settings:
        """With the offset of one port measured anew."""
        return replace(self, latency=tuple({**dict(self.latency), port: seconds}.items()))


def new_player(name: str) -> Player:
    """A player with the defaults and an id of their own."""
    return Player(name, uuid.uuid4().hex)


def settings_path() -> Path:
    """Where the settings file is, or will be."""
    return config_folder() / "settings.toml"


def load(path: Path | None = None) -> Settings:
    """The settings in force; a first start writes a file with one player under the login name.

    Where no file can be written the usual settings are in force, and the player's id is made of
    machine and login, so that it is the same whenever it is asked for. Raises SettingsError with
    file, line and remedy for a file that cannot be read or used.
    """
    path = path or settings_path()
    if path.exists():
        return _parse(_read(path), path)
    name = _login()
    settings = Settings(playing=name, players=(new_player(name),))
    try:
        save(settings, path)
    except SettingsError:
        always = uuid.uuid5(uuid.NAMESPACE_OID, f"{uuid.getnode()}/{name}").hex
        return Settings(playing=name, players=(Player(name, always),))
    return settings


def save(settings: Settings, path: Path | None = None) -> None:
    """Write atomically: the old file or the new one is there, never half of one.

    Raises SettingsError if the file cannot be written, or the one there has a mistake in it.
    """
    path = path or settings_path()
    text = ""
    if path.exists():
        text = _read(path)
        _parse(text, path)
    _replace_text(path, _written(settings, text))


def changed(settings: Settings, name: str, text: str) -> Settings:
    """With one setting of the player at the keyboard, or `log`, set from text as it is typed.

    Raises SettingsError for an unknown name or a value out of range.
    """
    name = name.replace("-", "_")
    if name == "log":
        return replace(settings, log=text)
    if name == "exercises":
        return replace(settings, exercises=tuple(part for part in text.split(os.pathsep) if part))
    setting = _setting(name)
    try:
        value = setting.kind.check(setting.kind.read(text))
    except ValueError as error:
        raise SettingsError(f"{name} cannot be {text!r}", remedy=str(error)) from None
    player: Player = replace(settings.player, **{name: value})
    return settings.with_player(player)


def set_aside(path: Path | None = None) -> Path | None:
    """Move the file to a new name beside it, so that a fresh one can begin; its new place."""
    path = path or settings_path()
    if not path.exists():
        return None
    number = 1
    while (aside := path.with_name(f"{path.stem}-{number}{path.suffix}")).exists():
        number += 1
    path.rename(aside)
    return aside


# ── reading ──────────────────────────────────────────────────────────────────────────────────

LARGEST = 1 << 20  # bytes of the file


def _read(path: Path) -> str:
    try:
        return text_of(path, LARGEST)
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise SettingsError(
            "is not UTF-8 text", file=path, line=line, remedy="save it as UTF-8"
        ) from None
    except OSError as error:
        raise SettingsError(
            f"cannot be read: {error.strerror}", file=path, remedy="check its permissions"
        ) from None


_RESET = "correct the line, or begin afresh with `mittelstimme settings reset`"


def _document(text: str, path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        what, _, place = str(error).partition(" (at ")
        number = "".join(c for c in place.partition(",")[0] if c.isdigit())
        line = int(number) if number else text.count("\n") + 1
        raise SettingsError(
            f"is not TOML: {what[0].lower()}{what[1:]}", file=path, line=line, remedy=_RESET
        ) from None


def _parse(text: str, path: Path) -> Settings:
    document = _document(text, path)

    def fail(what: str, *keys: str, remedy: str = _RESET) -> SettingsError:
        return SettingsError(what, file=path, line=line_of(text, keys), remedy=remedy)

    known = ("player", "log", "exercises", "latency", "players")
    for key in document:
        if key not in known:
            raise fail(f"{key} is not a setting", key, remedy=_near(key, known))
    players = _players(document, fail)
    playing = document.get("player", players[0].name)
    if playing not in [player.name for player in players]:
        names = ", ".join(player.name for player in players)
        raise fail(f"there is no player {playing!r}", "player", remedy=f"the players are {names}")
    log = document.get("log", "")
    if not isinstance(log, str):
        raise fail("log is a path or a database URL in quotes", "log")
    exercises = document.get("exercises", [])
    if not isinstance(exercises, list) or not all(isinstance(item, str) for item in exercises):
        raise fail("exercises is a list of folders", "exercises", remedy='write ["/home/me/own"]')
    return Settings(playing, players, log, tuple(exercises), _latencies(document, fail))


def _players(document: Mapping[str, Any], fail: Any) -> tuple[Player, ...]:
    """All of them, each with an id of its own; where there is none yet, one with defaults."""
    tables = document.get("players", {})
    if not isinstance(tables, dict):
        raise fail("players holds one table a player", "players")
    players = tuple(_player(name, table, fail) for name, table in tables.items())
    ids = [player.id for player in players]
    for player in players:
        if ids.count(player.id) > 1:
            raise fail(f"two players have the id {player.id}", "players", player.name, "id")
    return players or (new_player(_login()),)


def _player(name: str, table: object, fail: Any) -> Player:
    if not isinstance(table, dict):
        raise fail(f"players.{name} is a table", "players", name)
    values: dict[str, Any] = {}
    for key, value in table.items():
        if key == "id":
            if not isinstance(value, str) or not value:
                raise fail("id is a text", "players", name, "id")
            continue
        if key not in _BY_NAME:
            raise fail(f"{key} is not a setting", "players", name, key, remedy=_near(key, _BY_NAME))
        try:
            values[key] = _BY_NAME[key].kind.check(value)
        except ValueError as error:
            raise fail(
                f"{key} cannot be {value!r}", "players", name, key, remedy=str(error)
            ) from None
    if "id" not in table:
        # a hand-written table without an id: the same one every time, until it is saved
        identity = uuid.uuid5(
            uuid.NAMESPACE_URL, f"mittelstimme-player:{uuid.getnode()}:{name}"
        ).hex
        return Player(name, identity, **values)
    return Player(name, table["id"], **values)


def _latencies(document: Mapping[str, Any], fail: Any) -> tuple[tuple[str, float], ...]:
    table = document.get("latency", {})
    if not isinstance(table, dict):
        raise fail("latency is a table of ports", "latency")
    for port, value in table.items():
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not -0.5 <= value <= 0.5:
            raise fail(
                f"the latency of {port} cannot be {value!r}",
                "latency",
                port,
                remedy="give seconds from -0.5 to 0.5, or run `mittelstimme keyboard calibrate`",
            )
    return tuple((port, float(value)) for port, value in table.items())


def _setting(name: str) -> Setting:
    if name not in _BY_NAME:
        raise SettingsError(
            f"{name} is not a setting", remedy=_near(name, (*_BY_NAME, "log", "exercises"))
        )
    return _BY_NAME[name]


def _near(name: str, known: Any) -> str:
    import difflib

    near = difflib.get_close_matches(name, list(known), 1)
    return f"did you mean {near[0]}?" if near else "`mittelstimme settings` lists them"


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no account name on this machine
        return "player"


# ── writing ──────────────────────────────────────────────────────────────────────────────────

_HEAD = "What `mittelstimme settings` shows; what is not here has its usual value."


def _written(settings: Settings, old: str) -> str:
    try:
        document = tomlkit.parse(old)
    except TOMLKitError as error:  # tomllib has accepted it: a difference of the two readers
        raise SettingsError(f"cannot be written again: {error}", remedy=_RESET) from None
    if not old.strip():
        document.add(tomlkit.comment(_HEAD))
    document["player"] = settings.playing
    for name, value in (("log", settings.log), ("exercises", list(settings.exercises))):
        if value or name in document:
            document[name] = value
    if settings.latency:
        _update(document, "latency", dict(settings.latency))
    players = document.setdefault("players", tomlkit.table(is_super_table=True))
    for gone in set(players) - {player.name for player in settings.players}:
        del players[gone]
    for player in settings.players:
        table = players.setdefault(player.name, tomlkit.table())
        table["id"] = player.id
        for name, default in _DEFAULTS.items():
            value = getattr(player, name)
            if value != default or name in table:
                table[name] = list(value) if isinstance(value, tuple) else value
    return tomlkit.dumps(document)


def _update(document: Any, name: str, values: Mapping[str, Any]) -> None:
    table = document.setdefault(name, tomlkit.table())
    for key, value in values.items():
        table[key] = value


def _replace_text(path: Path, text: str) -> None:
    try:
        replace_text(path, text)
    except OSError as error:
        raise SettingsError(
            f"cannot be written: {error.strerror}",
            file=path,
            remedy="make the folder writable, or set MITTELSTIMME_HOME to one that is",
        ) from None
