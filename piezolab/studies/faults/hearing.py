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
TONES = ("none", "weak", "normal", "distorted")

# Ears and words are not a meter: a word is also said without cause, or said for another, and what holds is not always
# mentioned. So no word outweighs a reading. The shares are those with which stated probabilities came true for makers
# of another world, by number of words said (tests/studies/faults/test_calibration.py).
SAID_ANYWAY = 0.12  # a word is said without cause
SAID = 0.75  # a word is said where it holds
HOT_ANYWAY, HOT_SAID = 0.02, 0.9  # heat is felt with a finger
UNSAID = 0.5  # of what holds is mentioned at all
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


def heard_likelihood(said: Collection[str], surely: np.ndarray) -> np.ndarray:
    """Probability of the words said given how surely each holds (W, P), shape (P,). Nothing said tells nothing.

    What is not mentioned tells little: half of what holds is not. "fine" means that no word holds.
    """
    answer = np.ones(surely.shape[-1], surely.dtype)
    if not said:
        return answer
    for n, word in enumerate(WORDS):
        least, most = (HOT_ANYWAY, HOT_SAID) if word == "hot" else (SAID_ANYWAY, SAID)
        spoken = least + (most - least) * surely[n]
        if FINE in said:
            answer *= 1 - spoken
        elif word in said:
            answer *= spoken
        else:
            answer *= 1 - (1 - UNSAID) * surely[n]
    return answer


def tone_shares(found: Findings, sound: slice) -> np.ndarray:
    """Probability of each of TONES for the page's 1 kHz tone at the input, shape (4, P)."""
    level = _db(found.high["load"], np.median(found.high["load"][sound]))
    none = _edge((DEAD_DB - level) / 2.5)
    weak = _edge((WEAK_DB - level) / 1.5) * (1 - none)
    rest = 1 - none - weak
    distorted = rest * 0.9 * _edge((np.log(found.swing) - 1.5) / 0.3)
    return 0.02 + 0.92 * np.stack([none, weak, rest - distorted, distorted])
