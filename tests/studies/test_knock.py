"""A knock on the disc against equations written by hand and integrated by scipy: gate, output, charge, recovery."""

from functools import cached_property

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.circuit.jfet import gate_currents
from piezolab.studies import knock as study
from piezolab.studies.knock import BREAKS_AT, KNOCK_HZ, SHAPES, STEPS, knock, knock_shape, knock_times, run_knock
from piezolab.studies.linear import LinearChain

CHAINS = [{}, {"stage": "gain", "pickup_c": 3e-9, "jfet": "2N3819"}, {"clamp": "pair"}]
FINE = 8 * STEPS  # of the instants by hand


class ByHand:
    """Gate, source, drain and jack of a one-transistor stage on a stiff supply, gate resistor to ground.

    C v' = currents(v, t) with the square law (Shichman and Hodges 1968) and two gate junctions of 10 fA.
    """

    def __init__(self, chain: SignalChain) -> None:
        self.v, self.kind = chain.values, catalogue.transistors()[chain.jfet]
        v = self.v
        self.gain_stage = chain.stage == "gain"
        cgd, cgs = v.jfet_crss, v.jfet_ciss - v.jfet_crss
        far = v.cable_m * v.cable_c + v.input_c
        c = np.zeros((4, 4))  # gate, source, drain, jack

        def between(a: int, b: int | None, farad: float) -> None:
            c[a, a] += farad
            if b is not None:
                c[b, b] += farad
                c[a, b] -= farad
                c[b, a] -= farad

        between(0, None, v.pickup_c + v.lead_m * v.lead_c)
        self.clamp = catalogue.clamps()[chain.clamp_part] if chain.clamp == "pair" else None
        if self.clamp:  # two junctions back to back
            between(0, None, self.clamp.capacitance / 2)
        between(0, 1, cgs)
        between(0, 2, cgd)
        between(2 if self.gain_stage else 1, 3, v.out_c)
        between(3, None, far)
        if self.gain_stage:
            between(1, None, v.bypass_c)
        else:  # the drain is the supply
            c[2, :] = c[:, 2] = 0.0
            c[2, 2] = 1.0
            c[0, 0] += 0.0
        self.c = np.linalg.inv(c)
        self.v_off = -abs(v.jfet_vgsoff)
        self.beta = v.jfet_idss / (1 + v.jfet_lambda * v.jfet_vds) / self.v_off**2
        self.v_t = 1.380649e-23 * 298.15 / 1.602176634e-19

    def channel(self, v_gs: float, v_ds: float) -> float:
        if v_ds < 0:
            return -self.channel(v_gs - v_ds, -v_ds)
        over = max(v_gs - self.v_off, 0.0)
        within = min(v_ds, over)
        return self.beta * within * (2 * over - within) * (1 + self.v.jfet_lambda * v_ds)

    def junction(self, volt: float) -> float:
        return 10e-15 * np.expm1(min(volt / self.v_t, 60.0))

    def clamped(self, volt: float) -> float:
        """Current through two junctions back to back: 1 uA at the row's voltage, a knee into its resistance."""
        if not self.clamp:
            return 0.0
        k = self.clamp
        x = np.log(np.expm1(1e-6 * k.ohm / k.knee_v)) + (abs(volt) - k.holds_v) / k.knee_v
        through = k.knee_v / k.ohm * (x if x > 40 else np.log1p(np.exp(x)))
        return np.sign(volt) * through + k.leak_a * np.tanh(volt / (4 * self.v_t))

    def into(self, state: np.ndarray) -> np.ndarray:
        """Currents into the four nodes."""
        v, (g, s, d, j) = self.v, state
        i_gs, i_gd = self.junction(g - s), self.junction(g - d) + v.jfet_ig * np.tanh((g - d) / (2 * self.v_t))
        i = self.channel(g - s, d - s)
        drain = (v.supply_v - d) / v.drain_r - i + i_gd if self.gain_stage else 0.0
        return np.array([
            -g / v.gate_r - g / v.pickup_r - i_gs - i_gd - self.clamped(g), i + i_gs - s / v.source_r, drain,
            -j / v.bleed_r - j / v.input_r,
        ])  # fmt: skip

    def run(self, times: np.ndarray, slope, start: np.ndarray) -> np.ndarray:
        """States at the times (s), (4, T); slope: of the pickup's voltage over time, V/s."""
        push = np.array([self.v.pickup_c, 0, 0, 0])
        found = solve_ivp(
            lambda t, v: self.c @ (self.into(v) + push * slope(t)), (times[0], times[-1]), start, method="LSODA",
            t_eval=times, rtol=1e-7, atol=1e-9, max_step=(times[-1] - times[0]) / 10,
        )  # fmt: skip
        assert found.success
        return found.y

    @cached_property
    def rest(self) -> np.ndarray:
        start = np.array([0.0, 1.0, self.v.supply_v - (3.0 if self.gain_stage else 0.0), 0.0])
        return self.run(np.array([0.0, 300.0]), lambda _: 0.0, start)[:, -1]


def _slope(shape: str, peak: float):
    """Of a knock's voltage, V/s, by its own formula."""
    turn = 2 * np.pi * KNOCK_HZ
    last = {SHAPES[0]: 0.5 / KNOCK_HZ, SHAPES[1]: 1 / KNOCK_HZ}[shape]
    return lambda t: peak * turn * np.cos(turn * t) if t <= last else 0.0


@pytest.fixture(scope="module", params=CHAINS, ids=lambda changes: " ".join(map(str, changes.values())) or "default")
def chain(request):
    return SignalChain(**request.param)


def _runs(chain: SignalChain, peak: float, times: np.ndarray):
    hand = ByHand(chain)
    for s, shape in enumerate(SHAPES[:2]):
        edge = FINE // 2 if s == 0 else FINE
        for w, sign in enumerate((1.0, -1.0)):
            first = hand.run(times[: edge + 1], _slope(shape, sign * peak), hand.rest)
            after = hand.run(times[edge:], lambda _: 0.0, first[:, -1])
            yield (s, w), hand, np.concatenate([first, after[:, 1:]], axis=1)


def test_gate_and_output_by_hand(chain) -> None:
    """Furthest reverse voltage within a ten-thousandth of the peak; lowest gate and output, told at the instants of the
    run alone, within three."""
    found = knock(chain)
    times = knock_times(FINE, longest_s=0.0)[: 2 * FINE + 1]
    for at, hand, states in _runs(chain, found.peak_v, times):
        g, s, _, j = states
        assert found.gate_low_v[at] == pytest.approx(g.min(), abs=3e-4 * found.peak_v)
        assert found.gate_source_v[at] == pytest.approx((s - g).max(), abs=1e-4 * found.peak_v)
        loudest = np.abs(j - hand.rest[3]).max()
        assert found.output_v[at] == pytest.approx(loudest, abs=3e-4 * found.peak_v)


def _edge(hand: ByHand, state: np.ndarray) -> float:
    """The smaller peak of a half swing of 1 kHz, either way, at which the transistor leaves its range, by halving."""
    turn = 2000 * np.pi
    times = np.linspace(0, 0.5e-3, 60)
    start = hand.channel(state[0] - state[1], (state[2] if hand.gain_stage else hand.v.supply_v) - state[1])

    def leaves(peak: float) -> bool:
        g, s, d, _ = hand.run(times, lambda t: peak * turn * np.cos(turn * t), state)
        d = d if hand.gain_stage else np.full_like(d, hand.v.supply_v)
        low = min(hand.channel(*pair) for pair in zip(g - s, d - s, strict=True)) < 0.01 * start
        return low or bool(np.any(d - s < g - s - hand.v_off)) or hand.junction(max(g - s)) > 1e-6

    ends = []
    for sign in (1.0, -1.0):
        inside, outside = 0.01, 15.0
        for _ in range(9):
            middle = np.sqrt(inside * outside)
            inside, outside = (inside, middle) if leaves(sign * middle) else (middle, outside)
        ends.append(inside)
    return min(ends)


def test_it_plays_again_when_that_is_said() -> None:
    """The clip edge at that moment, by hand, is just as far from that of rest as is allowed."""
    chain = SignalChain()
    found, hand = knock(chain), ByHand(chain)
    first = hand.run(np.array([0.0, 0.5 / KNOCK_HZ]), _slope(SHAPES[0], found.peak_v), hand.rest)[:, -1]
    then = hand.run(np.array([0.5 / KNOCK_HZ, found.silent_s[0, 0, 0]]), lambda _: 0.0, first)[:, -1]
    rest_edge = _edge(hand, hand.rest)
    assert abs(_edge(hand, then) / rest_edge - 1) == pytest.approx(study.EDGE_PART, abs=0.03)


def test_charge_comes_back_to_where_it_was() -> None:
    """What went into the gate, forwards and backwards, leaves through the resistors until all is at rest again."""
    chain = SignalChain(pickup_c=6e-9)
    whole, run = run_knock(LinearChain.of(chain.values), 40.0, 25.0, 25.0)
    v = chain.values
    gate = run.voltage("pickup") - run.voltage("pickup")[..., -1:]
    q, at = whole["Q1"].model.over_time(), run.inside["Q1"]
    i_gs, _, i_gd, _ = gate_currents(q, *at)
    i_g = i_gs + i_gd - run.jfets["Q1"].i_g[..., -1:]
    through = gate / v.gate_r + gate / v.pickup_r
    moved = np.trapezoid(np.abs(through), run.time)
    assert np.all(np.abs(np.trapezoid(through, run.time) + run.total(i_g)) < 1e-3 * moved)
    assert whole.batch_shape == (3,) and gate.shape[:3] == (3, 2, len(BREAKS_AT))


def test_a_gate_that_breaks_down_holds_its_voltage_and_takes_charge() -> None:
    found = knock(SignalChain())
    assert found.over_voltage and np.argmax(found.gate_source_v) == SHAPES.index("a whole swing") * 2
    assert np.all(found.reverse_a[..., 0] == 0) and np.all(found.charge_c[..., 0] == 0)
    assert np.all(found.charge_c[..., 2] >= found.charge_c[..., 1])
    volts = found.energy_j[..., 2] / found.charge_c[..., 2]
    assert np.all((volts > found.may_v) & (volts < found.may_v + 2.0))  # drain 9 V up: there it breaks first
    # no more charge than the disc has: both swings of a whole one, down from where the gate conducted
    assert np.all(found.charge_c <= 2 * found.peak_v * 15e-9)


def test_a_soft_knock_breaks_nothing_and_a_bare_pickup_has_no_gate() -> None:
    soft = knock(SignalChain(), 1.0)
    assert not soft.over_voltage and not soft.over_current
    assert np.all(soft.silent_s < 5e-3) and np.all(soft.charge_c < 1e-12)
    assert knock(SignalChain(stage="direct")) is None


def test_shapes_begin_at_nothing_reach_one_and_end() -> None:
    time = np.linspace(0, 0.02, 20001)
    for shape in SHAPES:
        wave = knock_shape(time, shape)
        assert wave[0] == 0 and wave.max() == pytest.approx(1, abs=1e-4) and abs(wave[-1]) < 1e-4
    with pytest.raises(ValueError, match="no shape of a knock"):
        knock_shape(time, "a sneeze")


def test_when_values_fall_to_zero_for_good() -> None:
    time = np.array([1.0, 2.0, 3.0, 4.0])
    values = np.array([[1, -1, 3, -1], [-1, -1, -1, -1], [1, 1, 1, 1], [2, -2, -2, -2]], float)
    assert study._last_above_zero(time, values) == pytest.approx([3.75, 0.0, np.inf, 1.5])
