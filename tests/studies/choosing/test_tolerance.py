"""Builds as they are drawn: samplers against their laws, against closed forms, and what cannot be."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import ks_2samp, kstest, norm

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.choosing.tolerance import check_percents, drawn, level_band
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.population import BETA_SPREAD, population
from piezolab.studies.response import response

MEASURED = {"jfet_idss": 5e-3, "jfet_vgsoff": 1.5}
LEAST_P = 1e-3  # of the seeded draws of these tests


def test_every_build_lies_within_its_tolerance() -> None:
    chain = SignalChain({**MEASURED, "stage": "gain", "return": "divider"})
    values, inputs = drawn(chain, 5.0, 20.0, 5000, seed=1)
    assert set(inputs) == {"gate_r", "divider_r", "divider_c", "drain_r", "source_r", "bypass_c", "out_c", "bleed_r",
                           "supply_c"}  # fmt: skip
    assert inputs["divider_r"] == ("divider_r", "return_part")
    for key, part in (("gate_r", 0.05), ("source_r", 0.05), ("out_c", 0.2), ("bypass_c", 0.2)):
        ratio = np.asarray(values[key]) / chain[key]
        assert kstest((ratio - 1) / part, "uniform", (-1, 2)).pvalue > LEAST_P
        assert kstest((ratio - 1) / part, "uniform", (-0.9, 1.8)).pvalue < LEAST_P, "the test can tell"
    upper, lower = (1 - values.return_part) * values.divider_r, values.return_part * values.divider_r
    for r in (upper, lower):
        assert kstest(r / 1e6, "uniform", (0.95, 0.1)).pvalue > LEAST_P
    assert abs(np.corrcoef(upper, lower)[0, 1]) < 0.05


def test_what_is_drawn_does_not_follow_anything_else_that_is() -> None:
    chain = SignalChain(stage="gain")
    values, inputs = drawn(chain, 5.0, 20.0, 5000, seed=1, room_k=15.0, battery=True)
    columns = [np.asarray(values[keys[-1]], float) for keys in inputs.values()]
    apart = np.abs(np.corrcoef(columns) - np.eye(len(columns)))
    assert len(columns) == 10 and apart.max() < 0.06  # four standard deviations


def test_the_room_and_the_battery_lie_evenly_within_their_ends() -> None:
    chain = SignalChain(temp_c=20.0)
    values, inputs = drawn(chain, 5.0, 20.0, 5000, seed=2, room_k=10.0, battery=True)
    assert inputs["temp_c"] == ("temp_c",) and inputs["supply_v"] == ("supply_v",)
    fresh, end, _ = battery_range(chain)
    assert kstest(values.temp_c, "uniform", (10.0, 20.0)).pvalue > LEAST_P
    assert kstest(values.supply_v, "uniform", (end, fresh - end)).pvalue > LEAST_P
    assert "supply_v" not in drawn(chain.but(supply="adapter"), 5.0, 20.0, 100, 1, battery=True)[1]


@pytest.mark.parametrize("jfet", ["J113", "2N3819"])
def test_transistors_have_the_law_of_their_type(jfet: str) -> None:
    """V_GS(off) log-uniform and ln(beta) normal within the sheet's limits: its distribution by an integral."""
    kind = catalogue.transistors()[jfet]
    median = np.log(kind.idss_typical / kind.vgsoff_intercept_typical**2)
    low, high = np.log([kind.vgsoff_intercept_min, kind.vgsoff_intercept_max])

    def within(u: float) -> float:
        ends = (np.log([kind.idss_min, kind.idss_max]) - 2 * u - median) / BETA_SPREAD
        return float(norm.cdf(ends[1]) - norm.cdf(ends[0]))

    grid = np.linspace(low, high, 400)
    steps = [quad(within, a, b)[0] for a, b in zip(grid[:-1], grid[1:], strict=True)]
    share = np.concatenate([[0.0], np.cumsum(steps)]) / np.sum(steps)
    found = np.log(-population(jfet, 5000, seed=8).vgsoff)
    assert kstest(found, lambda u: np.interp(u, grid, share)).pvalue > LEAST_P
    assert kstest(found + 0.05, lambda u: np.interp(u, grid, share)).pvalue < LEAST_P, "the test can tell"


def test_a_tapped_source_resistor_is_two_resistors() -> None:
    chain = SignalChain({**MEASURED, "return": "tap", "return_part": 0.3, "source_r": 10e3})
    values, _ = drawn(chain, 10.0, 0.0, 2000, seed=1)
    assert np.all(np.abs(values.return_part * values.source_r / 3e3 - 1) <= 0.1 + 1e-12)
    assert np.all(np.abs((1 - values.return_part) * values.source_r / 7e3 - 1) <= 0.1 + 1e-12)


def test_transistor_is_drawn_unless_measured() -> None:
    assert "jfet" in drawn(SignalChain(), 5.0, 20.0, 200, seed=1)[1]
    assert "jfet" not in drawn(SignalChain(MEASURED), 5.0, 20.0, 200, seed=1)[1]
    assert drawn(SignalChain(stage="direct"), 5.0, 20.0, 200, seed=1)[1] == {}


@pytest.mark.parametrize(
    ("percents", "words"),
    [((60.0, 5.0), "resistor tolerance: 60.0 % is out of range; allowed is 0 to 50 %"), ((5.0, -1.0), "capacitor")],
)
def test_tolerances_have_bounds(percents, words) -> None:
    with pytest.raises(ValueError, match=words):
        check_percents(*percents)


def test_the_band_is_that_of_builds_asked_one_by_one() -> None:
    chain = SignalChain({"stage": "gain", "jfet": "2N5457", "pickup_c": 2e-9})
    frequency = np.array([30.0, 150.0, 1000.0, 15000.0])
    band = level_band(chain, frequency, size=100, seed=7)
    values, _ = drawn(chain, 5.0, 20.0, 100, seed=7)
    keys = [key for key in ("gate_r", "drain_r", "source_r", "bypass_c", "out_c", "bleed_r", "supply_c")
            if np.ndim(values[key])]  # fmt: skip
    each = []
    for n in range(100):
        one = {key: float(values[key][n]) for key in keys}
        one |= {"jfet_idss": float(values.jfet_idss[n]), "jfet_vgsoff": -float(values.jfet_vgsoff[n])}
        one["jfet_vds"] = float(np.squeeze(values.jfet_vds))
        each.append(response(chain.but(**one), frequency).gain_db)
    low, high = np.sort(each, axis=0)[[1, -2]]  # of a hundred the second from each end lies within the percentiles
    assert np.all(band[0] <= low + 0.02) and np.all(band[1] >= high - 0.02)
    assert np.all(band[0] >= np.min(each, axis=0) - 0.02) and np.all(band[1] <= np.max(each, axis=0) + 0.02)


def test_the_band_narrows_to_the_curve_of_a_measured_part() -> None:
    chain = SignalChain({**MEASURED, "pickup_c": 2e-9})
    frequency = np.geomspace(20.0, 20e3, 40)
    band, level = level_band(chain, frequency), response(chain, frequency).gain_db
    assert np.all(band[0] <= level + 0.01) and np.all(band[1] >= level - 0.01)
    assert np.all(band[1] - band[0] < 1.0)  # a follower hardly feels its resistors


def test_a_second_transistor_is_drawn_apart_from_the_first_unless_it_was_measured() -> None:
    chain = SignalChain(stage="steady")
    values, inputs = drawn(chain, 5.0, 20.0, 3000, seed=1)
    assert inputs["second"] == ("second_idss", "second_vgsoff")
    assert abs(np.corrcoef(values.jfet_vgsoff, values.second_vgsoff)[0, 1]) < 0.07
    for first, second in (("jfet_vgsoff", "second_vgsoff"), ("jfet_idss", "second_idss")):  # one type, one law
        assert ks_2samp(values[first], values[second]).pvalue > LEAST_P
        assert ks_2samp(values[first], 1.1 * values[second]).pvalue < LEAST_P, "the test can tell"
    other, _ = drawn(chain.but(second="J201"), 5.0, 20.0, 3000, seed=1)
    assert ks_2samp(-other.second_vgsoff, -population("J201", 3000, seed=9).vgsoff).pvalue > LEAST_P
    known = chain.but(second_idss=5e-3, second_vgsoff=1.5)
    assert "second" not in drawn(known, 5.0, 20.0, 100, seed=1)[1] and "jfet" in drawn(known, 5.0, 20.0, 100, seed=1)[1]
