"""How often the fault is found: builds of another world than the one the study reckons with.

A smaller trial than the one under tests/benchmarks/, so each bar is lowered by what chance alone may take from so few
builds (once in a hundred trials).
"""

import numpy as np
import pytest
from scipy import stats

from piezolab.chain import SignalChain
from piezolab.studies.faults import FaultTable, fault_table
from piezolab.studies.faults.draws import USUAL
from tests.studies.faults.scores import Scores, calibration, score, two_flagged
from tests.studies.faults.trial import ELSEWHERE, Examiner, world

MEASURED = SignalChain(jfet_idss=2e-3, jfet_vgsoff=-1.2)
BARS = {"type spread": (SignalChain(), 0.85, 0.95), "measured": (MEASURED, 0.90, 0.97)}


def least(bar: float, count: int) -> float:
    """The share that a method just as good as the bar falls short of once in a hundred trials."""
    return float(stats.binom.ppf(0.01, count, bar)) / count


@pytest.fixture(scope="module")
def faulty(table: FaultTable) -> Scores:
    return score(world(SignalChain(), table, 160, 1, seed=7))


@pytest.mark.parametrize("name", BARS)
def test_found_within_four_readings(name: str, request: pytest.FixtureRequest) -> None:
    chain, first, three = BARS[name]
    if chain == SignalChain():
        scores = request.getfixturevalue("faulty")
    else:
        scores = score(world(chain, fault_table(chain), 110, 1, seed=8))
    count = int(scores.counted.sum())
    assert count > 0.6 * len(scores.counted)
    assert scores.found(1) >= least(first, count)
    assert scores.found(3) >= least(three, count)
    assert scores.found(3) >= scores.found(1) >= scores.exactly
    assert scores.two[scores.counted].mean() < 0.05, "one fault is not taken for two"


def test_no_powered_reading_comes_first_in_a_build_that_heats_up(faulty: Scores) -> None:
    assert faulty.dangerous.any() and not faulty.powered_first[faulty.dangerous].any()


def test_healthy_is_called_healthy_and_probabilities_are_true(faulty: Scores, table: FaultTable) -> None:
    sound = score(world(SignalChain(), table, 100, 0, seed=9))
    assert sound.found(1, counted=False) >= least(0.97, 100)
    curve = calibration(faulty, sound, 0.15, np.array([0.0, 0.2, 0.6, 1.0]))
    assert curve.count.sum() == 260 * sound.probability.shape[1]
    assert curve.true == pytest.approx(curve.stated, abs=0.12)


def test_two_faults_are_flagged(table: FaultTable) -> None:
    flagged = two_flagged(world(SignalChain(), table, 60, 2, seed=10))
    assert len(flagged) > 20
    assert flagged[:, -1].mean() >= least(0.80, len(flagged))


def test_the_world_is_another_one(table: FaultTable) -> None:
    assert ELSEWHERE.lambda_ != USUAL.lambda_ and ELSEWHERE.leakage != USUAL.leakage
    assert ELSEWHERE.temperature != USUAL.temperature and ELSEWHERE.resistor > USUAL.resistor
    made = world(SignalChain(), table, 300, 0, seed=11)
    m = [check.key for check in table.checks].index("ohm:source")
    inside = np.sinh(0) + table.value[m, table.of_hypothesis == 0]
    theirs = np.log(made.found.ohm["source"] + 1)
    assert np.std(theirs) > 1.2 * np.std(inside)


def test_readings_are_taken_by_a_hand_that_slips(table: FaultTable) -> None:
    made = world(SignalChain(), table, 400, 0, seed=12)
    check = next(check for check in table.checks if check.key == "dc:source")
    errors, slips = [], 0
    for build in range(400):
        reading = Examiner(made, build).read(check)
        true = made.found.dc["source"][build]
        limit = float(table.meter.error(true, reading.digit))
        off = abs(reading.value - true)
        if off > limit + reading.digit:
            slips += 1
        else:
            errors.append(off / limit)
    assert 0.02 < slips / 400 < 0.09 and max(errors) > 0.9
    shown = reading.value / reading.digit
    assert shown == pytest.approx(round(shown)), "rounded to the display's last place"
