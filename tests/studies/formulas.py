"""Stages worked out by hand: node equations solved on paper, with the transistor's slopes as given numbers.

g: gate (and pickup), s: source, d: drain, j: jack. All in SI units; arrays over frequency.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.linear import LinearChain
from tests.chain.strategies import random_chain

#: A stage whose surroundings the formulas know: no stopper, no resistor in the supply, gate resistor to ground.
SIMPLE: dict[str, Any] = {
    "resonance": None, "pad": None, "discs": "1", "return": "ground", "gate_stop": 0.0, "supply_r": 0.0,
    "bypass_part": 1.0, "clamp": "none",
}  # fmt: skip


@dataclass(frozen=True)
class Slopes:
    """Small-signal values of a chain's transistor, gate junctions included."""

    g_m: float
    g_ds: float
    g_gs: float
    g_gd: float
    c_gs: float
    c_gd: float

    @classmethod
    def of(cls, chain: SignalChain) -> "Slopes":
        q, v = LinearChain.of(chain.values).transistor, chain.values
        return cls(*map(float, (q.g_m, q.g_ds, q.g_gs, q.g_gd)), v.jfet_ciss - v.jfet_crss, v.jfet_crss)


@dataclass(frozen=True)
class Surroundings:
    """Admittances around the transistor of a plain stage: gate resistor to ground, nothing in the supply's way."""

    pickup: np.ndarray  # from the pickup's voltage to g
    gate: np.ndarray  # from g to ground
    source: np.ndarray  # from s to ground, R_S and its bypass
    drain: np.ndarray  # from d to ground, R_D
    coupling: np.ndarray  # the output capacitor
    jack: np.ndarray  # from j to ground, bleed, cable, input

    @classmethod
    def of(cls, chain: SignalChain, f: np.ndarray) -> "Surroundings":
        v, w = chain.values, 2j * np.pi * np.asarray(f)
        c_p = v.pickup_c * (1 + 0.004 * (v.temp_c - 25))
        with np.errstate(divide="ignore"):
            drain = np.float64(1) / v.drain_r + 0 * w
        return cls(
            pickup=w * c_p * (1 - 1j * v.pickup_loss),
            gate=1 / v.pickup_r + 1 / v.gate_r + w * v.lead_m * v.lead_c,
            source=1 / v.source_r + w * v.bypass_c,
            drain=drain,
            coupling=w * v.out_c,
            jack=1 / v.bleed_r + 1 / v.input_r + w * (v.cable_m * v.cable_c + v.input_c),
        )

    @property
    def load(self) -> np.ndarray:
        """Coupling capacitor with all that follows it."""
        return self.coupling * self.jack / (self.coupling + self.jack)


def follower(chain: SignalChain, f: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(v_s/v_g, v_jack/v_oc, admittance seen by the pickup) of a follower whose drain is at the supply."""
    q, a, w = Slopes.of(chain), Surroundings.of(chain, f), 2j * np.pi * np.asarray(f)
    y_gs, y_gd = q.g_gs + w * q.c_gs, q.g_gd + w * q.c_gd
    up = (q.g_m + y_gs) / (q.g_m + q.g_ds + y_gs + a.source + a.load)
    seen = a.gate + y_gd + y_gs * (1 - up)  # C_gs is bootstrapped by the gain
    return up, a.pickup / (a.pickup + seen) * up * a.coupling / (a.coupling + a.jack), seen


def common_source(chain: SignalChain, f: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(v_d/v_g, v_jack/v_oc, admittance seen by the pickup) of a gain stage."""
    q, a, w = Slopes.of(chain), Surroundings.of(chain, f), 2j * np.pi * np.asarray(f)
    y_gs, y_gd = q.g_gs + w * q.c_gs, q.g_gd + w * q.c_gd
    # s: v_s S = v_g (g_m + y_gs) + v_d g_ds;  d: v_d D = v_s (g_m + g_ds) - v_g (g_m - y_gd)
    s = q.g_m + q.g_ds + y_gs + a.source
    d = q.g_ds + y_gd + a.drain + a.load
    down = ((q.g_m + q.g_ds) * (q.g_m + y_gs) - (q.g_m - y_gd) * s) / (d * s - q.g_ds * (q.g_m + q.g_ds))
    up = (q.g_m + y_gs + q.g_ds * down) / s
    seen = a.gate + y_gs * (1 - up) + y_gd * (1 - down)  # Miller: C_gd counts 1 + |gain| times
    return down, a.pickup / (a.pickup + seen) * down * a.coupling / (a.coupling + a.jack), seen


def simple_chains(stage: str, count: int, seed: int, **fixed: Any) -> list[SignalChain]:
    rng = np.random.default_rng(seed)
    found = []
    while len(found) < count:
        # a source resistor of 0 ohm shorts the source: no follower; the formulas divide by it
        chain = random_chain(rng, **{**SIMPLE, "stage": stage, "source_r": 10 ** rng.uniform(1, 5), **fixed})
        if chain.drain_r > 0 or stage == "follower":
            found.append(chain)
    return found
