"""The rules, as data: identifier, weight, what a student reads, where it comes from, an example.

`gross` is wrong in any school, `weak` is avoided, `remark` is advice. A school is a list of
departures from the strict four-part keyboard school.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trainer.theory.fault import WEIGHTS, Weight

RULES_VERSION = 5

Group = Literal["harmony", "doubling", "dissonance", "movement", "position"]
School = Literal["strict", "chorale", "free"]

COMMON = "common practice, no single source"
ARNOLD = "F. T. Arnold, The Art of Accompaniment from a Thorough-Bass (1931), from memory"


@dataclass(frozen=True, slots=True)
class Example:
    """Chords that break the rule: `chords` as notes bass first, one figuring each, in a key.

    `bass` and `melody` are what is written, where the chord has something else there. `held` are
    the notes of the chord before that stay down all through the last one.
    """

    key: str
    figurings: tuple[str, ...]
    chords: tuple[str, ...]
    bass: str = ""
    melody: str = ""
    held: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """`sentence` is what a student reads, `{voices}` and `{notes}` filled in with the case."""

    id: str
    weight: Weight
    group: Group
    title: str
    sentence: str
    explanation: str
    source: str
    example: Example


def rule(id: str) -> Rule:
    """The rule of that identifier; KeyError if there is none."""
    return _BY_ID[id]


def weight(id: str, school: School, across_fermata: bool = False) -> Weight | None:
    """How heavy a fault is in a school, None where the school does not mind it.

    Across a fermata, where the phrase has breathed, a gross fault weighs one step less.
    """
    heavy = SCHOOLS[school].get(id, _BY_ID[id].weight)
    if heavy == "gross" and across_fermata:
        return WEIGHTS[1]
    return heavy


# what a school thinks of a rule where it departs from the strict one; None = not minded
SCHOOLS: dict[School, dict[str, Weight | None]] = {
    "strict": {},
    "chorale": {
        "consecutives-by-contrary-motion": "remark",
        "hidden-octave": "remark",
        "hidden-fifth": "remark",
        "overlap": "remark",
        "unequal-fifths": "remark",
        "leap-in-middle-voice": None,
    },
    "free": {
        "consecutives-by-contrary-motion": None,
        "hidden-octave": None,
        "hidden-fifth": None,
        "overlap": None,
        "unequal-fifths": "remark",
        "leap-in-middle-voice": None,
        "doubled-raised-note": "remark",
        "augmented-step": "remark",
        "spacing": "remark",
        "too-low": "remark",
        "too-high": None,
        "addition": None,
        "dissonance-by-leap": None,
        "needless-motion": None,
    },
}


RULES: tuple[Rule, ...] = (
    # harmony
    Rule(
        "missing-third",
        "gross",
        "harmony",
        "The third is missing",
        "the third, {notes}, is missing",
        "A triad without its third is neither major nor minor. The fifth may be left out of a "
        "full chord, the third may not.",
        COMMON,
        Example("C", ("",), ("c3 g3 c4 g4",)),
    ),
    Rule(
        "missing-figure",
        "gross",
        "harmony",
        "A figure is not played",
        "the figuring asks for {notes}, which does not sound",
        "What is written over the bass, and what the completion table prints bold, must sound in "
        "some voice; the melody may be the one that has it.",
        ARNOLD,
        Example("C", ("7",), ("g2 g3 b3 d4",)),
    ),
    Rule(
        "foreign-note",
        "gross",
        "harmony",
        "A note that is not in the figuring",
        "{notes} contradicts the figuring",
        "Every note of the upper voices is an interval the figuring allows over this bass, in the "
        "signature unless an accidental is written.",
        COMMON,
        Example("C", ("",), ("c3 e3 a3 c4",)),
    ),
    Rule(
        "held-too-long",
        "weak",
        "harmony",
        "A key held into the next chord",
        "{notes} is held too long, into a chord it does not belong to",
        "Legato overlaps a little. A key of the chord before that stays down through half of the "
        "next one, and longer than a third of a beat, sounds in it. Where the new chord has all "
        "its voices without it, it is only the finger that has to leave.",
        COMMON,
        Example("C", ("", ""), ("c3 g3 c4 e4", "g2 g3 b3 d4"), held="c4"),
    ),
    Rule(
        "addition",
        "remark",
        "harmony",
        "More than the figuring asks",
        "{notes} is added to what is written",
        "Players enrich figurings: a seventh on a triad, a fifth or a fourth with a sixth. It is "
        "no mistake, but it is not what is written.",
        ARNOLD,
        Example("C", ("",), ("g2 f3 b3 d4",)),
    ),
    Rule(
        "wrong-bass",
        "gross",
        "harmony",
        "Another bass than written",
        "the bass should be {notes}",
        "The bass is given; figures count from it.",
        COMMON,
        Example("C", ("",), ("e3 g3 c4 g4",), bass="c3"),
    ),
    Rule(
        "wrong-melody",
        "gross",
        "harmony",
        "Another melody than written",
        "the melody should be {notes}",
        "The melody is given and stays on top.",
        COMMON,
        Example("C", ("",), ("c3 g3 c4 e4",), melody="g4"),
    ),
    Rule(
        "another-octave",
        "remark",
        "harmony",
        "A given note in another octave",
        "{voices} should be {notes}, which was played in another octave",
        "The note is right, the place is not: the distance between the outer voices is part of "
        "what the middle has to fill.",
        COMMON,
        Example("C", ("",), ("c2 g3 c4 e4",), bass="c3"),
    ),
    # doubling
    Rule(
        "doubled-leading-tone",
        "gross",
        "doubling",
        "The leading tone doubled",
        "{voices} double the leading tone {notes}",
        "Two leading tones want to rise to the same note: they either make octaves or one of "
        "them goes astray.",
        COMMON,
        Example("C", ("",), ("g2 b3 d4 b4",)),
    ),
    Rule(
        "doubled-dissonance",
        "gross",
        "doubling",
        "A dissonance doubled",
        "{voices} double the dissonance {notes}",
        "A dissonance has one way to go. Doubled, both would go there together.",
        COMMON,
        Example("C", ("7",), ("g2 f3 b3 f4",)),
    ),
    Rule(
        "doubled-raised-note",
        "weak",
        "doubling",
        "A raised note doubled",
        "{voices} double the raised note {notes}",
        "A note an accidental raises is mostly the leading tone of a passing key, and conspicuous "
        "besides.",
        COMMON,
        Example("C", ("#",), ("d3 f#3 a3 f#4",)),
    ),
    # dissonance
    Rule(
        "unprepared-suspension",
        "gross",
        "dissonance",
        "A suspension without preparation",
        "{notes} in the {voices} was not there before",
        "The 4 of 4 3, the 9 of 9 8 and the 7 of 7 6 are notes left over from the chord before, "
        "in the same voice.",
        COMMON,
        Example("C", ("", "4"), ("c3 e3 g3 c4", "g2 g3 c4 d4")),
    ),
    Rule(
        "unresolved-dissonance",
        "gross",
        "dissonance",
        "A dissonance left without resolution",
        "the dissonance {notes} in the {voices} does not step down",
        "Seventh, ninth, the 4 of 4 3, the 5 of 6 5 and the 3 of 4 3 step down in their own voice; "
        "over a held bass the 6 4 goes on to 5 3.",
        COMMON,
        Example("C", ("7", ""), ("g2 f3 b3 d4", "c3 g3 c4 e4")),
    ),
    Rule(
        "delayed-resolution",
        "remark",
        "dissonance",
        "A dissonance resolved late or elsewhere",
        "the dissonance {notes} in the {voices} resolves late, or in another voice",
        "A note may come between, the bass may move meanwhile, or another voice may take the "
        "resolution when the position changes. It is allowed; the ear must follow it.",
        ARNOLD,
        Example("C", ("7", "6"), ("g2 b3 d4 f4", "e3 c4 c4 g4")),
    ),
    Rule(
        "dissonance-by-leap",
        "remark",
        "dissonance",
        "A dissonance entered by leap",
        "the {voices} leaps into the dissonance {notes}",
        "A seventh that was there before, or is reached by step, is smoother; over the dominant "
        "it may enter freely.",
        COMMON,
        Example("C", ("", "7"), ("f3 a3 c4 a4", "a2 c4 g4 a4")),
    ),
    Rule(
        "tritone-astray",
        "weak",
        "dissonance",
        "A tritone that does not close or open",
        "{notes} in the {voices} forms a tritone with the bass and does not go on by step",
        "The diminished fifth closes, its upper note stepping down; the augmented fourth opens, "
        "its upper note stepping up.",
        COMMON,
        Example("C", ("5", ""), ("b2 f3 d4 g4", "c3 c4 e4 g4")),
    ),
    Rule(
        "leading-tone-astray",
        "weak",
        "dissonance",
        "The leading tone does not rise",
        "the leading tone {notes} in the {voices} does not rise",
        "In an outer voice the leading tone rises to the final when that sounds next. In an inner "
        "voice it may fall a third to fill the chord.",
        COMMON,
        Example("C", ("", ""), ("g2 d4 g4 b4", "c3 e4 g4 g4")),
    ),
    # movement
    Rule(
        "consecutive-octaves",
        "gross",
        "movement",
        "Consecutive octaves",
        "{voices} move in consecutive octaves",
        "Two voices an octave apart that both move to an octave again in the same direction "
        "become one voice.",
        COMMON,
        Example("C", ("", ""), ("c3 e4 g4 c5", "d3 d4 f4 d5")),
    ),
    Rule(
        "consecutive-unisons",
        "gross",
        "movement",
        "Consecutive unisons",
        "{voices} move in unison",
        "Two voices on one key that move on together are no longer two.",
        COMMON,
        Example("C", ("", ""), ("a2 c4 e4 e4", "f2 a3 f4 f4")),
    ),
    Rule(
        "consecutive-fifths",
        "gross",
        "movement",
        "Consecutive fifths",
        "{voices} move in consecutive fifths",
        "Two perfect fifths in succession between the same voices, both moving the same way. "
        "Repeating a note is not moving.",
        COMMON,
        Example("C", ("", ""), ("c3 g3 c4 e4", "d3 a3 a3 f4")),
    ),
    Rule(
        "consecutives-by-contrary-motion",
        "weak",
        "movement",
        "Consecutive octaves or fifths by contrary motion",
        "{voices} reach the same interval again by contrary motion",
        "Octave to unison or fifth to twelfth by opposite motion is the same fault better hidden. "
        "It is free in a final cadence.",
        COMMON,
        Example("C", ("", "", ""), ("c3 g3 c4 e4", "f2 c4 c4 a4", "c3 c4 e4 g4")),
    ),
    Rule(
        "unequal-fifths",
        "weak",
        "movement",
        "A diminished fifth to a perfect one with the bass",
        "{voices} go from a diminished fifth to a perfect one",
        "A diminished fifth wants to close. Between upper voices, and from perfect to diminished, "
        "the succession is free.",
        COMMON,
        Example("C", ("5", ""), ("b2 d4 f4 d5", "c3 e4 g4 c5")),
    ),
    Rule(
        "hidden-octave",
        "weak",
        "movement",
        "A hidden octave between the outer voices",
        "{voices} reach an octave by similar motion, the top voice leaping",
        "The ear fills in the leap and hears consecutive octaves.",
        COMMON,
        Example("C", ("6", ""), ("e3 g3 c4 c4", "f3 a3 c4 f4")),
    ),
    Rule(
        "hidden-fifth",
        "weak",
        "movement",
        "A hidden fifth between the outer voices",
        "{voices} reach a fifth by similar motion, the top voice leaping",
        "The ear fills in the leap and hears consecutive fifths.",
        COMMON,
        Example("C", ("", ""), ("a3 e4 a4 c5", "d3 d4 f4 a4")),
    ),
    Rule(
        "overlap",
        "weak",
        "movement",
        "A voice passes where its neighbour just was",
        "{voices} overlap",
        "When a voice goes beyond the place its neighbour has just left, the ear takes one for "
        "the other. Three voices in one hand move as a block: there it hears no lines, and "
        "nothing is said.",
        COMMON,
        Example("C", ("", ""), ("c3 e3 g3 c4", "f3 f3 a3 c4")),
    ),
    Rule(
        "augmented-step",
        "weak",
        "movement",
        "An augmented second or fourth in one voice",
        "the {voices} moves by an augmented interval, {notes}",
        "Augmented seconds and fourths are hard to sing and seldom needed; the smaller way round "
        "or another voicing avoids them.",
        COMMON,
        Example("a", ("6", "#"), ("f3 d4 f4 a4", "e3 b3 g#4 b4")),
    ),
    Rule(
        "leap-in-middle-voice",
        "remark",
        "movement",
        "A wide leap in a middle voice",
        "the {voices} leaps more than a fifth, {notes}",
        "Middle voices move little: they hold, step, or take the nearest note.",
        COMMON,
        Example("C", ("", ""), ("f3 a3 c4 a4", "f3 c4 a4 a4")),
    ),
    Rule(
        "false-relation",
        "remark",
        "movement",
        "A false relation",
        "{notes}: one letter with two accidentals in the {voices}",
        "When a letter changes its accidental, the change belongs in the voice that had it.",
        COMMON,
        Example("C", ("", "#"), ("c3 g3 e4 e4", "a2 a3 c#4 e4")),
    ),
    Rule(
        "needless-motion",
        "remark",
        "movement",
        "A common tone given up",
        "the {voices} could have kept {notes}",
        "What two chords share stays where it is, unless holding it breaks something.",
        COMMON,
        Example("C", ("", ""), ("c3 c4 e4 g4", "f3 a3 f4 a4")),
    ),
    # position
    Rule(
        "crossing",
        "weak",
        "position",
        "Voices crossed",
        "{voices} have crossed",
        "Each voice keeps its place in the chord.",
        COMMON,
        Example("C", ("",), ("c3 g4 e4 c5",)),
    ),
    Rule(
        "spacing",
        "weak",
        "position",
        "Upper voices too far apart",
        "{voices} are more than an octave apart",
        "Neighbouring upper voices keep within an octave; with three in the right hand, all three "
        "do.",
        COMMON,
        Example("C", ("",), ("c3 e3 g3 c5",)),
    ),
    Rule(
        "too-low",
        "weak",
        "position",
        "Too low",
        "{voices}: {notes} lies too low",
        "Upper voices below c, and thirds in the depth, sound thick.",
        COMMON,
        Example("C", ("",), ("c2 g2 c3 e3",)),
    ),
    Rule(
        "too-high",
        "weak",
        "position",
        "Too high",
        "the free top voice at {notes} goes above f''",
        "An accompaniment stays within the compass of a voice unless the melody is given higher.",
        COMMON,
        Example("C", ("",), ("c4 c5 e5 g5",)),
    ),
)

_BY_ID = {entry.id: entry for entry in RULES}
