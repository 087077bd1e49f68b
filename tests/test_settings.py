"""The settings file: small, hand-editable, never lost."""

from __future__ import annotations

import json
import os
import tomllib
from pathlib import Path

import pytest

from trainer import settings as own
from trainer.commands import main
from trainer.errors import SettingsError
from trainer.setting_values import Choice
from trainer.settings import PLAYER_SETTINGS, Player, Settings, changed, load, save
from trainer.sound.tone import STOPS
from trainer.sound.tuning import TEMPERAMENTS


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "settings.toml"


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(list(arguments))
    out, err = capsys.readouterr()
    return int(end.value.code or 0), out, err


def test_a_first_start_writes_one_player_who_keeps_the_same_id(path: Path) -> None:
    first = load(path)
    assert load(path) == first
    assert first.player.id == tomllib.loads(path.read_text())["players"][first.playing]["id"]


def test_what_is_saved_is_what_is_loaded(path: Path) -> None:
    settings = load(path)
    for name, value in (
        ("hands", "2+2"),
        ("shift-left", "-1"),
        ("school", "chorale"),
        ("tolerance", "0.2"),
        ("supply", "melody,bass"),
        ("sound", "plucked"),
        ("temperament", "meantone-sixth"),
        ("pitch", "415"),
        ("volume", "0.5"),
        ("text_scale", "1.5"),
        ("ground", "dark"),
        ("reduced_motion", "on"),
        ("log", "postgresql://school/log"),
        ("exercises", "/home/anna/own"),
    ):
        settings = changed(settings, name, value)
    settings = settings.with_latency("Digital Keyboard: 1", 0.0123).played_by(
        "Anna K. “die Ältere”"
    )
    save(settings, path)
    assert load(path) == settings
    assert load(path).latency_of("Digital Keyboard: 1") == 0.0123
    assert load(path).latency_of("another") == 0.0


def test_two_players_keep_their_own_choices(path: Path) -> None:
    settings = changed(load(path).played_by("Berta"), "hands", "2+2")
    settings = changed(settings.played_by("Clara"), "pitch", "392")
    save(settings, path)
    again = load(path)
    assert again.player.name == "Clara"
    assert again.played_by("Berta").player.hands == "2+2"
    assert again.played_by("Berta").player.pitch == 440.0
    assert len({player.id for player in again.players}) == len(again.players) == 3


def test_every_default_is_a_value_its_setting_accepts() -> None:
    player = Player("a", "1")
    for setting in PLAYER_SETTINGS:
        value = getattr(player, setting.name)
        plain = list(value) if isinstance(value, tuple) else value
        assert setting.kind.check(plain) == value


def test_every_choice_of_a_player_stands_in_the_table() -> None:
    names = {setting.name for setting in PLAYER_SETTINGS}
    assert names == set(Player.__dataclass_fields__) - {"name", "id"}


def test_every_tone_and_tuning_that_can_be_chosen_can_be_sounded() -> None:
    kinds = {setting.name: setting.kind for setting in PLAYER_SETTINGS}
    sounds, temperaments = kinds["sound"], kinds["temperament"]
    assert isinstance(sounds, Choice)
    assert isinstance(temperaments, Choice)
    assert set(sounds.words) == {*STOPS, "none"}
    assert set(temperaments.words) == set(TEMPERAMENTS)


def test_comments_and_order_of_a_hand_written_file_are_kept(path: Path) -> None:
    path.write_text(
        '# of the evening class\nplayer = "anna" # first\n\n[players.anna]\nhands = "2+2" # wide\n'
    )
    save(changed(load(path), "volume", "0.6"), path)
    text = path.read_text()
    assert text.startswith('# of the evening class\nplayer = "anna" # first\n')
    assert 'hands = "2+2" # wide' in text
    assert load(path).player.volume == 0.6


def test_a_player_written_by_hand_without_an_id_is_the_same_player_each_time(path: Path) -> None:
    path.write_text('player = "anna"\n[players.anna]\nhands = "2+2"\n')
    assert load(path).player.id == load(path).player.id


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("player = \n", 1, "TOML"),
        ('player = "x"\n\n[players.anna]\nid = "1"\n', 1, "the players are anna"),
        ('[players.anna]\nid = "1"\nhands = "3+1"\n', 3, "1+3, 2+2"),
        ('[players.anna]\nid = "1"\npitch = 500\n', 3, "392 to 466"),
        ('[players.anna]\nid = "1"\nvolume = true\n', 3, "0 to 1"),
        ('[players.anna]\nid = "1"\ntolerance = nan\n', 3, "0.02 to 0.5"),
        ('[players.anna]\nid = "1"\nminutes = 12.5\n', 3, "whole number"),
        ('[players.anna]\nid = "1"\nhand = "2+2"\n', 3, "did you mean hands?"),
        ('[players.anna]\nid = "1"\nsupply = ["alto"]\n', 3, "bass, melody"),
        ('[players.anna]\nid = "1"\n[players.berta]\nid = "1"\n', 2, "two players"),
        ('tempo = 3\n[players.anna]\nid = "1"\n', 1, "not a setting"),
        ('[players.anna]\nid = "1"\nmanuals = "Pedals"\n', 3, "what plays what"),
        ('[players.anna]\nid = "1"\nmanuals = "A = bass, A = left hand"\n', 3, "two things"),
        ('[players.anna]\nid = "1"\nmanuals = 3\n', 3, "a text in quotes"),
        ('[latency]\n"Port: 1" = 3\n', 2, "calibrate"),
        ("log = 3\n", 1, "quotes"),
        ("exercises = [3]\n", 1, "folders"),
        ("\n\nplayers = 3\n", 3, "table"),
    ],
)
def test_a_mistake_is_named_with_its_line_and_nothing_is_lost(
    path: Path, text: str, line: int, words: str
) -> None:
    path.write_text(text)
    with pytest.raises(SettingsError) as error:
        load(path)
    assert str(error.value).startswith(f"{path}:{line}: ")
    assert words in str(error.value)
    assert "\n" not in str(error.value)
    with pytest.raises(SettingsError):
        save(Settings("a", (Player("a", "1"),)), path)
    assert path.read_text() == text


def test_a_file_that_is_not_utf8_is_named_with_its_line(path: Path) -> None:
    path.write_bytes('player = "a"\nlog = "Übung"\n'.encode("latin-1"))
    with pytest.raises(SettingsError, match=r":2: is not UTF-8"):
        load(path)


def test_a_byte_order_mark_before_the_text_is_no_mistake(path: Path) -> None:
    path.write_bytes(b'\xef\xbb\xbfplayer = "a"\r\n[players.a]\r\nid = "1"\r\n')
    assert load(path).playing == "a"


def test_a_write_that_fails_leaves_the_old_file(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = load(path)
    before = path.read_text()

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SettingsError, match="No space left"):
        save(changed(settings, "hands", "2+2"), path)
    assert path.read_text() == before
    assert [file.name for file in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("hands", "4", "choose one of 1+3, 2+2"),
        ("pitch", "high", "392 to 466"),
        ("volum", "0.4", "did you mean volume?"),
        ("key_strip", "maybe", "true or false"),
        ("manuals", "Pedals = tenor", "everything, bass, left hand, right hand"),
        ("manuals", "Console/17 = bass", "they are 1 to 16"),
    ],
)
def test_a_bad_value_on_the_command_line_is_one_line_and_status_2(
    capsys: pytest.CaptureFixture[str], name: str, value: str, words: str
) -> None:
    status, out, err = run(capsys, "settings", "set", name, value)
    assert (status, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1


def test_the_command_shows_where_the_file_is_and_what_is_in_force(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, out, _ = run(capsys, "settings", "set", "hands", "2+2", "--json")
    assert status == 0
    shown = json.loads(out)
    assert Path(shown["file"]).exists()
    assert (shown["version"], shown["settings"]["hands"]) == (1, "2+2")
    status, out, _ = run(capsys, "settings")
    assert status == 0
    assert "2+2" in out
    assert "temperament" in out


def test_reset_keeps_the_broken_file_beside_the_new_one(
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = own.settings_path()
    path.write_text("no settings at all\n")
    status, _, err = run(capsys, "settings")
    assert status == 2
    assert f"{path}:1:" in err
    status, out, _ = run(capsys, "settings", "reset")
    assert status == 0
    kept = path.with_name("settings-1.toml")
    assert kept.read_text() == "no settings at all\n"
    assert str(kept) in out
    load()
