"""Whether stated probabilities come true, by number of readings and by number of words heard.

A world with other spreads, slipping probes, poor contacts and poor ears (`trial`): a fifth of what is said is wrong.
Builds with no fault are among them in their prior share. PIEZOLAB_LONG=1 takes readings as proposed, for many builds.
"""

import os
from itertools import product

import numpy as np

from piezolab.studies.faults import FaultTable, hearing
from piezolab.studies.faults.knowledge import knowledge
from piezolab.studies.faults.likelihood import explain
from tests.studies.faults.scores import Scores, score
from tests.studies.faults.trial import Examiner, World, world

LONG = bool(os.environ.get("PIEZOLAB_LONG"))
FAULTY, SOUND = (1000, 180) if LONG else (140, 25)
WORDS = {"none": (0, 0), "one": (1, 1), "more": (2, 9)}


def at_random(made: World, build: int, most: int) -> tuple[list[float], list[bool], int]:
    """Stated probability of the first spot and whether it is the true one, after 0 to `most` readings taken anywhere,
    and the number of words."""
    table, examiner = made.table, Examiner(made, build, poor_ear=True)
    heard = examiner.words()
    places = [check for check in table.checks[:-1] if check.kind in ("ohm", "dc")]
    order = examiner.rng.permutation(len(places))[:most]
    readings = [examiner.read(places[k]) for k in order]
    spot = made.faults[build][0].spot if made.faults[build] else "healthy"
    stated, right = [], []
    for count in range(most + 1):
        share = np.bincount(table.spot, explain(table, readings[:count], heard).weight, len(table.spots))
        stated.append(float(share.max()))
        right.append(table.spots[int(np.argmax(share))] == spot)
    return stated, right, sum(word in hearing.WORDS for word in heard)


def test_stated_probabilities_come_true_whatever_was_heard(table: FaultTable) -> None:
    worlds = (world(table.chain, table, FAULTY, 1, seed=21), world(table.chain, table, SOUND, 0, seed=22))
    rows = [at_random(made, n, 3) for made in worlds for n in range(len(made))]
    stated, right = (np.array([row[k] for row in rows], float) for k in (0, 1))
    words = np.array([row[2] for row in rows])
    for count, (low, high) in product(range(4), WORDS.values()):
        here = (words >= low) & (words <= high)
        assert here.sum() > 20
        said, true = stated[here, count], right[here, count]
        chance = np.sqrt(np.sum(said * (1 - said))) / here.sum()
        assert abs(said.mean() - true.mean()) < 0.06 + 3 * chance, (count, low)


def _shares(faulty: Scores, sound: Scores, healthy: float) -> dict[str, np.ndarray]:
    """What both found, and the weight of each build."""
    both = {
        name: np.concatenate([getattr(faulty, name), getattr(sound, name)])
        for name in ("words", "stated", "place", "verdict", "alarm", "dangerous", "reversed")
    }
    sizes = ((faulty, 1 - healthy), (sound, healthy))
    weights = [np.full(len(each.words), share / len(each.words)) for each, share in sizes]
    return both | {"weight": np.concatenate(weights)}


def test_verdict_and_alarm_are_borne_out(table: FaultTable) -> None:
    """After 1 to 4 readings as proposed: verdicts that were right, and alarms that were for a short or a reversal."""
    size = (FAULTY, SOUND) if LONG else (16, 4)
    faulty, sound = (
        score(world(table.chain, table, count, faults, seed=23 + faults), poor_ear=True)
        for count, faults in zip(size, (1, 0), strict=True)
    )
    limits = knowledge().limits
    both = _shares(faulty, sound, limits.healthy)
    right, weight = both["place"] == 0, both["weight"]
    assert not both["verdict"][:, :2].any(), "no verdict before two readings"
    for name, (low, high) in WORDS.items():
        here = (both["words"] >= low) & (both["words"] <= high)
        declared = here & both["verdict"][:, 4]
        assert (right[declared, 4].mean() if declared.any() else 1.0) >= (0.95 if LONG else 0.8)
        stated, true = (np.average(each[here, 4], weights=weight[here]) for each in (both["stated"], right))
        assert abs(stated - true) < (0.08 if LONG else 0.4)
        if LONG:
            print(f"words {name}: stated {stated:.3f}, true {true:.3f}, verdicts {declared.sum()}")
    alarms = both["alarm"].any(axis=1) & ~both["dangerous"] & ~both["reversed"]
    assert alarms.mean() < (0.03 if LONG else 0.11)
