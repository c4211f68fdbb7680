"""The parts that a type is made of, against the stated laws sampled or integrated another way (scipy.stats)."""

import numpy as np
import pytest
from scipy import stats

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.population import BETA_SPREAD, builds, population

TYPES = list(catalogue.transistors())


def middle(name: str) -> float:
    """ln beta of the sheet's typical point."""
    kind = catalogue.transistors()[name]
    return float(np.log(kind.idss_typical) - 2 * np.log(kind.vgsoff_intercept_typical))


def accepted(name: str, u: np.ndarray) -> np.ndarray:
    """Chance that a part of ln |V_GS(off)| = u has an I_DSS within the sheet's limits."""
    kind = catalogue.transistors()[name]
    law = stats.norm(middle(name) + 2 * u, 0.15)
    return law.cdf(np.log(kind.idss_max)) - law.cdf(np.log(kind.idss_min))


@pytest.mark.parametrize("name", TYPES)
def test_both_limits_of_the_sheet_always_hold(name: str) -> None:
    kind, drawn = catalogue.transistors()[name], population(name)
    assert drawn.idss.shape == drawn.vgsoff.shape == (2000,)
    assert drawn.vds == kind.idss_vds
    assert np.all((drawn.idss >= kind.idss_min) & (drawn.idss <= kind.idss_max))
    # as the sheet states it: the gate voltage at which the small current still flows
    on_sheet = -drawn.vgsoff * (1 - np.sqrt(kind.vgsoff_id / drawn.idss))
    assert np.all(on_sheet >= kind.vgsoff_min * (1 - 1e-12)) and np.all(on_sheet <= kind.vgsoff_max * (1 + 1e-12))


@pytest.mark.parametrize("name", TYPES)
def test_cut_off_voltage_is_log_uniform_given_the_limits(name: str) -> None:
    """Density of ln |V_GS(off)|: even over the sheet's range times the chance of a permitted I_DSS."""
    kind = catalogue.transistors()[name]
    u = np.linspace(np.log(kind.vgsoff_intercept_min), np.log(kind.vgsoff_intercept_max), 4001)
    weight = accepted(name, u)
    cdf = np.concatenate([[0], np.cumsum(0.5 * (weight[1:] + weight[:-1]))])
    found = stats.kstest(np.log(-population(name, 4000, 7).vgsoff), lambda x: np.interp(x, u, cdf / cdf[-1]))
    assert found.pvalue > 1e-3


@pytest.mark.parametrize("name", TYPES)
def test_beta_is_log_normal_given_the_limits(name: str) -> None:
    """Each draw's place within its own truncated law is even between 0 and 1, whatever its V_GS(off)."""
    kind, drawn = catalogue.transistors()[name], population(name, 4000, 8)
    u, log_i = np.log(-drawn.vgsoff), np.log(drawn.idss)
    law = stats.norm(middle(name) + 2 * u, 0.15)
    low, high = law.cdf(np.log(kind.idss_min)), law.cdf(np.log(kind.idss_max))
    place = (law.cdf(log_i) - low) / (high - low)
    assert stats.kstest(place, "uniform").pvalue > 1e-3
    assert abs(stats.spearmanr(place, u).statistic) < 0.06
    free = (low < 1e-3) & (high > 1 - 1e-3)  # where the limits cut nothing off the spread is 15 %
    if free.sum() > 500:
        spread = np.std(log_i[free] - 2 * u[free])
        assert spread == pytest.approx(0.15, rel=4 / np.sqrt(2 * free.sum()))
    assert BETA_SPREAD == 0.15


@pytest.mark.parametrize("name", ["J113", "2N3819", "2SK170-GR", "BF256B"])
def test_against_a_rejection_sampler_of_another_make(name: str) -> None:
    kind, rng = catalogue.transistors()[name], np.random.default_rng(99)
    kept: list[tuple[float, float]] = []
    while len(kept) < 3000:
        v = kind.vgsoff_intercept_min * (kind.vgsoff_intercept_max / kind.vgsoff_intercept_min) ** rng.random()
        i = kind.idss_typical * (v / kind.vgsoff_intercept_typical) ** 2 * rng.lognormal(0, 0.15)
        if kind.idss_min <= i <= kind.idss_max:
            kept.append((i, v))
    drawn = population(name, 3000, 9)
    for ours, theirs in zip((drawn.idss, -drawn.vgsoff), np.array(kept).T, strict=True):
        assert stats.ks_2samp(ours, theirs).pvalue > 1e-3


def test_a_population_is_the_same_each_time_and_another_with_another_seed() -> None:
    assert np.array_equal(population("J113").idss, population("J113").idss)
    assert not np.array_equal(population("J113").idss, population("J113", seed=1).idss)
    with pytest.raises(KeyError):
        population("XYZ")


def test_parts_that_cut_off_early_carry_little() -> None:
    """Sheet corners combined at will are parts that do not exist."""
    drawn = population("J113")
    assert stats.spearmanr(drawn.idss, -drawn.vgsoff).statistic > 0.9
    kind = catalogue.transistors()["J113"]
    corner = (drawn.idss > 0.8 * kind.idss_max) & (-drawn.vgsoff < 1.2 * kind.vgsoff_intercept_min)
    assert not corner.any()


# -- builds of a chain -------------------------------------------------------------------------------
def test_nothing_measured() -> None:
    drawn, found = population("2N5457"), builds(SignalChain(jfet="2N5457"))
    assert np.array_equal(found.jfet_idss, drawn.idss) and np.array_equal(found.jfet_vgsoff, drawn.vgsoff)
    assert found.jfet_vds == catalogue.transistors()["2N5457"].idss_vds
    # entering a reading's voltage alone restates the same parts
    moved = builds(SignalChain(jfet="2N5457", jfet_vds=5, jfet_lambda=0.05))
    factor = (1 + 0.05 * 5) / (1 + 0.05 * catalogue.transistors()["2N5457"].idss_vds)
    assert moved.jfet_idss == pytest.approx(drawn.idss * factor, rel=1e-12)


def test_both_measured_is_one_part() -> None:
    chain = SignalChain(jfet_idss=5e-3, jfet_vgsoff=-2)
    assert builds(chain).as_dict() == chain.values.as_dict()


@pytest.mark.parametrize("name", TYPES)
def test_with_i_dss_measured_the_cut_off_voltage_keeps_to_the_sheet(name: str) -> None:
    """Among parts of that I_DSS ln |V_GS(off)| is normal with half the spread, between the sheet's limits."""
    kind = catalogue.transistors()[name]
    found = builds(SignalChain(jfet=name, jfet_idss=kind.idss_typical, jfet_vds=kind.idss_vds), size=4000)
    assert np.all(found.jfet_idss == kind.idss_typical)
    v = -found.jfet_vgsoff
    assert np.all((v >= kind.vgsoff_intercept_min) & (v <= kind.vgsoff_intercept_max))
    centre = np.log(kind.vgsoff_intercept_typical)
    low, high = ((np.log(x) - centre) / 0.075 for x in (kind.vgsoff_intercept_min, kind.vgsoff_intercept_max))
    assert stats.kstest(np.log(v), stats.truncnorm(low, high, centre, 0.075).cdf).pvalue > 1e-3


@pytest.mark.parametrize("name", TYPES)
def test_with_the_cut_off_voltage_measured_i_dss_keeps_to_the_sheet(name: str) -> None:
    kind = catalogue.transistors()[name]
    found = builds(SignalChain(jfet=name, jfet_vgsoff=max(kind.vgsoff_intercept_typical, 0.1)), size=4000)
    i, centre = found.jfet_idss, np.log(kind.idss_typical)
    assert np.all((i >= kind.idss_min) & (i <= kind.idss_max))
    low, high = ((np.log(x) - centre) / 0.15 for x in (kind.idss_min, kind.idss_max))
    assert stats.kstest(np.log(i), stats.truncnorm(low, high, centre, 0.15).cdf).pvalue > 1e-3


def test_the_conditional_draw_is_the_slice_of_the_whole_population() -> None:
    """Of a hundred thousand parts those within half a percent of the reading, against the conditional law."""
    whole = population("J113", 100_000, 5)
    near = np.abs(np.log(whole.idss / 6e-3)) < 0.01
    assert near.sum() > 500
    chain = SignalChain(jfet="J113", jfet_idss=6e-3, jfet_vds=catalogue.transistors()["J113"].idss_vds)
    assert stats.ks_2samp(whole.vgsoff[near], builds(chain).jfet_vgsoff).pvalue > 1e-3


def test_a_reading_taken_at_another_voltage_is_the_same_part() -> None:
    kind = catalogue.transistors()["J113"]
    at_sheet = builds(SignalChain(jfet_idss=6e-3, jfet_vds=kind.idss_vds))
    low = 6e-3 * (1 + kind.lambda_ * 5) / (1 + kind.lambda_ * kind.idss_vds)
    assert builds(SignalChain(jfet_idss=low, jfet_vds=5)).jfet_vgsoff == pytest.approx(at_sheet.jfet_vgsoff, rel=1e-12)


def test_a_part_that_is_not_of_its_sheet_keeps_the_types_beta() -> None:
    """Where hardly any part of the type measures so, the limits give way and the square law stays."""
    found = builds(SignalChain(jfet="J113", jfet_vgsoff=-12), size=4000)
    assert np.std(np.log(found.jfet_idss)) == pytest.approx(0.15, rel=0.05)
    assert np.median(found.jfet_idss) == pytest.approx(np.exp(middle("J113")) * 144, rel=0.02)
    assert np.all(np.isfinite(builds(SignalChain(jfet="J113", jfet_idss=0.2)).jfet_vgsoff))
