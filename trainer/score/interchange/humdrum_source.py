"""Humdrum made ready for the engraver, which reads notes well but drops parts of figures.

verovio 6.4 loses extender lines, the side of an accidental and the kind of a stroke in `**fb`. So
each figuring is replaced by a mark, which verovio carries to its place in time, and read here.
"""

from __future__ import annotations

from trainer.errors import ExerciseError

_FIGURES = ("**fb", "**fba", "**fbb", "**Bnum", "**B-num")
_CARRIED = "**cdata-fb"  # a spine of any data, which the engraver sets as text
MARK = "X"  # and the number of the token


def marked(text: str) -> tuple[str, tuple[str, ...]]:
    """The text with marks for figurings, and the figurings; raises ExerciseError."""
    tokens: list[str] = []
    kinds: list[str] = []
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for number, line in enumerate(lines):
        if not line or line.startswith("!"):
            continue
        words = line.split("\t")
        if words[0].startswith("*"):
            lines[number] = "\t".join(_CARRIED if word in _FIGURES else word for word in words)
            kinds = _after(kinds, words, number + 1)
        elif not words[0].startswith("="):
            for place, word in enumerate(words):
                if place < len(kinds) and kinds[place] in _FIGURES and word != ".":
                    tokens.append(word)
                    words[place] = f"{MARK}{len(tokens) - 1}"
            lines[number] = "\t".join(words)
    return "\n".join(lines), tuple(tokens)


def _after(kinds: list[str], words: list[str], line: int) -> list[str]:
    """The kinds of the spines after a line of interpretations: begun, split, joined, crossed."""
    if not kinds:
        return list(words)
    if len(words) != len(kinds):
        raise ExerciseError(f"{len(words)} spines where there are {len(kinds)}", line=line)
    found: list[str] = []
    joined = False
    for place, word in enumerate(words):
        kind = word if word.startswith("**") else kinds[_from_where(words, place)]
        if word == "*v" and joined and found and found[-1] == kind:
            continue  # joined with the one before
        joined = word == "*v"
        found += {"*-": [], "*^": [kind, kind], "*+": [kind, ""]}.get(word, [kind])
    return found


def _from_where(words: list[str], place: int) -> int:
    """The spine that stood here before: where two change places, the other's."""
    if words[place] != "*x":
        return place
    if place + 1 < len(words) and words[place + 1] == "*x":
        return place + 1
    return place - 1 if place and words[place - 1] == "*x" else place
