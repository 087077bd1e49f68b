from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.score.many import fill, text_of
from trainer.errors import ExerciseError, PitchError
from trainer.folders import data_folder
from trainer.score.index import Entry, Index, entry
from trainer.score.kern import parse_exercise, read_exercise, write_exercise
from trainer.score.library import Library
from trainer.score.similar import likeness, similar_to
from trainer.score.transpose import transposed

SCALE = """\
!!!OTL: {title}
!!!tune: {tune}
!!!level: 3
!!!tags: scale
**kern\t**fb\t**kern
*k[{signature}]\t*\t*
*{key}:\t*\t*
*M{metre}\t*\t*
*MM60\t*\t*
"""


def ids(entries: tuple[Entry, ...] | list[Entry]) -> list[str]:
    return sorted(item.id for item in entries)


@pytest.fixture
def own(tmp_path: Path) -> Path:
    folder = tmp_path / "own"
    fill(folder / "made up", 12)
    return folder


def test_an_exercise_is_found_by_id_title_and_file(own: Path) -> None:
    library = Library([own])
    by_id = library.find("evening-bells")
    assert library.find("Evening bells") == by_id == library.find("evening BELLS")
    assert library.find(by_id.source) == by_id
    assert library.find("piece-3").title == "Tune 3"


def test_an_id_with_a_key_is_the_piece_in_that_key_and_the_drill_too() -> None:
    library = Library()
    assert str(library.find("evening-bells@Bb").key) == "Bb major"
    assert str(library.find("evening-rain@d").key) == "d minor"
    assert str(library.find("rule-of-the-octave@f#").key) == "f# minor"
    assert str(library.find("rule-of-the-octave").key) == "C major"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("evenng-bells", "did you mean evening-bells"),
        ("Frist frost", "did you mean evening-frost"),
        ("rule-of-the-octve@G", "did you mean rule-of-the-octave"),
        ("zzzzzz", "`exercises list` shows"),
        ("", "`exercises list` shows"),
        ("no/such/file.krn", "no such exercise file"),
        ("..", "this is no exercise file"),
        ("\0", "there is no exercise"),
    ],
)
def test_an_unknown_name_gives_one_line_with_near_names(name: str, says: str) -> None:
    with pytest.raises(ExerciseError) as caught:
        Library().find(name)
    assert says in str(caught.value) and "\n" not in str(caught.value)


def test_a_key_that_does_not_exist_is_named() -> None:
    with pytest.raises(PitchError, match="not a note name"):
        Library().find("evening-bells@H")


def test_the_users_own_exercise_comes_before_a_shipped_one_of_the_same_id(own: Path) -> None:
    mine = own / "evening-bells.krn"
    mine.write_text(text_of(5).replace("Tune 5", "My own bells"))
    assert Library([own]).find("evening-bells").title == "My own bells"


def test_exercises_in_the_data_folder_belong_to_the_library() -> None:
    fill(data_folder() / "exercises", 2)
    assert {"piece-0", "piece-1"} <= set(ids(Library().entries()))


def test_a_title_that_two_pieces_share_is_refused_with_their_ids(own: Path) -> None:
    (own / "one.krn").write_text(text_of(1).replace("Tune 1", "Twins"))
    (own / "two.krn").write_text(text_of(2).replace("Tune 2", "Twins"))
    with pytest.raises(ExerciseError, match="choose of one, two"):
        Library([own]).find("twins")


def test_search_filters_by_all_that_an_exercise_practises() -> None:
    library = Library()
    assert "rule-of-the-octave-c" in ids(library.search(figuring="6 4 2"))
    assert "four-three-cadence" in ids(library.search(figuring="4, 3"))
    assert "four-three-cadence" not in ids(library.search(figuring="4 3"))
    assert "falling-seven-six" in ids(library.search(sequence="falling 7 6"))
    assert "evening-frost" in ids(library.search(cadence="Phrygian"))
    assert ids(library.search("evening", key="d")) == ["evening-river"]
    assert "evening-lamp" in ids(library.search(metre="3/4"))
    assert all(3 <= item.level <= 8 for item in library.search(level=(3, 8)))
    assert "evening-hill" in ids(library.search("hill ROAD"))
    assert library.search("100%") == ()
    assert library.search("_") == library.search("'; DROP TABLE row; --") == ()


def test_the_index_reads_only_what_has_changed(own: Path, tmp_path: Path) -> None:
    index = Index(tmp_path / "index.sqlite")
    assert index.refresh([own]) == 12
    assert index.refresh([own]) == 0
    changed = own / "made up" / "piece-4.krn"
    changed.write_text(text_of(4).replace("Tune 4", "Another"))
    os.utime(changed, ns=(1, 1))
    assert index.refresh([own]) == 1
    (own / "made up" / "piece-5.krn").unlink()
    (own / "more.krn").write_text(text_of(99))
    assert index.refresh([own]) == 1
    found = index.entries([own])
    assert len(found) == 12
    assert {"Another", "Tune 99"} <= {item.title for item in found}
    assert "piece-5" not in ids(found)


def test_a_file_that_cannot_be_read_is_listed_with_its_error(own: Path) -> None:
    (own / "broken.krn").write_text("**kern\t**fb\nthis is wrong\n")
    broken = [item for item in Library([own]).entries() if item.error]
    assert [item.id for item in broken] == ["broken"]
    assert "broken.krn:2:" in broken[0].error
    assert "broken" not in ids(Library([own]).search())


def test_a_file_name_that_is_no_text_is_listed_as_unreadable(own: Path) -> None:
    name = os.fsdecode(b"caf\xe9.krn")
    try:
        (own / name).write_text(text_of(1))
    except OSError:
        pytest.skip("this file system has only UTF-8 names")
    assert [item.id for item in Library([own]).entries() if item.error] == ["caf?"]


def test_a_tag_with_a_bar_in_it_stays_one_tag(own: Path) -> None:
    (own / "tagged.krn").write_text(text_of(1).replace("made up", "a|b, c"))
    found = Library([own]).search(tag="a|b")
    assert [item.id for item in found] == ["tagged"] and found[0].tags[1:] == ("a|b", "c")


def test_a_damaged_or_unwritable_index_stops_nothing(own: Path, tmp_path: Path) -> None:
    damaged = tmp_path / "index.sqlite"
    damaged.write_bytes(b"SQLite format 3\0" + b"\xff" * 5000)
    assert len(Library([own], index=damaged).search("tune")) >= 12
    nowhere = tmp_path / "file" / "index.sqlite"
    nowhere.parent.write_text("no folder")
    assert len(Library([own], index=nowhere).search("tune")) >= 12


def test_an_entry_survives_the_index_unchanged(own: Path, tmp_path: Path) -> None:
    index = Index(tmp_path / "index.sqlite")
    index.refresh([own])
    for item in index.entries([own]):
        assert item == entry(read_exercise(item.path), item.path)


def test_settings_of_one_tune_are_found_in_another_key_metre_and_dress(tmp_path: Path) -> None:
    notes = ("cc", "b", "a", "g", "a", "b", "cc", "dd", "ee", "cc", "dd", "b", "cc")
    plain = [f"4C\t.\t4{note}" for note in notes[:12]]
    bars = [
        f"={n + 1}\t={n + 1}\t={n + 1}\n" + "\n".join(plain[4 * n : 4 * n + 4]) for n in range(3)
    ]
    head = SCALE.format(title="Plain", tune="x", signature="", key="C", metre="4/4")
    first = parse_exercise(head + "\n".join(bars) + "\n==\t==\t==\n*-\t*-\t*-\n", identity="plain")
    dressed = [*notes[:3], "g", "f", *notes[3:12]]  # two notes more, in triple time
    rows = [f"2C\t.\t2{note}" for note in dressed]
    bars = [
        f"={n + 1}\t={n + 1}\t={n + 1}\n" + "\n".join(rows[3 * n : 3 * n + 3]) for n in range(5)
    ]
    head = SCALE.format(title="Dressed", tune="x", signature="", key="C", metre="3/2")
    second = parse_exercise(
        head + "\n".join(bars) + "\n==\t==\t==\n*-\t*-\t*-\n", identity="dressed"
    )
    second = transposed(second, "Eb")
    others = [entry(parse_exercise(text_of(number))) for number in range(200)]
    matches = similar_to(entry(first), [*others, entry(first), entry(second)])
    assert [match.entry.id for match in matches][:2] == ["plain", "dressed"]
    assert matches[0].likeness == 1.0
    assert len(matches) <= 4  # random tunes of forty notes are not like it


def test_every_shipped_setting_finds_its_sisters_over_other_basses() -> None:
    entries = [item for item in Library().entries() if item.outline]
    sisters = 0
    for item in entries:
        wanted = {e.id for e in entries if e.tune and e.tune == item.tune and e.id != item.id}
        found = {match.entry.id: match.likeness for match in similar_to(item, entries)}
        assert wanted <= set(found)
        assert all(found[identity] > 0.95 for identity in wanted)
        sisters += bool(wanted)
    assert sisters >= 20  # at least ten melodies have two basses


def test_likeness_knows_no_key_but_knows_the_tune() -> None:
    tune = (0, 1, 2, 0, 4, 3, 2, 1, 0)
    assert likeness(tune, tuple(height + 3 for height in tune)) == 1.0
    assert likeness(tune, tuple(reversed(range(9)))) < 0.8
    assert likeness(tune, ()) == 0.0


def test_an_exercise_imported_into_the_library_is_found_at_once(own: Path) -> None:
    library = Library([own])
    library.entries()
    text = write_exercise(parse_exercise(text_of(50)))
    (own / "late.krn").write_text(text)
    assert library.find("late").title == "Tune 50"
    assert library.refresh() == 1
