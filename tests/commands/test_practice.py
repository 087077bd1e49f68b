"""`practice`: passes of every kind, and what happens where something is wrong."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from trainer.care import FIRST_WORDS
from trainer.commands import main
from trainer.folders import HOME
from trainer.journal import LOG_VARIABLE
from trainer.journal.store import Journal
from trainer.listening.typing import ALONE
from trainer.score.library import Library

QUICK = ("--input", "demo", "--view", "none", "--quick")
PIECE = "evening-lamp"
PROGRAM = (sys.executable, "-m", "trainer", "practice")
DEMO = ("--input", "demo", "--view", "terminal")


@pytest.fixture(autouse=True)
def no_display(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(list(arguments))
    out, err = capsys.readouterr()
    return int(end.value.code or 0), out, err


def practised(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    status, out, err = run(capsys, "practice", *arguments, *QUICK, "--json")
    assert status == 0, err
    shown = json.loads(out)
    assert isinstance(shown, dict)
    return shown


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    status, out, err = run(capsys, "practice", *arguments)
    assert status == 2 and out == ""
    lines = err.strip().splitlines()
    assert len(lines) == 1 and lines[0].startswith("mittelstimme: ") and "Traceback" not in err
    return lines[0]


def test_a_pass_of_the_demo_player_ends_in_the_log(capsys: pytest.CaptureFixture[str]) -> None:
    shown = practised(capsys, PIECE)
    assert (shown["format"], shown["version"], shown["exercise"]) == (
        "mittelstimme-practice",
        1,
        PIECE,
    )
    (take,) = shown["takes"]
    verdict = take["verdict"]
    assert verdict["harmony"]["complete"] == verdict["harmony"]["judged"] > 10
    with Journal.open(Path(os.environ[HOME]) / "log.sqlite") as journal:
        kept = journal.take(take["id"])
        assert kept.exercise_id == PIECE and kept.events
        said = journal.verdict(take["id"])
        assert said is not None and said.harmony.complete == verdict["harmony"]["complete"]


def test_without_a_display_the_terminal_view_shows_a_pass(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, out, _ = run(capsys, "practice", PIECE, "--tempo", "400", "--to", "1", "--silent")
    assert status == 0
    assert FIRST_WORDS in out and "bar 1, beat 1: complete" in out
    assert "harmony" in out and "movement" in out and "time" in out
    _, out, _ = run(capsys, "practice", PIECE, "--tempo", "400", "--to", "1", "--silent")
    assert FIRST_WORDS not in out


def test_the_program_alone_begins_a_first_exercise(tmp_path: Path) -> None:
    environment = {**os.environ, HOME: str(tmp_path)}
    program = subprocess.Popen(
        [sys.executable, "-m", "trainer"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        env=environment,
        text=True,
    )
    assert program.stdout is not None
    lines = [program.stdout.readline() for _ in range(4)]
    program.kill()
    program.wait()
    assert any("Triads with a common tone" in line for line in lines)


def test_slips_are_found_in_the_pass(capsys: pytest.CaptureFixture[str]) -> None:
    shown = practised(capsys, PIECE, "--slip", "wrong@4", "--slip", "skipped@9", "--tempo", "60")
    verdict = shown["takes"][0]["verdict"]
    assert {m["index"]: m["outcome"] for m in verdict["moments"] if m["outcome"] != "complete"} == {
        4: "foreign",
        9: "not-played",
    }


def test_the_same_seed_is_the_same_pass(capsys: pytest.CaptureFixture[str]) -> None:
    first, again, other = (
        practised(capsys, PIECE, "--seed", seed)["takes"][0]["verdict"] for seed in ("3", "3", "4")
    )
    assert first == again != other


def test_untimed_a_pass_has_no_time(capsys: pytest.CaptureFixture[str]) -> None:
    verdict = practised(capsys, PIECE, "--untimed")["takes"][0]["verdict"]
    assert verdict["timing"] is None and verdict["harmony"]["complete"] > 10
    assert all(m["think_s"] > 0 for m in verdict["moments"])


def test_a_piece_is_transposed(capsys: pytest.CaptureFixture[str]) -> None:
    shown = practised(capsys, PIECE, "--key", "Eb")
    assert shown["key"] == "Eb major"
    moments = shown["takes"][0]["verdict"]["moments"]
    assert min(moments[0]["keys"]) % 12 == 3 and {m["outcome"] for m in moments} == {"complete"}


def test_transposing_at_sight_is_heard_in_the_new_key(capsys: pytest.CaptureFixture[str]) -> None:
    assert practised(capsys, PIECE, "--key", "A", "--at-sight")["key"] == "A major"
    assert "add --key" in refused(capsys, PIECE, "--at-sight", *QUICK)


def test_inner_voices_only(capsys: pytest.CaptureFixture[str]) -> None:
    shown = practised(capsys, PIECE, "--inner")
    assert shown["conditions"]["supply"] == ["bass", "melody"]
    moments = shown["takes"][0]["verdict"]["moments"]
    assert {len(m["keys"]) for m in moments} <= {1, 2}
    assert {m["outcome"] for m in moments} == {"complete"}


def test_bass_and_figures_without_the_melody(capsys: pytest.CaptureFixture[str]) -> None:
    shown = practised(capsys, PIECE, "--no-melody", "--supply", "bass,melody")
    assert shown["conditions"]["supply"] == ["bass"]
    assert {m["outcome"] for m in shown["takes"][0]["verdict"]["moments"]} == {"complete"}


def test_from_a_bar_and_to_a_phrase(capsys: pytest.CaptureFixture[str]) -> None:
    exercise = Library().find(PIECE)
    shown = practised(capsys, PIECE, "--from", "2", "--to", "p1")
    indices = [m["index"] for m in shown["takes"][0]["verdict"]["moments"]]
    first = next(m.index for m in exercise.moments if m.bar == 2)
    assert indices[0] == first and indices[-1] == exercise.phrases[0].last


def test_a_phrase_is_repeated(capsys: pytest.CaptureFixture[str]) -> None:
    shown = practised(capsys, PIECE, "--from", "p2", "--to", "p2", "--passes", "3")
    assert len(shown["takes"]) == 3 and len({take["id"] for take in shown["takes"]}) == 3


def test_slower_in_one_place_only(capsys: pytest.CaptureFixture[str]) -> None:
    exercise = Library().find(PIECE)
    shown = practised(capsys, PIECE, "--slower", "3-4:0.5")
    ((first, last, share),) = shown["conditions"]["slower"]
    assert (exercise.moments[first].bar, exercise.moments[last].bar, share) == (3, 4, 0.5)
    assert {m["outcome"] for m in shown["takes"][0]["verdict"]["moments"]} == {"complete"}


def test_two_voices_in_each_hand(capsys: pytest.CaptureFixture[str]) -> None:
    assert practised(capsys, PIECE, "--hands", "2+2")["conditions"]["hands"] == "2+2"


def test_without_a_view_every_event_is_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, err = run(capsys, "practice", PIECE, *QUICK)
    lines = [json.loads(line) for line in err.splitlines()]
    assert out == "" and set(lines[0]) == {"began", "origin"} and lines[-1] == {"ended": True}
    assert sum("moment" in line for line in lines) == 15


# ---- what is wrong ------------------------------------------------------------------------------


def test_an_unknown_exercise_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert "no exercise 'evening-lump'" in refused(capsys, "evening-lump", *QUICK)


def test_an_unknown_port_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    said = refused(capsys, PIECE, "--input", "harmonium", "--view", "none")
    assert "no MIDI port 'harmonium'" in said and "--input demo" in said


def test_a_broken_file_is_named_with_its_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    text = (Library().find(PIECE).source and Path(Library().find(PIECE).source)).read_text()
    broken = tmp_path / "broken.krn"
    broken.write_text(text.replace("6 4", "6 x"), encoding="utf-8")
    line = next(n for n, row in enumerate(broken.read_text().splitlines(), 1) if "6 x" in row)
    assert f"broken.krn:{line}:" in refused(capsys, str(broken), *QUICK)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--tempo", "9999"), "9999 beats a minute cannot be played"),
        (("--tempo", "0"), "0 beats a minute cannot be played"),
        (("--tempo", "60", "--untimed"), "exclude each other"),
        (("--from", "90"), "bar 90"),
        (("--to", "p9"), "no phrase 9"),
        (("--from", "x"), "no place"),
        (("--from", "4", "--to", "2"), "ends before"),
        (("--key", "H"), "'H'"),
        (("--key", "G minor"), "g minor"),
        (("--supply", "alto"), "alto"),
        (("--slower", "fast"), "slower"),
        (("--slower", "2:3.5"), "slower"),
        (("--slip", "wrong"), "--slip"),
        (("--slip", "wrong@900"), "moment 900"),
    ],
)
def test_what_cannot_be_asked_for_is_one_line(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], said: str
) -> None:
    assert said in refused(capsys, PIECE, *arguments, *QUICK)


def test_a_loop_needs_two_moments(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    one = tmp_path / "one.krn"
    one.write_text(
        "!!!OTL: One\n!!!id: one\n**kern\t**fb\n*Ibass\t*\n*clefF4\t*\n*k[]\t*\n*C:\t*\n*M4/4\t*\n"
        "*MM60\t*\n=1\t=1\n1C;\t.\n==\t==\n*-\t*-\n"
    )
    assert "too short for a loop" in refused(capsys, str(one), "--loop", *QUICK)


def test_a_log_that_cannot_be_written_is_gone_without(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    occupied = tmp_path / "occupied"
    occupied.write_text("a file where a folder should be")
    monkeypatch.setenv(LOG_VARIABLE, str(occupied / "log.sqlite"))
    status, out, err = run(capsys, "practice", PIECE, *QUICK, "--json")
    assert status == 0 and json.loads(out)["takes"][0]["id"] is None
    (said,) = [line for line in err.splitlines() if line.startswith("mittelstimme")]
    assert "going on without a log" in said


def test_no_folder_can_be_written_and_practice_goes_on(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    occupied = tmp_path / "occupied"
    occupied.write_text("a file where a folder should be")
    monkeypatch.setenv(HOME, str(occupied / "home"))
    status, out, err = run(capsys, "practice", *QUICK, "--json")
    assert status == 0 and json.loads(out)["takes"]
    (said,) = [line for line in err.splitlines() if line.startswith("mittelstimme")]
    assert "going on without a log: nothing will be kept" in said


def test_without_an_audio_device_practice_goes_on_and_says_so(tmp_path: Path) -> None:
    """In a process of its own, since SDL chooses its audio driver once."""
    done = subprocess.run(
        [*PROGRAM, PIECE, "--tempo", "400", "--to", "0", *DEMO],
        env={**os.environ, HOME: str(tmp_path), "SDL_AUDIODRIVER": "none-such"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0 and "playing silently" in done.stdout


# ---- letters on a terminal -----------------------------------------------------------------------


def test_letters_on_a_terminal_are_keys(tmp_path: Path) -> None:
    piece = tmp_path / "two.krn"
    piece.write_text(
        "!!!OTL: Two chords\n!!!id: two\n**kern\t**fb\t**kern\n*Ibass\t*\t*Isoprn\n"
        "*clefF4\t*\t*clefG2\n*k[]\t*\t*k[]\n*C:\t*\t*C:\n*M4/4\t*\t*M4/4\n*MM60\t*\t*MM60\n"
        "=1\t=1\t=1\n2C\t.\t2ee\n2GG;\t.\t2dd;\n==\t==\t==\n*-\t*-\t*-\n"
    )
    home = tmp_path / "home"
    leader, follower = pty.openpty()
    program = subprocess.Popen(
        [sys.executable, "-m", "trainer", "practice", str(piece), "--untimed", "--silent"],
        stdin=follower,
        stdout=follower,
        stderr=follower,
        env={**os.environ, HOME: str(home), "TERM": "xterm"},
        close_fds=True,
    )
    os.close(follower)
    shown = _read_until(leader, "space to begin")
    os.write(leader, b" ")
    _read_until(leader, "untimed")
    os.write(leader, b"b,")  # g and c, with c and e supplied
    _read_until(leader, "beat 1: complete")
    time.sleep(2 * ALONE)  # letters that come sooner would still belong to the first chord
    os.write(leader, b"bm")  # g and b, with g and d supplied
    shown += _read_until(leader, "harmony")
    assert program.wait(120) == 0
    assert "complete" in shown
    with Journal.open(home / "log.sqlite") as journal:
        (summary,) = journal.takes()
        said = journal.verdict(summary.id)
    assert said is not None and [m.keys for m in said.moments] == [(55, 60), (55, 59)]


def _read_until(terminal: int, words: str, seconds: float = 120.0) -> str:
    import select

    shown, until = "", time.monotonic() + seconds
    while words not in shown:
        assert time.monotonic() < until, f"{words!r} did not come: {shown[-400:]!r}"
        if select.select([terminal], [], [], 0.2)[0]:
            try:
                shown += os.read(terminal, 4096).decode("utf-8", "replace")
            except OSError:
                break
    assert words in shown, shown[-400:]
    return shown
