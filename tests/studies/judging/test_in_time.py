"""Clip edges and plugging in, by a general solver of differential equations on equations written here by hand.

The equations know nothing of the package's network: currents into four nodes (gate, source, drain, jack), the square
law of Shichman and Hodges (1968), and the capacitors between the nodes as a matrix. Six chains in each run;
PIEZOLAB_LONG=1 takes fifty. Those fifty (24 followers, 26 gain stages): 100 edges, the worst 1.8 % off and half of them
under 0.2 %, every cause the same; steps within 0.005 %; settling times never less and never more than they may be.
"""

import os
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.circuit.jfet import JUNCTION_SATURATION_A
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.linear import LinearChain
from piezolab.studies.plugging import plugging
from piezolab.studies.swing import swing

COUNT = 50 if os.environ.get("PIEZOLAB_LONG") else 6
THERMAL_V = 1.380649e-23 * 298.15 / 1.602176634e-19  # kT/q at 25 °C
HZ = 1000.0


@dataclass(frozen=True)
class ByHand:
    """A plain stage: gate resistor and source resistor to ground, drain to the supply through R_D (0: straight)."""

    chain: SignalChain

    def current(self, v_gs: float, v_ds: float) -> float:
        """Drain current, A."""
        v = self.chain.values
        over = v_gs - v.jfet_vgsoff
        if over <= 0 or v_ds <= 0:
            return 0.0
        k = v.jfet_idss / (1 + v.jfet_lambda * v.jfet_vds) / v.jfet_vgsoff**2
        bend = over**2 if v_ds >= over else (2 * over - v_ds) * v_ds
        return k * bend * (1 + v.jfet_lambda * v_ds)

    def at_rest(self) -> tuple[float, float]:
        """Voltages of source and drain, the gate at 0 V."""
        v = self.chain.values

        def miss(v_s: float) -> float:
            v_d = v.supply_v - v.drain_r * v_s / v.source_r
            return self.current(-v_s, v_d - v_s) - v_s / v.source_r

        v_s = brentq(miss, 0.0, v.supply_v * v.source_r / (v.source_r + v.drain_r), xtol=1e-14)
        return v_s, v.supply_v - v.drain_r * v_s / v.source_r

    @property
    def capacitors(self) -> np.ndarray:
        """Charge on each of gate, source, drain and jack for a volt on each, F."""
        v = self.chain.values
        gate, source, drain, jack = range(4)
        out = drain if self.chain.stage == "gain" else source
        found = np.zeros((4, 4))
        between = [
            (gate, None, v.pickup_c + v.lead_m * v.lead_c), (gate, source, v.jfet_ciss - v.jfet_crss),
            (gate, drain, v.jfet_crss), (source, None, v.bypass_c), (out, jack, v.out_c),
            (jack, None, v.cable_m * v.cable_c + v.input_c),
        ]  # fmt: skip
        for a, b, farad in between:
            found[a, a] += farad
            if b is not None:
                found[b, b] += farad
                found[a, b] -= farad
                found[b, a] -= farad
        return found

    def edge(self, side: float, volts: float) -> tuple[float, str]:
        """Drive the pickup with half a sine of 1 kHz, `volts` high: its voltage when the first cause of clipping is
        there, and which."""
        v = self.chain.values
        v_s, v_d = self.at_rest()
        rest, knee = v_s / v.source_r, THERMAL_V * np.log1p(1e-6 / JUNCTION_SATURATION_A)
        straight = v.drain_r == 0
        moving = [0, 1, 3] if straight else [0, 1, 2, 3]
        whole = self.capacitors[np.ix_(moving, moving)]
        inverse = np.linalg.inv(whole)

        def nodes(y: np.ndarray) -> tuple[float, float, float, float]:
            return (y[0], y[1], v.supply_v, y[2]) if straight else tuple(y)

        def slopes(t: float, y: np.ndarray) -> np.ndarray:
            g, s, d, j = nodes(y)
            i = self.current(g - s, d - s)
            driven = v.pickup_c * side * volts * 2 * np.pi * HZ * np.cos(2 * np.pi * HZ * t)
            into = [driven - g / v.gate_r - g / v.pickup_r, i - s / v.source_r]
            into += [] if straight else [(v.supply_v - d) / v.drain_r - i]
            return inverse @ np.array([*into, -j / v.bleed_r - j / v.input_r])

        def cut_off(t: float, y: np.ndarray) -> float:
            g, s, d, _ = nodes(y)
            return self.current(g - s, d - s) - 0.01 * rest

        def triode(t: float, y: np.ndarray) -> float:
            g, s, d, _ = nodes(y)
            return (d - s) - (g - s - v.jfet_vgsoff)

        def gate(t: float, y: np.ndarray) -> float:
            g, s, _, _ = nodes(y)
            return knee - (g - s)

        causes = {"cut-off": cut_off, "triode": triode, "gate": gate}
        for cause in causes.values():
            cause.terminal = True
        start = [0.0, v_s, 0.0] if straight else [0.0, v_s, v_d, 0.0]
        run = solve_ivp(
            slopes, (0, 0.25 / HZ), start, method="BDF", events=list(causes.values()), rtol=1e-6, atol=1e-8,
            max_step=0.25 / HZ / 40,
        )  # fmt: skip
        for name, times in zip(causes, run.t_events, strict=True):
            if times.size:
                return volts * float(np.sin(2 * np.pi * HZ * times[0])), name
        return np.inf, ""

    def plugged_in(self) -> tuple[float, float, float, float]:
        """The jack after a minute alone, V, and with the input just plugged in, V; where it stays, V; and s until it is
        within 10 mV of there."""
        v = self.chain.values
        v_s, v_d = self.at_rest()
        across = v_d if self.chain.stage == "gain" else v_s
        leak = 0.1 * max(0.01 * v.out_c * across, 3e-6) if v.out_c >= 1e-6 else 0.0

        def jack(u: float, load: float) -> float:
            """Voltage behind an output capacitor that holds u volts, the bypass capacitor following at once."""

            def miss(i: float) -> float:
                if self.chain.stage == "gain":
                    drain = u + load * i
                    drawn = (v.supply_v - drain) / v.drain_r - i
                    return drawn - self.current(-drawn * v.source_r, drain - drawn * v.source_r)
                source = u + load * i
                return i + source / v.source_r - self.current(-source, v.supply_v - source)

            most = 2 * v.supply_v / load
            return load * brentq(miss, -most, most, xtol=1e-15, rtol=1e-12)

        def charging(t: float, u: np.ndarray, load: float) -> list[float]:
            return [(jack(u[0], load) / load - leak) / v.out_c]

        both = 1 / (1 / v.bleed_r + 1 / v.input_r)
        stays = leak * both

        def near(t: float, u: np.ndarray, load: float) -> float:
            return abs(jack(u[0], load) - stays) - 10e-3

        near.terminal, near.direction = True, -1
        how = {"method": "LSODA", "rtol": 1e-6, "atol": 1e-7}
        alone = solve_ivp(charging, (0, 60), [0.0], args=(v.bleed_r,), **how)
        step = jack(alone.y[0, -1], v.bleed_r)
        jump = jack(alone.y[0, -1], both)
        if abs(jump - stays) <= 10e-3:
            return step, jump, stays, 0.0
        fall = solve_ivp(charging, (0, 1e3), [alone.y[0, -1]], args=(both,), events=near, **how)
        return step, jump, stays, float(fall.t[-1])


def plain_chains() -> list[SignalChain]:
    """Working stages of the kind that the equations are written for, large capacitors really large at 1 kHz."""
    rng, found = np.random.default_rng(11), []

    def log(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    while len(found) < COUNT:
        gain = bool(rng.random() < 0.5)
        chain = SignalChain(
            stage="gain" if gain else "follower", jfet_idss=log(1e-3, 15e-3), jfet_vgsoff=-log(0.6, 4.0),
            jfet_lambda=float(rng.uniform(0, 0.02)), jfet_ig=0.0, jfet_ciss=log(3e-12, 15e-12), jfet_crss=1e-12,
            source_r=log(300, 10e3), drain_r=log(1e3, 10e3) if gain else 0.0, bypass_c=220e-6 if gain else 0.0,
            gate_r=log(1e6, 22e6), pickup_c=log(5e-9, 50e-9), pickup_loss=0.0, out_c=log(220e-9, 22e-6),
            bleed_r=log(47e3, 470e3), input_r=log(22e3, 1e6), cable_m=float(rng.uniform(0, 6)),
            supply_v=float(rng.uniform(9, 18)), supply_c=0.0,
        )  # fmt: skip
        linear = LinearChain.of(chain.values)
        if linear.saturated and not linear.gate_conducts:
            found.append(chain)
    return found


CHAINS = plain_chains()


@pytest.mark.parametrize("number", range(COUNT))
def test_clip_edges_in_time(number: int) -> None:
    chain = CHAINS[number]
    hand, found = ByHand(chain), swing(LinearChain.of(chain.values))
    assert hand.at_rest()[0] == pytest.approx(float(LinearChain.of(chain.values).point.voltage("source")), rel=1e-6)
    nearest = []
    for side, edge in ((1.0, float(found.up)), (-1.0, float(found.down))):
        if not np.isfinite(edge):
            continue
        met, cause = hand.edge(side, 1.25 * edge)
        assert met == pytest.approx(edge, rel=0.03), (chain, side, cause)
        nearest.append((met, cause))
    met, cause = min(nearest)
    stage = judgement(chain).edges
    assert stage.stage_v == pytest.approx(met, rel=0.03)
    others = sorted(met for met, _ in nearest)
    if len(others) < 2 or others[1] > 1.05 * others[0]:  # two edges as near as that are one
        assert stage.stage_cause == cause


@pytest.mark.parametrize("number", range(COUNT))
def test_step_and_settling_in_time(number: int) -> None:
    """The study takes the jump from the jack as it stood unloaded: its settling time is never less, and more by no
    more than an exponential takes from there to the loaded jump."""
    chain = CHAINS[number]
    step, jump, stays, settled = ByHand(chain).plugged_in()
    found = plugging(chain)
    assert found.step_v == pytest.approx(step, rel=0.03, abs=3e-4), chain
    assert found.dc_v == pytest.approx(stays, rel=0.02, abs=1e-5), chain
    slow = chain.out_c * (1 / (1 / chain.bleed_r + 1 / chain.input_r) + (chain.drain_r or chain.source_r))
    more = slow * max(np.log(abs(step - stays) / abs(jump - stays)), 0.0)
    assert 0.97 * settled - 0.01 * slow <= found.settle_s <= 1.03 * (settled + more) + 0.01 * slow, chain
    assert judgement(chain).plug == found


def test_another_transistor_is_seen() -> None:
    """A tenth more V_GS(off) moves an edge by more than the tolerance: the comparison can fail."""
    chain = CHAINS[0]
    edge = float(swing(LinearChain.of(chain.values)).headroom)
    other = ByHand(chain.but(jfet_vgsoff=1.1 * chain.jfet_vgsoff))
    assert min(abs(other.edge(side, 1.5 * edge)[0] / edge - 1) for side in (1.0, -1.0)) > 0.03
