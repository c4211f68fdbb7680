"""From what is simulated to what a maker would say about the sound.

Levels are compared with the sound builds of the same chain. The edges are soft, since ears and words differ: our own
choice, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from piezolab.giving_way import give_way
from piezolab.studies.faults.simulate import Findings

WORDS = ("weak", "thin", "hum", "hiss", "distorted", "crackle", "thump", "dead", "hot")
FINE = "fine"
# known without listening: it played well before; it is newly built; it is so since a drop or a knock
WORKED, NEW, KNOCKED = "worked", "new", "knocked"
# tried without a meter: the board was compared with the drawing, and nothing was seen; another cable and battery were
# tried, and nothing changed
LOOKED, EXCHANGED = "looked", "exchanged"
#: What the array `known` of a table tells, in its order: how surely each holds for a build.
KNOWN = (WORKED, KNOCKED, LOOKED, EXCHANGED)
TONES = ("none", "weak", "normal", "distorted")

# Ears and words are not a meter: a word is also said without cause, or said for another, and what holds is not always
# mentioned. So no word outweighs a reading. The shares are those with which stated probabilities came true for makers
# of another world, by number of words said (tests/studies/faults/test_calibration.py).
SAID_ANYWAY, DEAD_ANYWAY = 0.08, 0.04  # a word is said without cause; that nothing at all is heard more seldom
SAID = 0.78  # a word is said where it holds
HOT_ANYWAY, HOT_SAID = 0.02, 0.9  # heat is felt with a finger
UNSAID = 0.45  # of what holds is not mentioned beside what is
CONFUSED = 0.12  # where a word holds, one near to it is said
NEAR = {
    "weak": ("thin", "dead"), "thin": ("weak",), "dead": ("weak",), "hum": ("hiss",), "hiss": ("hum",),
    "crackle": ("distorted", "thump"), "thump": ("crackle",),
}  # fmt: skip
# Where it holds, it is still said to sound fine: nobody takes silence for sound, but a thump is easily missed.
STILL_FINE = {
    "weak": 0.1, "thin": 0.3, "hum": 0.2, "hiss": 0.5, "distorted": 0.15, "crackle": 0.25, "thump": 0.5, "dead": 0.02,
    "hot": 0.1,
}  # fmt: skip
MISTOLD = 0.08  # whether it ever worked is told wrongly
# A knock is blamed that did nothing; the other cable or battery is bad, too: common practice, no source
KNOCKED_ANYWAY, EXCHANGED_ANYWAY = 0.02, 0.04
DEAD_DB, WEAK_DB, THIN_DB, HUM_DB = -35.0, -7.0, -5.0, 14.0
THUMP_V = 0.05


def _edge(distance: np.ndarray) -> np.ndarray:
    """0 to 1 over an edge; distance in widths of it."""
    give_way()
    return 1.0 / (1.0 + np.exp(-np.clip(distance, -40.0, 40.0)))


def _db(level: np.ndarray, reference: float) -> np.ndarray:
    return 20 * np.log10(np.maximum(level, 1e-12) / max(reference, 1e-12))


def holds(found: Findings, sound: slice, crackling: np.ndarray, hot_w: float) -> np.ndarray:
    """How surely each word of WORDS holds for each build, shape (W, P). `sound`: which builds are the sound ones."""
    level = _db(found.gain_high, np.median(found.gain_high[sound]))
    tilt = _db(found.gain_low, np.median(found.gain_low[sound])) - level
    hum = _db(found.hum, np.median(found.hum[sound]))
    dead = _edge((DEAD_DB - level) / 2.5)
    weak = _edge((WEAK_DB - level) / 1.5) * (1 - 0.8 * dead)
    thin = _edge((THIN_DB - tilt) / 1.2) * (1 - dead)
    usual = np.median(found.swing[sound])
    distorted = _edge((np.log(found.swing) - max(np.log(usual), 0.0) - 0.5) / 0.3) * (1 - dead)
    hiss = 0.4 * weak
    thump = _edge(np.log(np.maximum(np.abs(found.jack_v), 1e-6) / THUMP_V) / 0.4)
    hot = _edge(np.log(np.maximum(np.abs(found.battery_w), 1e-9) / hot_w) / 0.3)
    words = {
        "weak": weak, "thin": thin, "hum": _edge((hum - HUM_DB) / 3.0), "hiss": hiss, "distorted": distorted,
        "crackle": crackling * (1 - dead), "thump": thump, "dead": dead, "hot": hot,
    }  # fmt: skip
    return np.stack([words[word] for word in WORDS])


def heard_likelihood(said: Collection[str], surely: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Probability of the words said given how surely each of WORDS holds (W, P), and of what is known besides given how
    surely each of KNOWN holds, (K, P); shape (P,). Nothing said tells nothing."""
    answer = np.ones(surely.shape[-1], surely.dtype)
    worked = known[KNOWN.index(WORKED)]
    for word, share in ((WORKED, worked), (NEW, 1 - worked)):
        if word in said:
            answer *= MISTOLD + (1 - 2 * MISTOLD) * share
    for word, anyway in ((KNOCKED, KNOCKED_ANYWAY), (LOOKED, 0.0), (EXCHANGED, EXCHANGED_ANYWAY)):
        if word in said:
            answer *= anyway + (1 - 2 * anyway) * known[KNOWN.index(word)]
    if FINE in said:
        for n, word in enumerate(WORDS):
            answer *= (1 - SAID_ANYWAY) * (1 - (1 - STILL_FINE[word]) * surely[n])
    elif set(WORDS) & set(said):
        for n, word in enumerate(WORDS):
            answer *= _spoken(n, surely) if word in said else 1 - (1 - UNSAID) * surely[n]
    return answer


def _spoken(n: int, surely: np.ndarray) -> np.ndarray:
    """Probability that one of WORDS is said, for itself or for one near to it."""
    word = WORDS[n]
    least = {"hot": HOT_ANYWAY, "dead": DEAD_ANYWAY}.get(word, SAID_ANYWAY)
    most = HOT_SAID if word == "hot" else SAID
    silent = 1 - least - (most - least) * surely[n]
    for near in NEAR.get(word, ()):
        silent = silent * (1 - CONFUSED * surely[WORDS.index(near)])
    return 1 - silent


def tone_shares(found: Findings, sound: slice) -> np.ndarray:
    """Probability of each of TONES for the page's 1 kHz tone at the input, shape (4, P)."""
    level = _db(found.high["load"], np.median(found.high["load"][sound]))
    none = _edge((DEAD_DB - level) / 2.5)
    weak = _edge((WEAK_DB - level) / 1.5) * (1 - none)
    rest = 1 - none - weak
    distorted = rest * 0.9 * _edge((np.log(found.swing) - 1.5) / 0.3)
    return 0.02 + 0.92 * np.stack([none, weak, rest - distorted, distorted])
