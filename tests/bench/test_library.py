"""Ten thousand exercises: reading a file against indexing it, and what a search costs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.score.many import fill, text_of
from trainer.score import index
from trainer.score.index import Entry, _read, entry
from trainer.score.kern import parse_exercise
from trainer.score.library import Library
from trainer.score.similar import similar_to

COUNT = 10_000
READ = 500  # files read; the others' rows are these with other names and melodies


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Library:
    """Ten thousand files and their rows. Reading them all would take most of the time, and is
    timed by itself below."""
    folder = tmp_path_factory.mktemp("many")
    fill(folder, COUNT)
    known = [entry(parse_exercise(text_of(number))) for number in range(READ)]

    def read(path: Path) -> list[Entry]:
        if path.parent != folder:
            return _read(path)
        number = int(path.stem.removeprefix("piece-"))
        turned, like = divmod(number, READ)
        melody = known[like].outline_text
        return [
            known[like]._replace(
                path=str(path),
                id=path.stem,
                title=f"Tune {number}",
                tune=f"Tune {number // 3}",
                outline_text=melody[turned:] + melody[:turned],
            )
        ]

    library = Library([folder], index=folder / "index.sqlite")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(index, "_read", read)
        library.refresh()
    return library


def again(library: Library) -> Library:
    return Library(library.folders, index=library._file)


def test_index_one_file(benchmark: Any) -> None:
    texts = iter(range(10**9))
    benchmark(lambda: entry(parse_exercise(text_of(next(texts)))))
    benchmark.extra_info["of_the_2_ms_a_file_may_take"] = round(
        benchmark.stats.stats.median / 0.002, 2
    )


@pytest.mark.parametrize(
    "question",
    [{}, {"words": "tune 77"}, {"figuring": "4 2", "level": (3, 5)}, {"key": "C", "metre": "3/4"}],
    ids=["list", "words", "figuring", "key"],
)
def test_search_ten_thousand_from_a_cold_start(
    benchmark: Any, full: Library, question: dict[str, Any]
) -> None:
    found = benchmark(lambda: again(full).search(**question))
    assert found
    benchmark.extra_info["of_the_100_ms_a_search_may_take"] = round(
        benchmark.stats.stats.median / 0.1, 2
    )


def test_settings_of_one_melody_among_ten_thousand(benchmark: Any, full: Library) -> None:
    entries = full.entries()
    wanted = next(item for item in entries if item.id == "piece-500")
    matches = benchmark(lambda: similar_to(wanted, entries))
    assert matches[0].entry.id == "piece-500"


def test_the_index_of_a_full_library_stays_small(full: Library) -> None:
    size = Path(full._file).stat().st_size
    assert size < 1500 * COUNT
