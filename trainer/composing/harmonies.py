"""The chords a bass may carry in each mode, how they follow one another, and how they close.

Tables in scale degrees, one interpreter. Tones are degrees of the signature's scale, `#7` raised
and `b7` lowered by a semitone; the root stands first, a fourth tone is the seventh. What follows
what, and at what cost, is common practice and our own taste; no single source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from trainer.score.syllabus import UNFIGURED, vocabulary
from trainer.theory.key import Key

Tone = tuple[int, int]  # degree 1 to 7, alteration against the signature in semitones
Shape = Literal["triad", "sixth", "six-four", "seventh", "suspension"]

# name: tones; a sign ° after the name: never with the root in the bass
_CHORDS = {
    "major": """
        I: 1 3 5        ii: 2 4 6       iii: 3 5 7      IV: 4 6 1       V: 5 7 2
        vi: 6 1 3       vii°: 7 2 4     V7: 5 7 2 4     ii7: 2 4 6 1    vi7: 6 1 3 5
        IV7: 4 6 1 3    I7: 1 3 5 7     iii7: 3 5 7 2
        V/V: 2 #4 6     V7/V: 2 #4 6 1  vii/V°: #4 6 1
        V/ii: 6 #1 3    V7/ii: 6 #1 3 5
        V/vi: 3 #5 7    V7/vi: 3 #5 7 2
        V7/IV: 1 3 5 b7 V/iii: 7 #2 #4  iv: 4 b6 1""",
    "minor": """
        i: 1 3 5        ii°: 2 4 6      III: 3 5 7      iv: 4 6 1       V: 5 #7 2
        v: 5 7 2        VI: 6 1 3       VII: 7 2 4      vii°: #7 2 4    V7: 5 #7 2 4
        ii7: 2 4 6 1    VII7: 7 2 4 6   iv7: 4 6 1 3    VI7: 6 1 3 5
        IV: 4 #6 1
        V/iv: 1 #3 5    V7/iv: 1 #3 5 7 V/V: 2 #4 #6    V7/V: 2 #4 #6 1
        N°: b2 4 6""",
    "dorian": """
        i: 1 3 5        ii: 2 4 6       III: 3 5 7      IV: 4 6 1       V: 5 #7 2
        v: 5 7 2        VII: 7 2 4      vii°: #7 2 4    V7: 5 #7 2 4    IV7: 4 6 1 3
        ii7: 2 4 6 1    VII7: 7 2 4 6   vi°: 6 1 3
        V/v: 2 #4 6     V/IV: 1 #3 5    VI: b6 1 3      iv: 4 b6 1""",
    "phrygian": """
        i: 1 3 5        II: 2 4 6       III: 3 5 7      iv: 4 6 1       VI: 6 1 3
        vii: 7 2 4      v°: 5 7 2       II7: 2 4 6 1    vii7: 7 2 4 6   III7: 3 5 7 2
        I: 1 #3 5       V/vii: 4 #6 1     VI7: 6 1 3 5    iv7: 4 6 1 3""",
}

# name: those it goes to readily / those it may go to / those it goes to in need
_AFTER = {
    "major": """
        I: IV V ii vi V7 IV7 I7 / iii vii ii7 vi7 V/V V7/V V/ii V7/IV V/vi V7/vi V7/ii /
            vii/V V/iii iv
        ii: V vii V7 / I vi V/V V7/V vii/V / IV iii
        iii: vi IV vi7 IV7 / ii I V/ii V7/ii / V
        IV: V I ii vii V7 ii7 / vi iii V/V V7/V vii/V iv / V/ii V/vi V7/vi
        V: I vi / IV V7 iii V/vi V7/vi V7/IV / ii V/ii V7/ii V/V
        vi: ii IV V ii7 IV7 / iii I V7 V/V V7/V vii/V vii V/vi / V/ii V7/ii V/iii
        vii: I / vi iii / V V7
        V7: I / vi / IV
        ii7: V V7 / vii I /
        vi7: ii ii7 V/V V7/V / IV /
        IV7: V vii ii ii7 V7 / I /
        I7: IV IV7 ii / vi /
        iii7: vi vi7 / IV /
        V/V: V V7 / V7/V / I V/vi
        V7/V: V V7 / / I
        vii/V: V V7 / / I
        V/ii: ii / ii7 V7/ii /
        V7/ii: ii / ii7 /
        V/vi: vi / V7/vi vi7 / IV
        V7/vi: vi / / IV
        V7/IV: IV / ii /
        V/iii: iii / /
        iv: V I V7 / /""",
    "minor": """
        i: iv V VI V7 VII ii ii7 / III v vii iv7 VI7 V/iv V7/iv V/V / IV N V7/V
        ii: V V7 / i vii V/V / III
        III: VI iv VII VI7 iv7 / i ii V / V/iv VII7
        iv: V i ii V7 vii ii7 / VII VII7 V/V V7/V N VI / III
        V: i VI / V7 iv IV / III
        v: VI iv V/V V7/V / i III /
        VI: ii iv VII V III ii7 / i V7 V/V vii N VII7 / V/iv
        VII: III / i VI VII7 v iv / V V/V
        vii: i / / V V7
        V7: i / VI /
        ii7: V V7 / vii i /
        VII7: III / VI /
        iv7: V VII VII7 ii ii7 / V7 /
        VI7: ii ii7 iv / V /
        IV: vii V VII VII7 / v i /
        V/iv: iv / V7/iv /
        V7/iv: iv / ii /
        V/V: V V7 v / V7/V /
        V7/V: V V7 v / /
        N: V V7 / /""",
    "dorian": """
        i: IV VII III V v ii IV7 / V7 V/IV vii / VI iv V/v vi
        ii: V V7 v VII / i III V/v / IV
        III: VII IV i / ii v VI / V iv
        IV: i VII V ii v / III V7 VII7 ii7 vii V/v / VI
        V: i / V7 VI / IV
        v: IV i III / VII V/v / ii
        VII: III i IV / v ii VII7 / V
        vii: i / / V
        V7: i / VI /
        IV7: VII V / ii /
        ii7: V V7 v / VII /
        VII7: III / i /
        vi: ii VII / IV /
        V/v: v / V /
        V/IV: IV / ii /
        VI: iv V VII / i III /
        iv: V i / VII ii /""",
    "phrygian": """
        i: VI iv II vii / III VI7 II7 iv7 / v
        II: vii VI I III i / iv II7 vii7 / V/vii
        III: VI i / iv vii III7 / II I
        iv: I i VI II vii / III V/vii vii7 / v
        VI: II iv III vii II7 / i VI7 vii7 / I V/vii
        vii: I i III VI / II iv III7 vii7 / v
        v: VI iv / i /
        II7: vii III / VI /
        vii7: III III7 I / /
        III7: VI / /
        I: iv VI / II vii /
        V/vii: vii / vii7 /
        VI7: II II7 iv / /
        iv7: vii vii7 II / III /""",
}

# last two chords of a phrase with their basses, and the cost within a piece and at its end
# (x = not there); `*` is any bass. A lower cost is a better close.
_CLOSES = {
    "major": """
        V 5 > I 1: 0 0      V7 5 > I 1: 0 0     IV 4 > I 1: 24 30   vii 2 > I 1: 22 40
        V 7 > I 1: 26 x     V7 7 > I 1: 24 x    V7 2 > I 1: 28 x
        I 1 > V 5: 6 x      I 3 > V 5: 14 x     IV 4 > V 5: 2 x     ii 4 > V 5: 0 x
        vi 6 > V 5: 10 x    ii 2 > V 5: 8 x     IV 6 > V 5: 6 x     ii7 4 > V 5: 6 x
        V 5 > vi 6: 16 x    V7 5 > vi 6: 16 x
        V/V 2 > V 5: 2 x    V7/V 2 > V 5: 4 x   V/V #4 > V 5: 8 x   V7/V #4 > V 5: 6 x
        vii/V 6 > V 5: 8 x  V7/V 6 > V 5: 10 x
        V/vi 3 > vi 6: 2 x  V7/vi 3 > vi 6: 2 x V7/vi #5 > vi 6: 10 x   V/ii 6 > ii 2: 6 x
        V7/ii 6 > ii 2: 6 x V7/ii #1 > ii 2: 12 x   V/iii 7 > iii 3: 10 x   IV 4 > V/vi 3: 12 x
        IV 6 > V/vi 3: 40 x vi 1 > V/vi 3: 20 x V7/IV 1 > IV 4: 14 x    I 1 > IV 4: 56 x
        iii 3 > vi 6: 22 x  ii 4 > V/vi 3: 8 x  iv 4 > I 1: 30 30""",
    "minor": """
        V 5 > i 1: 0 0      V7 5 > i 1: 0 0     iv 4 > i 1: 20 26   vii 2 > i 1: 20 40
        V7 #7 > i 1: 22 x   V7 2 > i 1: 26 x    V #7 > i 1: 24 x
        VII 7 > III 3: 0 x  VII7 7 > III 3: 2 x VII 2 > III 3: 24 x VII7 2 > III 3: 22 x
        i 1 > V 5: 6 x      iv 4 > V 5: 4 x     iv 6 > V 5: 0 x     ii 4 > V 5: 4 x
        ii7 4 > V 5: 8 x    i 3 > V 5: 14 x     VI 6 > V 5: 8 x
        V/V 2 > V 5: 8 x    V7/V #4 > V 5: 10 x
        V 5 > VI 6: 14 x    V7 5 > VI 6: 14 x   IV 4 > VII 7: 4 x    V/V 2 > v 5: 2 x
        V7/V 2 > v 5: 4 x      V/iv 1 > iv 4: 6 x
        V7/iv 1 > iv 4: 6 x V7/iv #3 > iv 4: 14 x   III 3 > VI 6: 16 x  """,
    "dorian": """
        V 5 > i 1: 0 0      V7 5 > i 1: 2 2     IV 4 > i 1: 14 16   vii 2 > i 1: 16 30
        VII 7 > III 3: 0 x  VII7 7 > III 3: 4 x IV 4 > VII 7: 2 x   V/v 2 > v 5: 2 x
        i 1 > V 5: 8 x      IV 4 > V 5: 6 x     IV 6 > V 5: 8 x     ii 4 > V 5: 8 x
        i 1 > v 5: 12 x     IV 4 > v 5: 14 x    V/IV 1 > IV 4: 8 x  i 1 > IV 4: 16 x
        iv b6 > V 5: 4 x    v 7 > i 1: 30 x     VII 7 > i 1: 26 x   V 5 > VI b6: 18 x""",
    "phrygian": """
        vii 2 > I 1: 0 0    iv 4 > I 1: 4 4     II 2 > I 1: 20 12   vii 7 > I 1: 24 24
        III 3 > VI 6: 0 x   III7 3 > VI 6: 4 x  iv 6 > i 1: 30 x
        vii 7 > III 3: 4 x  vii7 7 > III 3: 8 x I 1 > iv 4: 2 x     V/vii 4 > vii 7: 4 x
        II 2 > VI 6: 12 x   VI 6 > II 2: 14 x   iv 4 > i 1: 12 40   vii 2 > i 1: 12 40
        i 1 > iv 4: 16 x    VI 6 > iv 4: 24 x   III 5 > VI 6: 24 x  vii 2 > III 3: 16 x""",
}

_CLOSE = re.compile(r"(\S+) (\S+) > (\S+) (\S+): (\S+) (\S+)")


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord over one of its own tones, with the figures that say so.

    `name` is the harmony's, without its position. `figures` are relative to the signature.
    `tones` hold (degree, alteration), root first. `seventh` is the chordal seventh, or the
    suspended note of a suspension; `falls_to` where it must go. A suspension and a six-four
    come `before` the chord of the same name over the same bass.
    """

    name: str
    shape: Shape
    bass: Tone
    figures: str
    tones: tuple[Tone, ...]
    seventh: Tone | None = None
    falls_to: Tone | None = None
    free: bool = True  # the dissonance needs no preparation
    before: bool = False


# sevenths that the course brings with the dominant; the others come with the sevenths by fifths
_EARLY_SEVENTHS = {"V7": (0, 1, 2, 3), "VII7": (0, 1, 2, 3), "ii7": (1, 3), "V7/V": (2,)}
SEVENTHS_BY_FIFTHS = 18
RAISED_SIXTH = 16  # the minor's sixth degree raised


@lru_cache(maxsize=256)
def chords(key: Key, step: int) -> tuple[Chord, ...]:
    """Every chord of the key's mode that the course has brought by a step (0: all of them)."""
    known: list[Chord] = []
    for name, tones in _chord_table(key.mode).items():
        known += _positions(name.rstrip("°"), tones, not name.endswith("°"))
    known += [s for c in tuple(known) if (s := _suspended_fourth(c))]
    known += [s for c in tuple(known) if (s := _suspended_seventh(c))]
    known += [s for c in tuple(known) if (s := _suspended_ninth(c))]
    known += [s for c in tuple(known) if (s := _six_four(c))]
    taught = vocabulary(step)
    return tuple(c for c in known if taught.knows(c.figures, key) and _brought(c, key.mode, step))


def foreign(chord: Chord, mode: str) -> bool:
    """Whether the chord has a note from outside the key.

    The leading tone is inside in every mode, and so is the major third of the Phrygian close.
    """
    inside = {(7, 1)} | ({(3, 1)} if mode == "phrygian" else set())
    return any(t[1] and (t not in inside or mode == "major") for t in chord.tones)


def _brought(chord: Chord, mode: str, step: int) -> bool:
    # a 7 that becomes a 6 is another matter than a seventh: it has its own lesson
    late_sixth = chord.shape == "suspension" and chord.figures.startswith("7")
    if late_sixth and "7, 6" not in vocabulary(step).successions:
        return False
    if not step or step >= 20:
        return True
    if chord.shape == "seventh" and step < SEVENTHS_BY_FIFTHS:
        places = _EARLY_SEVENTHS.get(chord.name, ())
        if chord.tones.index(chord.bass) not in places:
            return False
    if foreign(chord, mode):
        if mode == "major":
            return chord.name in ("V7/V", "vii/V")
        return chord.name == "IV" and step >= RAISED_SIXTH
    return True


@lru_cache(maxsize=8)
def progressions(mode: str) -> dict[tuple[str, str], int]:
    """Cost of one harmony after another: 0 readily, 10 perhaps, 26 in need; else not at all."""
    costs: dict[tuple[str, str], int] = {}
    for line in re.sub(r"\n\s+(?=\S)(?!\S+:)", " ", _AFTER[mode]).strip().splitlines():
        name, _, rest = line.strip().partition(":")
        classes = re.split(r"(?:^|\s)/(?=\s|$)", rest)
        for cost, names in zip((0, 10, 26), classes, strict=False):
            for after in names.split():
                costs[name, after] = cost
    return costs


@lru_cache(maxsize=8)
def closes(mode: str) -> dict[tuple[str, Tone, str, Tone], tuple[int | None, int | None]]:
    """(chord, bass, last chord, its bass) to the costs within a piece and at its end."""
    table: dict[tuple[str, Tone, str, Tone], tuple[int | None, int | None]] = {}
    for first, bass, last, final, within, at_end in _CLOSE.findall(_CLOSES[mode]):
        table[first, _tone(bass), last, _tone(final)] = (
            None if within == "x" else int(within),
            None if at_end == "x" else int(at_end),
        )
    return table


def modes() -> tuple[str, ...]:
    """The modes for which there are tables."""
    return tuple(_CHORDS)


@lru_cache(maxsize=8)
def _chord_table(mode: str) -> dict[str, tuple[Tone, ...]]:
    found: dict[str, tuple[Tone, ...]] = {}
    words = _CHORDS[mode].split()
    name = ""
    for word in words:
        if word.endswith(":"):
            name = word[:-1]
            found[name] = ()
        else:
            found[name] += (_tone(word),)
    return found


def _tone(text: str) -> Tone:
    alter = {"#": 1, "b": -1}.get(text[0], 0)
    return int(text.lstrip("#b")), alter


def _number(tone: Tone, bass: Tone) -> int:
    """The figure of a tone over a bass, 1 to 7."""
    return (tone[0] - bass[0]) % 7 + 1


def _figure(number: int, tone: Tone) -> str:
    if number == 3 and tone[1]:
        return "#" if tone[1] > 0 else "b"
    if number == 4 and tone[1] > 0:
        return "4+"
    return {1: "#", 0: "", -1: "b"}[tone[1]] + str(number)


# the numbers written for root position and each inversion, where nothing is altered
_TRIAD_FIGURES: tuple[tuple[int, ...], ...] = ((), (6,))
_SEVENTH_FIGURES: tuple[tuple[int, ...], ...] = ((7,), (6, 5), (4, 3), (4, 2))


def _positions(name: str, tones: tuple[Tone, ...], with_root: bool) -> list[Chord]:
    written = _SEVENTH_FIGURES if len(tones) == 4 else _TRIAD_FIGURES
    found = []
    seventh = tones[3] if len(tones) == 4 else None
    for place, numbers in enumerate(written):
        if place == 0 and not with_root:
            continue
        bass = tones[place]
        over = sorted(((_number(t, bass), t) for t in tones if t != bass), reverse=True)
        figures = [_figure(n, t) for n, t in over if n in numbers or t[1]]
        if place == 2 and seventh:
            if any(n == 3 and t[1] for n, t in over):
                continue  # the accidental of a four-three's third is easily misread
            if any(t[1] for _, t in over):
                figures = [_figure(n, t) for n, t in over]
        shape: Shape = "seventh" if seventh else "triad" if place == 0 else "sixth"
        found.append(
            Chord(
                name,
                shape,
                bass,
                " ".join(figures) or UNFIGURED,
                tones,
                seventh,
                None if seventh is None else ((seventh[0] - 2) % 7 + 1, 0),
                free=seventh is None or name.startswith(("V7", "VII7")),
            )
        )
    return found


def _suspended_fourth(chord: Chord) -> Chord | None:
    """4 before 3, over the root."""
    if chord.shape != "triad" or chord.bass != chord.tones[0]:
        return None
    root, third, fifth = chord.tones
    fourth = (third[0] % 7 + 1, 0)
    return Chord(
        chord.name, "suspension", root, "4", (root, fourth, fifth), fourth, third, False, True
    )


def _suspended_seventh(chord: Chord) -> Chord | None:
    """7 before 6, over the third of the chord."""
    if chord.shape != "sixth":
        return None
    root, third, fifth = chord.tones
    seventh = (root[0] % 7 + 1, 0)
    figures = "7" if not fifth[1] else f"7 {_figure(3, fifth)}"
    return Chord(
        chord.name,
        "suspension",
        third,
        figures,
        (third, seventh, fifth),
        seventh,
        root,
        False,
        True,
    )


def _suspended_ninth(chord: Chord) -> Chord | None:
    """9 before 8, over the root."""
    if chord.shape != "triad" or chord.bass != chord.tones[0]:
        return None
    root, third, fifth = chord.tones
    ninth = (root[0] % 7 + 1, 0)
    figures = "9" if not third[1] else f"9 {_figure(3, third)}"
    return Chord(
        chord.name,
        "suspension",
        root,
        figures,
        (root, ninth, third, fifth),
        ninth,
        root,
        False,
        True,
    )


def _six_four(chord: Chord) -> Chord | None:
    """6 4 before 5 3, over a dominant's root."""
    if chord.shape != "triad" or chord.name not in ("V", "V/V", "III") or chord.bass[1]:
        return None
    root, third, fifth = chord.tones
    sixth, fourth = (fifth[0] % 7 + 1, 0), (third[0] % 7 + 1, 0)
    return Chord(
        chord.name, "six-four", root, "6 4", (root, fourth, sixth), fourth, third, True, True
    )
