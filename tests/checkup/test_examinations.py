"""What `doctor` finds where something is amiss; each test breaks one thing in earnest if it can."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from trainer.apart.haste import Haste
from trainer.checkup import devices, own_files, program
from trainer.checkup.finding import Finding, examined
from trainer.errors import SettingsError
from trainer.folders import HOME
from trainer.journal import default_path
from trainer.journal.store import Journal
from trainer.listening import ports
from trainer.listening.chosen_ports import Port
from trainer.settings import changed, load, save, settings_path

Env = pytest.MonkeyPatch


def only(found: tuple[Finding, ...], about: str) -> Finding:
    (one,) = [finding for finding in found if finding.about == about]
    return one


# ---- limits ---------------------------------------------------------------------------------


def test_one_that_hangs_is_given_up_and_the_others_are_told() -> None:
    never = threading.Event()

    def hangs() -> tuple[Finding, ...]:
        never.wait(120)  # without the limit it would come to an end, and well
        return ()

    fine = Finding("b", "good", "fine")
    found = examined({"a": hangs, "b": lambda: (fine,)}, limit=0.3)
    assert found[1] == fine
    assert found[0].about == "a" and found[0].state == "wrong" and "0.3 s" in found[0].said
    never.set()


def test_whatever_an_examination_raises_becomes_one_line() -> None:
    def ours() -> tuple[Finding, ...]:
        raise SettingsError("is not TOML", file="a.toml", remedy="correct it")

    def theirs() -> tuple[Finding, ...]:
        raise RuntimeError("two\nlines")

    first, second = examined({"a": ours, "b": theirs})
    assert (first.state, first.said, first.remedy) == ("wrong", "a.toml: is not TOML", "correct it")
    assert second.said == "RuntimeError: two lines" and second.remedy


@pytest.mark.parametrize(
    ("entry", "said", "within"), [("serve", "no answer", 0.5), ("fall", "the driver fell", 60.0)]
)
def test_a_driver_that_hangs_or_falls_takes_only_its_process(
    monkeypatch: Env, entry: str, said: str, within: float
) -> None:
    monkeypatch.setattr(devices, "SCREEN", f"tests.checkup.hanging:{entry}")
    monkeypatch.setattr(devices, "ANSWERS_WITHIN", within)
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    (found,) = devices.screen()
    assert found.state == "wrong" and said in found.said and "terminal" in found.remedy


# ---- the program ----------------------------------------------------------------------------


def test_a_python_that_is_too_old_is_fatal() -> None:
    assert program.python((3, 11, 0)).state == "good"
    old = program.python((3, 10, 99))
    assert old.state == "fatal" and "3.11" in old.remedy


def test_a_library_that_cannot_be_loaded_is_fatal_and_named(monkeypatch: Env) -> None:
    assert program.libraries()[0].state == "good"
    monkeypatch.setitem(program._NEEDED, "numpy", "no_such_numpy")
    (found,) = program.libraries()
    assert found.state == "fatal" and "numpy (ModuleNotFoundError" in found.said
    assert "install" in found.remedy


def test_two_libraries_of_one_name_are_told(monkeypatch: Env) -> None:
    monkeypatch.setattr(program, "_installed", lambda name: True)
    (found,) = program.libraries()
    assert found.state == "wrong" and "overwrite" in found.said


def test_fonts_that_are_missing_or_damaged_are_fatal(tmp_path: Path, monkeypatch: Env) -> None:
    assert program.fonts()[0].state == "good"
    real = program.assets_folder() / "fonts"
    shutil.copytree(real, tmp_path / "fonts")
    monkeypatch.setattr(program, "assets_folder", lambda: tmp_path)
    assert program.fonts()[0].state == "good"
    (tmp_path / "fonts" / "EBGaramond12-Italic.otf").write_bytes(b"")
    (tmp_path / "fonts" / "MittelstimmeSigns.ttf").unlink()
    (found,) = program.fonts()
    assert found.state == "fatal"
    assert "EBGaramond12-Italic.otf" in found.said and "MittelstimmeSigns.ttf" in found.said


def test_exercises_that_are_gone_are_fatal_and_a_lost_folder_is_named(
    tmp_path: Path, monkeypatch: Env
) -> None:
    assert program.exercises()[0].state == "good"
    load()
    settings_path().write_text(f'exercises = ["{tmp_path / "gone"}"]\n')
    (found,) = program.exercises()
    assert found.state == "wrong" and str(tmp_path / "gone") in found.said
    monkeypatch.setattr(program, "exercises_folder", lambda: tmp_path)
    assert program.exercises()[0].state == "fatal"


# ---- files ----------------------------------------------------------------------------------


def test_a_fresh_home_is_good_and_nothing_is_made_there(_own_home: Path) -> None:
    found = (*own_files.home(), *own_files.settings(), *own_files.log())
    assert {one.state for one in found} == {"good"}
    assert list(_own_home.iterdir()) == []


def test_a_home_that_cannot_be_written_is_told(tmp_path: Path, monkeypatch: Env) -> None:
    file = tmp_path / "file"
    file.write_text("")
    monkeypatch.setenv(HOME, str(file / "home"))
    (found,) = own_files.home()
    assert found.state == "wrong" and str(file) in found.said and HOME in found.remedy
    monkeypatch.setenv(HOME, "/proc/mittelstimme")  # nobody may write there, not even root
    if Path("/proc").is_dir():
        assert own_files.home()[0].state == "wrong"


def test_a_disk_that_is_nearly_full_is_told(monkeypatch: Env) -> None:
    monkeypatch.setattr(own_files.shutil, "disk_usage", lambda _: SimpleNamespace(free=49_999_999))
    assert own_files.home()[0].state == "wrong"
    monkeypatch.setattr(own_files.shutil, "disk_usage", lambda _: SimpleNamespace(free=50_000_000))
    assert own_files.home()[0].state == "good"


def test_settings_with_a_mistake_are_fatal_and_the_line_is_named() -> None:
    load()
    settings_path().write_text('player = "x\n')
    (found,) = own_files.settings()
    assert found.state == "fatal" and "settings.toml:1:" in found.said and "reset" in found.remedy


@pytest.fixture
def log() -> Iterator[Path]:
    Journal.open(default_path()).close()
    yield default_path()


def test_a_sound_log_is_counted(log: Path) -> None:
    assert own_files.log() == (Finding("log", "good", f"0 takes in {log}"),)


def test_a_log_that_is_none_or_damaged_is_told_with_its_remedy(log: Path) -> None:
    data = bytearray(log.read_bytes())
    pages = len(data) // 4096
    data[4096 * (pages // 2) : 4096 * (pages // 2 + 3)] = b"\xff" * 4096 * 3
    log.write_bytes(data)
    (found,) = own_files.log()
    assert found.state == "wrong" and "verify" in found.remedy
    log.write_bytes(bytes(data[:5000]))  # cut off
    assert own_files.log()[0].state == "wrong"
    log.write_text("a letter")
    (found,) = own_files.log()
    assert found.state == "wrong" and "not a log" in found.said


# ---- devices --------------------------------------------------------------------------------


def test_no_display_is_done_without_and_a_dead_one_is_told(monkeypatch: Env) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    (none,) = devices.screen()
    assert none.state == "without" and "terminal" in none.remedy
    monkeypatch.setenv("DISPLAY", ":6999")  # above what a test server is given
    (dead,) = devices.screen()
    assert dead.state == "wrong"


@pytest.mark.parametrize("driver", ["dummy", "disk"])
def test_a_device_that_opens_is_good(monkeypatch: Env, tmp_path: Path, driver: str) -> None:
    """SDL's own drivers: one plays to nobody, one into a file."""
    monkeypatch.setenv("SDL_AUDIODRIVER", driver)
    monkeypatch.setenv("SDL_DISKAUDIOFILE", str(tmp_path / "raw"))
    stops, sound = devices.sound()
    assert sound == Finding("sound", "good", "the device opens")
    assert "organ" in stops.said and "equal" in stops.said


def test_no_audio_device_is_done_without(monkeypatch: Env) -> None:
    monkeypatch.setenv("SDL_AUDIODRIVER", "no-such-driver")
    _, sound = devices.sound()
    assert sound.state == "without" and "no audio device" in sound.said and sound.remedy


def test_an_instrument_that_is_not_there_is_told_with_its_remedies() -> None:
    save(changed(load(), "midi_out", "No Such Instrument"))
    _, sound = devices.sound()
    assert sound.state == "wrong" and "midi_out" in sound.remedy and "--silent" in sound.remedy


def found(interfaces: dict[str, str], *names: str) -> ports.Found:
    listed = tuple(Port(name, "ALSA", name) for name in names)
    return ports.Found("RtMidi 5", tuple(interfaces.items()), listed)


def test_interfaces_that_do_not_answer_are_told_by_how_much_they_are_missed(
    monkeypatch: Env,
) -> None:
    nothing = {"ALSA": "no sequencer", "JACK": "no server"}
    monkeypatch.setattr(ports, "found", lambda: found(nothing))
    looked = devices.midi()
    assert only(looked, "ALSA").state == "wrong" and "snd-seq" in only(looked, "ALSA").remedy
    assert only(looked, "JACK").state == "without" and "no server" in only(looked, "JACK").said
    assert only(looked, "keyboards").state == "without"
    monkeypatch.setattr(ports, "found", lambda: found({"ALSA": "none", "JACK": ""}, "Great"))
    looked = devices.midi()
    assert only(looked, "ALSA").state == "without" and only(looked, "JACK").state == "good"
    assert only(looked, "keyboards") == Finding("keyboards", "good", "Great (ALSA)")


def test_what_keyboards_are_told_to_play_is_held_against_those_there_are(monkeypatch: Env) -> None:
    monkeypatch.setattr(ports, "found", lambda: found({"ALSA": ""}, "Great", "Pedals"))
    save(load())
    assert not [finding for finding in devices.midi() if finding.about == "manuals"]
    save(changed(load(), "manuals", "pedals = bass"))
    assert only(devices.midi(), "manuals") == Finding("manuals", "good", "pedals = bass")
    save(changed(load(), "manuals", "pedals = bass, Swell = left hand"))
    told = only(devices.midi(), "manuals")
    assert (told.state, told.said) == (
        "wrong",
        "there is no keyboard 'Swell' to play the left hand",
    )
    assert "settings set manuals" in told.remedy


def test_settings_that_cannot_be_read_hide_no_keyboard(monkeypatch: Env) -> None:
    monkeypatch.setattr(ports, "found", lambda: found({"ALSA": ""}, "Great"))
    save(load())
    settings_path().write_text("player = ", encoding="utf-8")
    assert only(devices.midi(), "keyboards").state == "good"


@pytest.mark.parametrize(
    ("hurries", "state"), [("real time", "good"), ("raised", "good"), ("usual", "without")]
)
def test_whether_listening_is_woken_in_time_is_told(
    monkeypatch: Env, hurries: Haste, state: str
) -> None:
    one = replace(found({"ALSA": ""}, "Great"), hurries=(hurries,))
    monkeypatch.setattr(ports, "found", lambda: one)
    told = only(devices.midi(), "listening")
    assert told.state == state and bool(told.remedy) == (state != "good")


def test_a_terminal_without_signs_is_told(monkeypatch: Env) -> None:
    ascii_only = SimpleNamespace(encoding="ascii", isatty=lambda: False)
    monkeypatch.setattr(devices.sys, "stdout", ascii_only)
    assert devices.terminal()[0].state == "without"
    monkeypatch.setattr(
        devices.sys, "stdout", SimpleNamespace(encoding="utf-8", isatty=lambda: False)
    )
    assert devices.terminal()[0].state == "good"
