"""How much of the time a block lasts its rendering takes, and how long a key waits to be asked.

Ratios to the block's own duration hold on other machines as far as these are as fast; nothing
here fails on time.
"""

from __future__ import annotations

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from trainer.sound.apart import SoundApart
from trainer.sound.mixer import Mixer
from trainer.sound.rendering import BLOCK
from trainer.sound.requests import Choice
from trainer.sound.tone import RATE, STOPS

BLOCK_SECONDS = BLOCK / RATE


@pytest.mark.parametrize("stop", STOPS)
@pytest.mark.parametrize("voices", [4, 12])
def test_a_block_of_sound_takes_a_small_part_of_its_own_time(
    benchmark: BenchmarkFixture, stop: str, voices: int
) -> None:
    mixer = Mixer(stop=stop)
    for key in range(48, 48 + voices):
        mixer.key_on(key, at=0)
    samples = benchmark(mixer.render, BLOCK)
    assert samples.shape == (BLOCK,)
    if benchmark.stats is not None:
        share = benchmark.stats.stats.median / BLOCK_SECONDS
        benchmark.extra_info["share of the block's own time"] = round(share, 3)
        print(f"\n{voices} voices, {stop}: a block takes {share:.1%} of its own time")


def test_a_key_is_handed_to_the_mixer_at_once(
    benchmark: BenchmarkFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
    output = SoundApart(Choice())
    output.wait_until_open(60)
    benchmark(output.key_on, 60, 90)
    if benchmark.stats is not None:
        worst = benchmark.stats.stats.max * 1000
        print(f"\nkey down to sound asked: {worst:.3f} ms at most; wanted: 2 ms at most")
    assert output._process is not None and output._process.alive
    output.close()
