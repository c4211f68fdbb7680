"""The stage at rest against its own equations written down again, over thousands of random chains."""

import math
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import pytest
from scipy import constants
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.studies.bias import SPREAD_KEYS, Bias, bias, bias_of, bias_population, spread
from piezolab.studies.population import builds

EACH = 3400  # builds of each of six kinds: 20,400 together
KINDS = list(product(("follower", "gain"), ("ground", "tap", "divider")))


def random_builds(stage: str, return_: str, rng: np.random.Generator) -> Values:
    """Builds over the ranges of the link, so drawn that every region turns up."""

    def log(low: float, high: float) -> np.ndarray:
        return 10 ** rng.uniform(math.log10(low), math.log10(high), EACH)

    def or_none(some: np.ndarray) -> np.ndarray:
        return np.where(rng.random(EACH) < 0.3, 0.0, some)

    chain = SignalChain({"stage": stage, "return": return_})
    # a gate held up by a divider conducts; resistors of megohms in the drain starve the stage into its triode
    return chain.values.but(
        pickup_r=log(10e3, 100e9), gate_r=log(1e3, 1e9), source_r=log(10, 1e6), drain_r=or_none(log(10, 1e6)),
        return_part=rng.uniform(0.05, 0.95, EACH), divider_r=log(100, 100e6), supply_r=or_none(log(1, 100e3)),
        supply_v=rng.uniform(1, 30, EACH), jfet_idss=log(10e-6, 0.2), jfet_vgsoff=-log(0.1, 15),
        jfet_vds=rng.uniform(0, 40, EACH), jfet_lambda=or_none(rng.uniform(0, 0.2, EACH)),
        jfet_ig=or_none(log(1e-12, 1e-6)), temp_c=rng.uniform(-20, 60, EACH), other_current=or_none(log(1e-6, 1)),
        bypass_c=0.0,
    )  # fmt: skip


@dataclass(frozen=True)
class Square:
    """The transistor, written down a second time: Shichman & Hodges 1968, two junctions, leakage, temperature."""

    beta: Any
    off: Any
    lambda_: Any
    leakage: Any
    v_t: Any

    @classmethod
    def of(cls, v: Values) -> "Square":
        warmer = v.temp_c - 25
        beta = v.jfet_idss / v.jfet_vgsoff**2 / (1 + v.jfet_lambda * v.jfet_vds) * (1 - 0.006 * warmer)
        v_t = constants.k * constants.convert_temperature(v.temp_c, "C", "K") / constants.e
        return cls(beta, v.jfet_vgsoff - 0.002 * warmer, v.jfet_lambda, v.jfet_ig * 2 ** (warmer / 10), v_t)

    def channel(self, v_gs: Any, v_ds: Any) -> Any:
        over = np.maximum(v_gs - self.off, 0.0)
        saturated = self.beta * over**2
        triode = self.beta * v_ds * (2 * over - v_ds)
        return np.where(v_ds < over, triode, saturated) * (1 + self.lambda_ * v_ds)

    def gate(self, v_gs: Any, v_ds: Any) -> tuple[Any, Any]:
        """Currents from the gate to the source and to the drain."""
        v_gd = v_gs - v_ds
        to_drain = 10e-15 * np.expm1(v_gd / self.v_t) + self.leakage * np.tanh(v_gd / self.v_t / 2)
        return 10e-15 * np.expm1(v_gs / self.v_t), to_drain


# -- twenty thousand chains -------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def many() -> list[tuple[str, Values, Bias]]:
    rng = np.random.default_rng(31)
    made = [(return_, random_builds(stage, return_, rng)) for stage, return_ in KINDS]
    return [(return_, values, bias_of(values)) for return_, values in made]


def test_both_regions_and_gate_conduction_turn_up(many: list[tuple[str, Values, Bias]]) -> None:
    region = np.concatenate([np.broadcast_to(b.region, EACH) for _, _, b in many])
    gate = np.concatenate([np.broadcast_to(b.gate, EACH) for _, _, b in many])
    assert len(region) == 20_400
    # Cut-off cannot be: the gate never rests below ground, and without current no source rests above it. What a source
    # resistor of a megohm leaves is a thousandth of I_DSS, in saturation.
    assert set(region) == {"saturation", "triode"}
    for name in ("saturation", "triode"):
        assert np.mean(region == name) > 0.1, name
    assert set(gate) == {"ok", "conducting"} and np.mean(gate == "conducting") > 0.05


def test_currents_are_those_of_the_transistor_at_its_voltages(many: list[tuple[str, Values, Bias]]) -> None:
    for _, values, b in many:
        q = Square.of(values)
        assert np.all(b.v_ds > -1e-9)  # nothing in these stages turns the channel round
        channel, (to_source, to_drain) = q.channel(b.v_gs, np.maximum(b.v_ds, 0)), q.gate(b.v_gs, b.v_ds)
        scale = np.abs(channel) + np.abs(to_source) + np.abs(to_drain)
        assert np.all(np.abs(channel - to_drain - b.i_d) <= 1e-9 * scale + 1e-15)
        assert np.all(np.abs(to_source + to_drain - b.i_g) <= 1e-9 * scale + 1e-15)


def test_kirchhoff_at_every_node(many: list[tuple[str, Values, Bias]]) -> None:
    """Voltages from the currents alone, along each resistor of the drawing."""
    for return_, v, b in many:
        drawn = b.supply_current - v.other_current
        supply = v.supply_v - drawn * v.supply_r
        scale = np.abs(v.supply_v) + np.abs(b.v_gs)

        def small(miss: np.ndarray, scale: np.ndarray = scale) -> bool:
            return bool(np.all(np.abs(miss) <= 1e-9 * scale))

        assert small(b.v_d - (supply - b.i_d * v.drain_r))
        i_s = b.i_d + b.i_g
        far = 0.0
        divider = 0.0
        if return_ == "divider":
            upper, lower = (1 - v.return_part) * v.divider_r, v.return_part * v.divider_r
            far = (supply / upper + b.v_g / v.gate_r) / (1 / upper + 1 / lower + 1 / v.gate_r)
            divider = (supply - far) / upper
        if return_ == "tap":
            far = b.v_s - (1 - v.return_part) * v.source_r * i_s
            assert small(far - v.return_part * v.source_r * (i_s + (b.v_g - far) / v.gate_r))
        else:
            assert small(b.v_s - v.source_r * i_s)
        total = v.gate_r * v.pickup_r / (v.gate_r + v.pickup_r)
        assert small(b.v_g - (far / v.gate_r - b.i_g) * total)
        assert np.all(np.abs(drawn - b.i_d - divider) <= 1e-9 * (np.abs(drawn) + scale / v.divider_r + 1e-12))
        assert small(b.v_gs - (b.v_g - b.v_s)) and small(b.v_ds - (b.v_d - b.v_s))


def test_regions_and_slopes(many: list[tuple[str, Values, Bias]]) -> None:
    for _, values, b in many:
        q = Square.of(values)
        over = b.v_gs - q.off
        assert np.all((b.region == "cut-off") == (over <= 0))
        assert np.all((b.region == "triode") == ((over > 0) & (b.v_ds < over)))
        assert np.all(np.abs(b.v_ds_sat - np.maximum(over, 0)) < 1e-12 * np.abs(q.off) + 1e-14)
        stretch = 1 + q.lambda_ * b.v_ds
        sat, lin = b.region == "saturation", b.region == "triode"
        # g_ds is lambda I_DSS (1 - V_GS/V_GS(off))^2, not lambda I_D; g_m carries (1 + lambda V_DS)
        g_m = np.where(sat, 2 * q.beta * over * stretch, np.where(lin, 2 * q.beta * b.v_ds * stretch, 0.0))
        g_lin = q.beta * (2 * (over - b.v_ds) * stretch + q.lambda_ * b.v_ds * (2 * over - b.v_ds))
        g_ds = np.where(sat, q.lambda_ * q.beta * over**2, np.where(lin, g_lin, 0.0))
        assert np.all(np.abs(b.g_m - g_m) <= 1e-9 * (np.abs(g_m) + 1e-12))
        assert np.all(np.abs(b.g_ds - g_ds) <= 1e-9 * (np.abs(g_ds) + q.beta * np.abs(over)))
        to_source, to_drain = q.gate(b.v_gs, b.v_ds)
        forward = np.maximum(to_source, 0) + 10e-15 * np.maximum(np.expm1((b.v_gs - b.v_ds) / q.v_t), 0)
        assert np.all(b.gate[forward > 1.01e-9] == "conducting")
        assert np.all(b.gate[(forward < 0.99e-9) & (b.v_gs < 0.02)] == "ok")


def test_against_scipy_brentq_on_the_equations_written_down_again(many: list[tuple[str, Values, Bias]]) -> None:
    """V_DS inside, V_GS outside, both by brentq; the network around as resistances solved by hand."""
    rng = np.random.default_rng(32)
    worst = 0.0
    for return_, values, b in many:
        for n in rng.choice(EACH, 80, replace=False):
            one = {k: float(x[n]) if isinstance(x, np.ndarray) else x for k, x in values.as_dict().items()}
            v_gs, v_ds = by_brentq(return_, Values(one))
            scale = 1e-9 * (abs(one["supply_v"]) + abs(v_gs))
            assert b.v_gs[n] == pytest.approx(v_gs, rel=1e-7, abs=scale)
            assert b.v_ds[n] == pytest.approx(v_ds, rel=1e-6, abs=scale)
            worst = max(worst, abs(b.v_gs[n] - v_gs))
    assert worst < 1e-7


def by_brentq(return_: str, v: Values) -> tuple[float, float]:
    q = Square.of(v)
    upper, lower = (1 - v.return_part) * v.divider_r, v.return_part * v.divider_r
    # unknowns: g, far end of the gate resistor, s, supply lane, d; each row one node's currents
    a, rest = np.zeros((5, 5)), np.zeros((5, 3))  # columns of rest: alone, per i_d, per i_g
    g, far, s, lane, d = range(5)
    a[g, [g, far]] = 1 / v.gate_r + 1 / v.pickup_r, -1 / v.gate_r
    rest[g] = 0, 0, -1
    if return_ == "ground":
        a[far, far] = 1
    elif return_ == "divider":
        a[far, [g, far, lane]] = -1 / v.gate_r, 1 / v.gate_r + 1 / upper + 1 / lower, -1 / upper
    else:
        above, below = (1 - v.return_part) * v.source_r, v.return_part * v.source_r
        a[far, [g, far, s]] = -1 / v.gate_r, 1 / v.gate_r + 1 / above + 1 / below, -1 / above
    if return_ == "tap":
        a[s, [far, s]] = -1 / above, 1 / above
    else:
        a[s, s] = 1 / v.source_r
    rest[s] = 0, 1, 1
    a[lane, lane] = 1
    rest[lane] = v.supply_v, -v.supply_r, 0
    if return_ == "divider":
        a[lane, [lane, far]] = 1 + v.supply_r / upper, -v.supply_r / upper
    a[d, [d, lane]] = 1, -1
    rest[d] = 0, -v.drain_r, 0
    found = np.linalg.solve(a, rest)
    across_gate, across_drain = (found[k] - found[s] for k in (g, d))
    (eg, rgd, rgg), (ed, rdd, rdg) = across_gate.tolist(), across_drain.tolist()
    beta, off, lam, leak, v_t = (float(x) for x in (q.beta, q.off, q.lambda_, q.leakage, q.v_t))

    def currents(v_gs: float, v_ds: float) -> tuple[float, float]:
        over = max(v_gs - off, 0.0)
        if v_ds < 0:  # passed on the way only: source and drain exchanged
            turned = max(v_gs - v_ds - off, 0.0)
            within = min(-v_ds, turned)
            i = -beta * within * (2 * turned - within) * (1 - lam * v_ds)
        else:
            i = beta * (v_ds * (2 * over - v_ds) if v_ds < over else over**2) * (1 + lam * v_ds)
        to_drain = 10e-15 * math.expm1(min((v_gs - v_ds) / v_t, 300)) + leak * math.tanh((v_gs - v_ds) / v_t / 2)
        return i - to_drain, 10e-15 * math.expm1(min(v_gs / v_t, 300)) + to_drain

    def v_ds_of(v_gs: float) -> float:
        def miss(v_ds: float) -> float:
            i_d, i_g = currents(v_gs, v_ds)
            return v_ds - (ed + rdd * i_d + rdg * i_g)

        low = -1.0
        while miss(low) > 0:
            low *= 2
        return brentq(miss, low, v.supply_v + 1, xtol=1e-14, rtol=1e-14)

    def outer(v_gs: float) -> float:
        i_d, i_g = currents(v_gs, v_ds_of(v_gs))
        return v_gs - (eg + rgd * i_d + rgg * i_g)

    low = off - 1.0
    while outer(low) > 0:
        low *= 2
    v_gs = brentq(outer, low, 2.0 if outer(2.0) > 0 else 30.0, xtol=1e-14, rtol=1e-14)
    return v_gs, v_ds_of(v_gs)


# -- where a program goes wrong ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("source_r", [10, 100, 1e3, 10e3, 100e3, 1e6, 10e6])
def test_half_the_supply_at_the_gate_fails_for_a_high_cut_off_voltage_whatever_the_source_resistor(
    source_r: float,
) -> None:
    """With no drain resistor saturation needs V+ of at least V_G + |V_GS(off)|."""
    common = {"return": "divider", "return_part": 0.5, "pickup_r": 100e9, "jfet_ig": 0.0, "source_r": source_r}
    failing = bias(SignalChain({**common, "jfet_idss": 10e-3, "jfet_vgsoff": -5.0}))
    # under a hundred ohms or so the gate conducts and pulls its own divider down
    assert failing.region == "triode" or (failing.gate == "conducting" and source_r < 1e3)
    working = bias(SignalChain({**common, "jfet_idss": 10e-3, "jfet_vgsoff": -4.0}))
    assert working.region == "saturation"


def test_saturation_is_checked_and_not_assumed() -> None:
    """A drain resistor that would have to drop more than there is: square law in saturation gives a V_D below 0 V."""
    chain = SignalChain(stage="gain", jfet_idss=10e-3, jfet_vgsoff=-2, jfet_lambda=0, source_r=100, drain_r=10e3)
    b = bias(chain)
    assumed = brentq(lambda v: -v / 100 - 10e-3 * (1 + v / 2) ** 2, -2, 0)  # V_GS, were it saturated
    assert 9 - 10e3 * (-assumed / 100) < 0
    assert b.region == "triode" and 0 < b.v_d < 1
    assert b.i_d == pytest.approx((9 - b.v_d) / 10e3, rel=1e-9)
    # and there the channel rivals the transconductance
    assert b.g_ds > b.g_m


def test_squaring_past_cut_off_makes_no_current() -> None:
    """(1 - V_GS/V_GS(off))^2 rises again beyond V_GS(off): a gate pulled far below it draws nothing."""
    values = SignalChain(jfet_idss=10e-3, jfet_vgsoff=-0.5, jfet_ig=0, source_r=10e6).values
    q = Square.of(values)
    assert q.channel(-3.0, 5.0) == 0
    b = bias_of(values)
    assert 0 < b.i_d < 0.5 / 10e6 * 1.01


def test_a_gate_above_its_source_is_said_to_conduct() -> None:
    """A divider that lifts the gate over a source resistor of nothing: the junction clamps it near 0.6 V."""
    chain = SignalChain({"stage": "gain", "return": "divider", "return_part": 0.9, "source_r": 0, "gate_r": 1e6})
    b = bias(chain)
    assert b.gate == "conducting"
    assert 0.4 < b.v_gs < 0.75
    far = 9 * 0.9
    assert b.i_g == pytest.approx((far - b.v_gs) / (1e6 + 2e6 * 0.9 * 0.1), rel=0.02)
    assert bias(SignalChain()).gate == "ok"
    assert bias(SignalChain(source_r=0)).gate == "ok"  # leakage over the gate resistor, microvolts: no conduction


def test_gate_leakage_raises_the_gate() -> None:
    """I_GSS doubles for each 10 degrees and flows through gate resistor and pickup in parallel."""
    total = 4.7e6 * 1e9 / (4.7e6 + 1e9)
    for temp_c, factor in ((25, 1), (35, 2), (55, 8)):
        b = bias(SignalChain(jfet_ig=20e-9, temp_c=temp_c))
        assert b.v_g == pytest.approx(20e-9 * factor * total, rel=1e-3)
    assert bias(SignalChain(jfet_ig=20e-9)).i_d > bias(SignalChain(jfet_ig=0)).i_d


def test_a_leaky_pickup_pulls_at_a_divider() -> None:
    entered = {"return": "divider", "return_part": 0.5, "jfet_ig": 0.0}
    b = bias(SignalChain({**entered, "pickup_r": 10e6}))
    assert b.v_g == pytest.approx(4.5 * 10e6 / (10e6 + 4.7e6 + 0.5e6), rel=1e-7)  # junctions: 20 fA


def test_one_transistor_at_three_temperatures() -> None:
    """beta -0.6 %/K, |V_GS(off)| +2 mV/K; the square law solved as a quadratic (lambda 0, no leakage)."""
    for temp_c in (-20, 25, 60):
        b = bias(SignalChain(jfet_idss=6e-3, jfet_vgsoff=-2, jfet_lambda=0, jfet_ig=0, temp_c=temp_c))
        beta, off, r = 1.5e-3 * (1 - 0.006 * (temp_c - 25)), 2 + 0.002 * (temp_c - 25), 3.9e3
        # beta r (off - x)^2 = x
        x = off + (1 - math.sqrt(1 + 4 * beta * r * off)) / (2 * beta * r)
        assert b.v_s == pytest.approx(x, rel=1e-6) and b.i_d == pytest.approx(x / r, rel=1e-6)  # junctions: 20 fA


def test_what_else_draws_counts_at_the_battery() -> None:
    chain = SignalChain(other_current=5e-3, **{"return": "divider"})
    b = bias(chain)
    divider = (9 - b.v_g) / 1e6  # nearly: the upper half of 2 megohm
    assert b.supply_current == pytest.approx(b.i_d + 5e-3 + divider, rel=1e-4)


def test_no_stage_has_no_operating_point() -> None:
    chain = SignalChain(stage="direct")
    assert bias(chain) is None and bias_population(chain) is None
    with pytest.raises(ValueError, match="without a stage"):
        bias_of(chain.values)


# -- spread -----------------------------------------------------------------------------------------------------------
def test_spread_is_the_first_and_the_ninety_ninth_percentile() -> None:
    chain = SignalChain(stage="gain")
    found = spread(bias_population(chain))
    assert list(found) == list(SPREAD_KEYS)
    values = builds(chain)
    # one build at a time, as a chain of its own
    sample = range(0, len(values.jfet_idss), 200)
    many = bias_of(values)
    for n in sample:
        part = {"jfet_idss": values.jfet_idss[n], "jfet_vds": values.jfet_vds, "jfet_vgsoff": values.jfet_vgsoff[n]}
        alone = bias(chain.but(part))
        for key in SPREAD_KEYS:
            assert getattr(many, key)[n] == pytest.approx(float(getattr(alone, key)), rel=1e-9, abs=1e-15)
    for key, (low, high) in found.items():
        ordered = np.sort(getattr(many, key))
        place = np.array([0.01, 0.99]) * (len(ordered) - 1)
        expected = np.interp(place, np.arange(len(ordered)), ordered)
        assert (low, high) == pytest.approx(tuple(expected), rel=1e-12)
        assert low < high
        typical = float(getattr(bias(chain), key))
        assert low <= typical <= high


def test_a_measured_transistor_has_no_spread() -> None:
    chain = SignalChain(jfet_idss=5e-3, jfet_vgsoff=-2)
    for low, high in spread(bias_population(chain)).values():
        assert low == high
