"""What completes each figuring: the table a thoroughbass book has on its first pages.

Intervals count over the bass and concern the upper voices; 8 is the bass's own letter. `written`
lists the stacks a row answers to, highest figure first, separated by `|` (compound numerals above
9 are folded before looking up; 9 and 2 are different figures). `readings` are the ways to sound
it, separated by `;`; within one, `|` separates the completions for three upper voices, best first.
`bold` must sound, whichever voice has it, and so must whatever is written but for a fifth as the
key has it, which may only cancel what went before. `dissonant` names what is treated as a
dissonance: `s` a suspension (prepared, stepping down), `c` a chord dissonance (steps down), `f` a
free dissonance (diminished fifth: closes), `k` the cadential 6 and 4; `1` stands for the bass.
`added` may enrich the chord without contradicting the figuring.

Where the sources leave a choice: a raised 4 is read as 4 2 and must have its 2, or it would be a
6 4; under a 9 the third must sound, as in every full chord without a 4; a triad figured with
nothing whose fifth is diminished may take the 6, as it may where the 5 is written. The 7 of 7 4
is the seventh of the dominant, unless it is a major seventh: that is the leading tone over its
held final, and rises.

Source: common practice; F. T. Arnold, The Art of Accompaniment from a Thorough-Bass (1931), and
the older tables it collects (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table. `sounding` restricts it: `raised-4`, `raised-6`, `diminished-5`,
    `minor-7`."""

    written: str
    bold: str
    readings: str
    dissonant: str = ""
    added: str = ""
    sounding: str = ""


# fmt: off
TABLE: tuple[Row, ...] = (
    # Rows with a condition come first: they are tried before the general row of the same stack.
    Row("5 | 5 3 | 8 5 | 8 5 3", "5 3", "3 5 6 | 3 5 8 | 3 3 5", "5f", "7", "diminished-5"),
    Row(" | 3 | 8 | 8 3",      "3", "3 5 8 | 3 3 5 | 3 8 8 | 3 3 8 | 3 5 5", "", "7 6",
                                                                              "diminished-5"),
    Row("6",                 "6 3", "3 6 8 | 3 3 6 | 3 4 6",       "",     "5", "raised-6"),
    Row("4 | 4 2 | 6 4 2",   "4 2", "2 4 6 | 2 2 4",               "1c",   "",  "raised-4"),
    Row("7 4",               "7 4", "4 7 8 | 4 5 7 | 2 4 7",       "7c 4s", "", "minor-7"),

    Row(" | 3 | 5 | 8 | 5 3 | 8 3 | 8 5 | 8 5 3",
                             "3", "3 5 8 | 3 3 5 | 3 8 8 | 3 3 8 | 3 5 5",              added="7"),
    Row("6 | 6 3 | 8 6 | 8 6 3", "6 3", "3 6 8 | 3 3 6 | 3 6 6",                      added="5 4"),
    Row("6 5 | 6 5 3",     "6 5 3", "3 5 6",                       "5c"),
    Row("4 3 | 6 4 3",       "4 3", "3 4 6",                       "3c"),
    Row("4 2 | 6 4 2",       "4 2", "2 4 6 | 2 2 4",               "1c"),
    Row("2",                   "2", "2 4 6 ; 2 5 5 | 2 2 5",       "1c"),
    Row("5 2",               "5 2", "2 2 5 | 2 5 5",               "1c"),
    Row("5 4 2",           "5 4 2", "2 4 5",                       "1c"),
    Row("6 4 | 8 6 4",       "6 4", "4 6 8 | 4 6 6 | 4 4 6",       "6k 4k"),
    Row("7 | 7 3",           "7 3", "3 5 7 | 3 7 8 | 3 3 7",       "7c"),
    Row("8 7 | 8 7 3",       "7 3", "3 7 8 | 3 5 7 | 3 3 7",       "7c"),
    Row("7 5 | 7 5 3",     "7 5 3", "3 5 7",                       "7c"),
    Row("4 | 5 4 | 8 4 | 8 5 4", "4", "4 5 8 | 4 8 8 | 4 5 5",     "4s"),
    Row("9 | 9 3 | 9 5 | 9 5 3", "9 3", "3 5 9 | 3 3 9",            "9s"),
    Row("9 7 | 9 7 3",     "9 7 3", "3 7 9",                       "9s 7c"),
    Row("9 4 | 9 5 4",       "9 4", "4 5 9",                       "9s 4s"),
    Row("9 6 | 9 6 3",     "9 6 3", "3 6 9",                       "9s"),
    Row("9 7 4",           "9 7 4", "4 7 9",                       "9s 7c 4s"),
    Row("7 4",               "7 4", "4 7 8 | 4 5 7 | 2 4 7",       "4s"),
    Row("7 2 | 7 4 2",       "7 2", "2 4 7"),
    Row("7 5 2",           "7 5 2", "2 5 7"),
    Row("7 5 4",           "7 5 4", "4 5 7",                       "7c 4s"),
    Row("7 6",               "7 6", "3 6 7 | 4 6 7",               "7s"),
    Row("7 6 4",           "7 6 4", "4 6 7",                       "7s"),
    Row("7 6 2",           "7 6 2", "2 6 7",                       "7s"),
    Row("6 5 4",           "6 5 4", "4 5 6",                       "5c"),
)
# fmt: on
