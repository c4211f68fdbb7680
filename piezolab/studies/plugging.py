"""Direct voltage at the jack: what leaks through the output capacitor, and the thump when a cable is plugged in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import OUTPUT
from piezolab.circuit.small_signal import impedance
from piezolab.studies.linear import LinearChain

ELECTROLYTIC_FROM = 1e-6  # F; smaller output capacitors are film: common practice, no source
LEAK_PER_CV = 0.01  # A per farad and volt: the usual worst case of an electrolytic
LEAST_WORST_LEAK = 3e-6  # A
TYPICAL_PART = 0.1
WAIT_S = 60.0  # unplugged and switched on for a minute
SETTLED_V = 10e-3


@dataclass(frozen=True)
class Plugging:
    """V, A, s.

    rest_v: across the output capacitor at rest; leak_a, leak_worst_a: through it, typical and worst; dc_v,
    dc_worst_v: at the jack with cable and input connected; step_v: jump at the jack on plugging in after a
    minute unplugged; settle_s: from then until the jack is within 10 mV of where it stays.
    """

    rest_v: float
    leak_a: float
    leak_worst_a: float
    dc_v: float
    dc_worst_v: float
    step_v: float
    settle_s: float


def leakage(farad: float, volt: float) -> tuple[float, float]:
    """Typical and worst leakage of a capacitor at a direct voltage, A: none for film, 0.01*C*V or 3 uA at worst
    for an
    electrolytic, a tenth of that typically (makers' usual guarantee; common practice, no source)."""
    if farad < ELECTROLYTIC_FROM or volt == 0:
        return 0.0, 0.0
    worst = max(LEAK_PER_CV * farad * abs(volt), LEAST_WORST_LEAK)
    return float(TYPICAL_PART * worst * np.sign(volt)), float(worst * np.sign(volt))


def plugging(chain: SignalChain) -> Plugging | None:
    """Direct voltage and thump of the chain's output; None with no stage, which passes no direct voltage."""
    if not chain.topology.powered:
        return None
    values = chain.values
    linear = LinearChain.of(values)
    network = linear.network
    coupling = network["C_out"]
    rest = float(linear.point.voltage(coupling.a))
    bleed = float(values.bleed_r)
    load = float(np.real(impedance(network.without("C_out", "R_bleed"), 1e-6, OUTPUT)))
    both = 1 / (1 / bleed + 1 / load)
    stage = network.without("C_out", "R_bleed", *linear.assembly.names("cable", "input"))
    behind = float(np.real(impedance(stage, 1e-6, coupling.a))) if coupling.a in stage.nodes else 0.0
    typical, worst = leakage(values.out_c, rest)
    # the capacitor charges through the bleed resistor while nothing is plugged in
    left = rest * bleed / (bleed + behind) * np.exp(-WAIT_S / (values.out_c * (bleed + behind)))
    before = left + typical * bleed
    after = typical * both
    far = abs(before - after)
    settle = values.out_c * (both + behind) * np.log(far / SETTLED_V) if far > SETTLED_V else 0.0
    return Plugging(rest, typical, worst, after, worst * both, float(before), float(settle))
